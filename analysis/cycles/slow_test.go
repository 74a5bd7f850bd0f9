package cycles

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// lasting is a driver period with cycles of these durations and some seconds more.
func lasting(seconds ...float64) Input {
	at := make([]float64, len(seconds))
	sum := 0.0
	for k, s := range seconds {
		sum += s
		at[k] = sum
	}
	return Input{
		Score:   counter(-1, at...),
		Periods: []schemas.Period{{Name: "driver", StartS: 0, EndS: sum + 4}}, Start: -1_000_000, End: schemas.Micros(sum + 10),
	}
}

func earlier(name string, seconds ...float64) History {
	return History{Match: name, Cycles: Detect(lasting(seconds...), DefaultConfig()).Cycles}
}

func slowOnes(r Result) []int {
	out := []int{}
	for k, c := range r.Cycles {
		if c.Slow {
			out = append(out, k)
		}
	}
	return out
}

func TestSlowCycle(t *testing.T) {
	for name, c := range map[string]struct {
		in   Input
		slow []int
	}{
		"one":                         {lasting(10, 11, 9, 12, 22, 10, 11, 10, 9), []int{4}},
		"two do not hide each other":  {lasting(10, 11, 9, 12, 22, 10, 11, 10, 9, 24, 11), []int{4, 9}},
		"within the usual":            {lasting(10, 11, 9, 13, 14, 10, 11, 10, 9), []int{}},
		"sure, but under two seconds": {lasting(5, 5.02, 4.98, 5.01, 6.9, 5, 4.99, 5.01, 5), []int{}},
		"sure, but under a fifth":     {lasting(30, 30.1, 29.9, 30, 35.5, 30, 30.1, 29.9), []int{}},
		"all alike but one":           {lasting(10, 10, 10, 10, 20, 10, 10), []int{4}},
		"five cycles":                 {lasting(10, 10, 10, 10, 30), []int{}},
		"six cycles":                  {lasting(10, 10.5, 9.5, 10, 9.8, 30), []int{5}},
		"none":                        {lasting(), []int{}},
		"a fast one is not slow":      {lasting(10, 11, 9, 12, 3, 10, 11, 10, 9), []int{}},
		"volleys are not judged":      {lasting(10, 0.5, 0.5, 11, 0.4, 0.5, 9, 0.5, 12, 0.6, 10, 11), []int{}},
	} {
		assert.Equal(t, c.slow, slowOnes(Detect(c.in, DefaultConfig())), name)
	}
}

func TestCutOffCycleIsNeverSlow(t *testing.T) {
	in := lasting(10, 11, 9, 12, 10, 11, 10, 9)
	in.Periods[0].EndS += 60
	r := Detect(in, DefaultConfig())
	last := r.Cycles[len(r.Cycles)-1]
	assert.False(t, last.Complete)
	assert.Equal(t, 64.0, last.DurationS)
	assert.False(t, last.Slow)
	assert.Nil(t, last.P)
	assert.Nil(t, last.ExcessS)
}

// Few cycles today, many before: judged against those, never against later ones.
func TestSlowAgainstEarlierMatches(t *testing.T) {
	in := lasting(20, 10)
	assert.Empty(t, slowOnes(Detect(in, DefaultConfig())))
	in.History = []History{earlier("m1", 10, 11, 9, 12), earlier("m2", 10, 11, 10, 9, 12, 10)}
	r := Detect(in, DefaultConfig())
	assert.Equal(t, []int{0}, slowOnes(r))
	assert.Less(t, *r.Cycles[0].P, 0.01)
	assert.InDelta(t, 10, *r.Cycles[0].ExcessS, 0.6)
	assert.Equal(t, "matches", r.Usual.Source)
	assert.Equal(t, []string{"m1", "m2"}, r.Usual.Matches)
	assert.Equal(t, 10, r.Usual.Cycles)

	in.History = []History{earlier("m1", 10, 11)}
	r = Detect(in, DefaultConfig())
	assert.Empty(t, slowOnes(r), "four cycles in all")
	assert.Equal(t, "this match", r.Usual.Source, "two earlier cycles are no usual")
	assert.Empty(t, r.Usual.Matches)
}

// The usual cycle by hand: without cut-off cycles plain quantiles; a long one cut off lifts them.
func TestUsualCycle(t *testing.T) {
	in := lasting(10, 11, 9, 12, 13)
	in.Periods[0].EndS = 55 // nothing cut off
	u := Detect(in, DefaultConfig()).Usual
	assert.Equal(t, 11.0, *u.CycleS)
	assert.Equal(t, 9.0, *u.LowS)
	assert.Equal(t, 13.0, *u.HighS)
	assert.Equal(t, 5, u.Cycles)
	in.Periods[0].EndS = 155
	u = Detect(in, DefaultConfig()).Usual
	assert.Equal(t, 11.5, *u.CycleS, "half of six: between the third and the fourth")
	assert.Nil(t, u.HighS, "the longest one was cut off: longer than anyone saw")

	u = Detect(lasting(), DefaultConfig()).Usual
	assert.Nil(t, u.CycleS)
	assert.Equal(t, "this match", u.Source)
}

func TestAutonomousIsJudgedApart(t *testing.T) {
	in := lasting(10, 11, 9, 12, 10, 11, 10, 9)
	in.Periods = append([]schemas.Period{{Name: "autonomous", StartS: -25, EndS: 0}}, in.Periods...)
	in.Score.T = append([]int64{-25_000_000, -5_000_000}, in.Score.T[1:]...)
	in.Score.V = append([]float64{-1}, in.Score.V...)
	in.Score.V = in.Score.V[:len(in.Score.T)]
	r := Detect(in, DefaultConfig())
	require.Equal(t, "autonomous", r.Cycles[0].Period)
	assert.Equal(t, 20.0, r.Cycles[0].DurationS)
	assert.False(t, r.Cycles[0].Slow, "one autonomous cycle says nothing of autonomous cycles")
	assert.Nil(t, r.Cycles[0].P)
	assert.InDelta(t, 10, *r.Usual.CycleS, 0.1, "the driver's")

	auto := []schemas.Cycle{}
	for _, d := range []float64{5, 5.5, 6, 5.2, 4.9, 5.1, 5.4} {
		auto = append(auto, schemas.Cycle{Kind: "score", Period: "autonomous", Complete: true, DurationS: d})
	}
	in.History = []History{{Match: "m1", Cycles: auto}}
	r = Detect(in, DefaultConfig())
	assert.True(t, r.Cycles[0].Slow)
	assert.InDelta(t, 14.8, *r.Cycles[0].ExcessS, 1e-9)
}

// The robot spent 12 s on a piece for its partner: not time lost.
func TestHandoverIsNoLoss(t *testing.T) {
	in := lasting(10, 11, 9, 12, 22, 10, 11, 10, 9)
	in.Handover = counter(-1, 42+12)
	r := Detect(in, DefaultConfig())
	assert.Empty(t, slowOnes(r))
	in.Handover = counter(-1, 42+1)
	r = Detect(in, DefaultConfig())
	assert.Equal(t, []int{5}, slowOnes(r), "what followed took long by itself; the hand-over is row 4")
	assert.InDelta(t, 21-10, *r.Cycles[5].ExcessS, 1.01)
}

func TestWhyJam(t *testing.T) {
	in := lasting(10, 11, 9, 12, 22, 10, 11, 10, 9)
	why := func(jams ...schemas.Jam) *string {
		in.Jams = jams
		return Detect(in, DefaultConfig()).Cycles[4].Why
	}
	assert.Nil(t, why(), "nothing tells")
	assert.Equal(t, "jam", *why(schemas.Jam{StartS: 45, EndS: 52}))
	assert.Nil(t, why(schemas.Jam{StartS: 45, EndS: 50}), "5 of 12 s: the smaller part")
	assert.Equal(t, "jam", *why(schemas.Jam{StartS: 45, EndS: 49}, schemas.Jam{StartS: 50, EndS: 54}), "two together")
	assert.Nil(t, why(schemas.Jam{StartS: 45, EndS: 50}, schemas.Jam{StartS: 44, EndS: 49}), "at once, not one after the other")
	assert.Nil(t, why(schemas.Jam{StartS: 30, EndS: 42.5}), "another cycle's")
	for _, c := range Detect(in, DefaultConfig()).Cycles {
		assert.True(t, c.Slow || c.Why == nil)
	}
}

// A jam is a reason to expect a slow cycle: it takes less to believe it, and it tells
// nothing of the others.
func TestJammedCyclesAreJudgedAmongThemselves(t *testing.T) {
	in := lasting(10, 14.8, 9, 12, 15.2, 11, 10)
	assert.Empty(t, slowOnes(Detect(in, DefaultConfig())))
	in.Jams = []schemas.Jam{{StartS: 12, EndS: 20}, {StartS: 48, EndS: 56}}
	r := Detect(in, DefaultConfig())
	assert.Equal(t, []int{1, 4}, slowOnes(r))
	assert.Equal(t, "jam", *r.Cycles[4].Why)
}

func TestFourSlowOfNine(t *testing.T) {
	r := Detect(lasting(10, 18, 9, 20, 19, 11, 18, 10, 9.5), DefaultConfig())
	assert.Equal(t, []int{1, 3, 4, 6}, slowOnes(r))
}

// Phases are given; one of them makes the cycle slow.
func TestWhyPhase(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for k, name := range phaseNames {
		var rows []cycle
		at := int64(0)
		for n := range 9 {
			var sum float64
			c := cycle{Cycle: schemas.Cycle{Kind: "score", Period: "driver", Complete: true}, start: at, own: at}
			for j, p := range phaseNames {
				took := []float64{3, 2, 3, 1}[j] * math.Exp(0.1*rng.NormFloat64())
				if n == 5 && j == k {
					took += 11
				}
				*p.of(&c.Phases) = &took
				sum += took
			}
			at += schemas.Micros(sum)
			c.end, c.DurationS = at, sum
			rows = append(rows, c)
		}
		usual := usualOf(rows, nil, DefaultConfig())
		judge(rows, Input{}, 0, DefaultConfig())
		require.True(t, rows[5].Slow, name.why)
		require.NotNil(t, rows[5].Why, name.why)
		assert.Equal(t, name.why, *rows[5].Why)
		assert.InEpsilon(t, []float64{3, 2, 3, 1}[k], **name.of(&usual.Phases), 0.2)
		rows[5].Phases = schemas.Phases{}
		judge(rows, Input{}, 0, DefaultConfig())
		assert.Nil(t, rows[5].Why, "phases are not known")
	}
}

// Drawn cycle times with the truth known: of the cycles called slow at most some more than
// the tenth asked for may be usual ones, with nothing slow at all too; and not many more where a
// driver is more uneven than is supposed.
func TestFalseCallsAndFoundOnes(t *testing.T) {
	for _, c := range []struct {
		cycles, before, slow int
		sigma, most          float64 // of the logarithm; share of false calls
		least                float64 // of slow ones found
	}{
		{6, 0, 0, 0.15, 0.15, 0},
		{9, 0, 0, 0.15, 0.15, 0},
		{12, 0, 0, 0.15, 0.15, 0},
		{9, 0, 1, 0.15, 0.15, 0.9},
		{12, 0, 1, 0.15, 0.15, 0.9},
		{9, 0, 0, 0.18, 0.3, 0},
		{12, 0, 0, 0.18, 0.3, 0},
		{12, 0, 2, 0.18, 0.15, 0.9},
		{9, 40, 0, 0.18, 0.15, 0},
		{9, 40, 1, 0.18, 0.15, 0.85},
		{9, 40, 2, 0.18, 0.15, 0.85},
	} {
		const matches = 200
		rng := rand.New(rand.NewPCG(uint64(c.cycles), uint64(100*c.before+c.slow)))
		draw := func() float64 { return 11 * math.Exp(c.sigma*rng.NormFloat64()) }
		share, found := 0.0, 0
		for range matches {
			var mine []cycle
			for k := range c.cycles {
				d := draw()
				if k < c.slow {
					d *= 2
				}
				mine = append(mine, cycle{Cycle: schemas.Cycle{Kind: schemas.CycleScore, Period: "driver", Complete: true, DurationS: d}, end: schemas.Micros(d)})
			}
			in := Input{History: []History{{Match: "m"}}}
			for range c.before {
				d := draw()
				in.History[0].Cycles = append(in.History[0].Cycles, schemas.Cycle{Kind: schemas.CycleScore, Period: "driver", Complete: true, DurationS: d})
			}
			rows := append(mine, cycle{Cycle: schemas.Cycle{Kind: schemas.CycleScore, Period: "driver", DurationS: draw() / 2}})
			judge(rows, in, 0, DefaultConfig())
			wrong, right := 0, 0
			for k := range mine {
				u := rows[k].Slow
				switch {
				case u && k < c.slow:
					right++
				case u:
					wrong++
				}
			}
			found += right
			if wrong > 0 {
				share += float64(wrong) / float64(wrong+right) / matches
			}
		}
		hits := float64(found) / float64(max(1, matches*c.slow))
		t.Logf("%2d cycles, %2d earlier, %d slow: %.3f of the calls false, %.2f found", c.cycles, c.before, c.slow, share, hits)
		assert.Less(t, share, c.most, "%+v", c)
		assert.GreaterOrEqual(t, hits, c.least, "%+v", c)
	}
}

// Cycles cut off after the usual time say that usual ones often last longer.
func TestTheCutOffOnesAreNotThrownAway(t *testing.T) {
	usual := []float64{10, 11, 9, 12, 16, 10, 11, 10, 9}
	before := Detect(lasting(usual...), DefaultConfig())
	in := lasting(usual...)
	for range 5 {
		in.History = append(in.History, History{Match: "m", Cycles: []schemas.Cycle{{Kind: "score", Period: "driver", DurationS: 12}}})
	}
	after := Detect(in, DefaultConfig())
	assert.Greater(t, *after.Cycles[4].P, 2**before.Cycles[4].P)
}

// A jam that cost the bigger part is not to blame where a phase lost more besides; what the jam itself
// took of a phase is the jam's. By hand: the way back lost 9 s, and a jam took 8 of the 16 s that were lost.
func TestMoreThanTheJamCost(t *testing.T) {
	cfg := DefaultConfig()
	mine := phased([]float64{3, 3.1, 2.9, 3, 3.1, 12}, []float64{5, 5.1, 4.9, 5, 5, 13})
	phaseChances(mine, mine, nil, cfg)
	last := mine[5]
	last.ExcessS = schemas.Some(15.9)
	of := func(start, end, jamS float64) string {
		last.jams, last.jamS = []schemas.Jam{{StartS: start, EndS: end}}, jamS
		return *why(last, mine, nil, cfg)
	}
	assert.Equal(t, WhyReturn, of(15, 23, 8), "on the way to the goal")
	assert.Equal(t, WhyJam, of(4, 12, 8), "it took what the way back lost")
}
