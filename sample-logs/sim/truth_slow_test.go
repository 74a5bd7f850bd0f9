package sim

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
)

// Off means off: no condition, no loss, no other robot, no slow cycle, no doubt. A controller may
// cut out for a blink at a start; its driver is gentle for a moment then.
func TestPlainMatchLosesNothing(t *testing.T) {
	t.Parallel()
	for seed := uint64(1); seed <= 3; seed++ {
		w, m := driven(t, seed)
		assert.Empty(t, w.rivals)
		for _, l := range w.losses {
			assert.Contains(t, []string{lostPiece, lostMark, elsewhere, lostCutOff}, l.cause, "seed %d: %+v", seed, l)
		}
		assert.Empty(t, m.Unsure["cycles"])
		for _, c := range m.Truth.Cycles {
			assert.False(t, c.Slow)
		}
	}
}

// Each trouble of driving makes cycles slow, in its phase, by seconds that the world lost
// and that the cycles show against the same robot's others.
func TestTroublesCostTheirSeconds(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, why, cause string
		least            float64 // s, in one match
	}{
		{"blocked-return", "return", lostWay, 6},
		{"blocked-carry", "carry", lostWay, 6},
		{"pinned", "carry", lostPin, 4},
		{"missed-pickups", "collect", lostMiss, 8},
		{"long-aim", "place", lostAim, 8},
		{"lost-robot", "return", lostDriver, 8},
		{"dropped-piece", "collect", lostDropped, 5},
	} {
		t.Run(c.name, func(t *testing.T) {
			slow, right := 0, 0
			for seed := uint64(1); seed <= 4; seed++ {
				w, m := driven(t, seed, c.name)
				assert.Greater(t, lost(w, c.cause), c.least, "seed %d", seed)
				var plain []float64
				for i, cy := range m.Truth.Cycles {
					if cy.Complete && cy.Period == schemas.PeriodDriver && !cy.Slow && !slices.Contains(m.Unsure["cycles"], i) {
						plain = append(plain, cy.DurationS)
					}
				}
				slices.Sort(plain)
				for _, cy := range m.Truth.Cycles {
					if !cy.Slow {
						continue
					}
					slow++
					assert.GreaterOrEqual(t, cy.DurationS, plain[len(plain)/2]+3, "seed %d", seed)
					if cy.Why != nil && (*cy.Why == c.why || c.name == "lost-robot" && *cy.Why == "carry") {
						right++
					}
				}
			}
			assert.GreaterOrEqual(t, slow, 3)
			assert.GreaterOrEqual(t, right, slow-1)
		})
	}
}

// A trip for several pieces has to come again for the next while the one before is still in the
// mouth: that is what fetching them takes, and nothing is lost by it.
func TestFetchingSeveralPiecesIsNoMiss(t *testing.T) {
	t.Parallel()
	several := 0
	for seed := uint64(1); seed <= 3; seed++ {
		w, m := driven(t, seed, "path-build", "three-at-once")
		assert.Zero(t, lost(w, lostMiss), "seed %d", seed)
		for _, c := range m.Truth.Cycles {
			if c.Pieces > 1 {
				several++
			}
		}
	}
	assert.GreaterOrEqual(t, several, 3)
}

// A piece that another hand held at the mouth and took back was missed.
func TestAPieceTakenBackWasMissed(t *testing.T) {
	t.Parallel()
	for seed := uint64(1); seed <= 2; seed++ {
		w, _ := driven(t, seed, "touch-and-go")
		assert.Greater(t, lost(w, lostMiss), 1.0, "seed %d", seed)
	}
}

// What a piece cost before any jam of its cycle began is no jam's.
func TestAJamCostsNothingBeforeItBegan(t *testing.T) {
	c := &schemas.Cycle{StartS: 0, EndS: 60}
	c.Phases.ReturnS, c.Phases.CollectS = schemas.Some(5.0), schemas.Some(15.0)
	v := view{world: &world{losses: []loss{{10, 4, lostPiece}, {29.9, 1, lostPiece}, {30, 2, lostPiece}, {50, 8, lostPiece}}}, report: &schemas.Report{}}
	v.report.Jams = []schemas.Jam{{StartS: -5, EndS: -1}, {StartS: 30, EndS: 31}, {StartS: 70, EndS: 75}}
	got := v.costsOf(c)
	assert.Equal(t, 10.0, got.jam)
	assert.Equal(t, 4.0, got.ofCollect)
	assert.Equal(t, 15.0, got.all)
}

// The middle of an odd number of trips is one of them: without it, or without one beside it, the
// middle lies anywhere up to its neighbours. By hand.
func TestMiddleForATrip(t *testing.T) {
	cost := []float64{0, 0, 0, 0, 5.7, 6.9, 10.6, 12.4, 16.9}
	of := func(i int) float64 { return cost[i] }
	all := []int{0, 1, 2, 3, 4, 5, 6, 7, 8}
	for i, want := range [][2]float64{0: {5.7, 6.9}, 4: {0, 6.9}, 8: {0, 5.7}} {
		if want == [2]float64{} {
			continue
		}
		low, high := middleFor(i, all, of)
		assert.Equal(t, want, [2]float64{low, high}, "%d", i)
	}
	low, high := middleFor(8, all[1:], of)
	assert.Equal(t, [2]float64{5.7, 6.9}, [2]float64{low, high}, "of eight it is between two")
	low, high = middleFor(3, []int{3}, of)
	assert.Equal(t, [2]float64{0, 0}, [2]float64{low, high})
}

// The reason is what cost half of the loss, and by far: two of about a size are both.
func TestTheReasonOfALoss(t *testing.T) {
	for name, c := range map[string]struct {
		costs costs
		want  string
	}{
		"one phase":                          {costs{all: 6, ofCarry: 6}, "carry"},
		"half of it":                         {costs{all: 10, ofReturn: 5, ofCollect: 2, place: 3}, "return"},
		"under half":                         {costs{all: 10, ofReturn: 4.9, ofCollect: 2.1, place: 3}, ""},
		"two of about a size":                {costs{all: 9.1, ofReturn: 5, ofCollect: 4.1}, ""},
		"the other at four fifths":           {costs{all: 9, ofReturn: 5, ofCollect: 4}, "return"},
		"the piece did not come":             {costs{all: 8, jam: 6, place: 2, meanwhile: 6}, "jam"},
		"blocked, and a piece stuck as well": {costs{all: 8, ofCarry: 8, meanwhile: 5}, ""},
		"stuck for less than half of it":     {costs{all: 8, ofCarry: 8, meanwhile: 3}, "carry"},
		"no phase is to blame":               {costs{all: 8, noPhase: 8}, ""},
	} {
		got := ""
		if why := c.costs.why(); why != nil {
			got = *why
		}
		assert.Equal(t, c.want, got, name)
	}
}

// onlyUneven are the conditions by which a match is uneven, or unusual, and no cycle slow.
func onlyUneven() []string {
	return []string{
		"tapping", "queues", "uneven-pace", "two-goals", "two-pickups", "moved-zones", "hand-overs", "handed-in",
		"rolling-pieces", "double-loads", "slow-counter", "counted-after-end", "counted-too-late", "corrected-counter",
		"reset-counter", "beginner", "expert", "full-autonomous", "empty-autonomous", "long-pause", "disabled-midway",
	}
}

// nothingSlow: what is only uneven, or usual here, makes no cycle slow.
func nothingSlow(t *testing.T, w *world, m *Match) {
	t.Helper()
	assert.GreaterOrEqual(t, len(scoredIn(m, schemas.PeriodDriver)), 3)
	for _, c := range m.Truth.Cycles {
		bad := slices.ContainsFunc(w.losses, func(l loss) bool { // a driver may miss, and aim badly, without being told to
			at := w.begin + l.at
			return slices.Contains([]string{lostMiss, lostAim, lostMark}, l.cause) && c.StartS <= at && at < c.EndS
		})
		assert.False(t, c.Slow && !bad, "%+v", c)
	}
}

// For how long a robot was disabled is what its mode says step by step.
func TestDisabledFor(t *testing.T) {
	w := world{bell: 160, scenario: scenario{leadS: 10, pauseS: 6}}
	w.scenario.drive.disabled = []gap{{start: 40, length: 3}}
	for _, c := range []struct{ from, to float64 }{{0, 170}, {5, 15}, {25, 33}, {31, 35.9}, {70, 90}, {77, 78}, {100, 120}, {150, 165}} {
		want := 0.0
		for w.steps = int(c.from / step); w.now() < c.to-step/2; w.steps++ {
			if w.mode() == schemas.ModeDisabled {
				want += step
			}
		}
		assert.InDelta(t, want, w.disabledS(c.from, c.to), 3*step, "%v", c)
	}
}
