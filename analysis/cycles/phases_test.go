package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

var zones = []profile.Zone{
	{Name: "source", Use: "pickup", Corners: [][2]float64{{0, 0}, {2, 0}, {2, 4}, {0, 4}}},
	{Name: "target", Use: "goal", Corners: [][2]float64{{12, 0}, {14, 0}, {14, 4}, {12, 4}}},
}

// driven is the pose of a robot that moves straight from place to place at y = 2, sampled
// at 50 Hz from the first time to the last: {time, x} pairs.
func driven(way ...[2]float64) (x, y *series.Float) {
	x, y = &series.Float{}, &series.Float{}
	k := 0
	for t := schemas.Micros(way[0][0]); t <= schemas.Micros(way[len(way)-1][0]); t += 20_000 {
		for k+2 < len(way) && t >= schemas.Micros(way[k+1][0]) {
			k++
		}
		a, b := way[k], way[k+1]
		f := (float64(t)/1e6 - a[0]) / (b[0] - a[0])
		x.T, x.V = append(x.T, t), append(x.V, a[1]+f*(b[1]-a[1]))
		y.T, y.V = append(y.T, t), append(y.V, 2)
	}
	return x, y
}

func pass(enter, leave float64) schemas.Pass {
	return schemas.Pass{EnterS: &enter, LeaveS: &leave, Outcome: schemas.PassReleased}
}

// aTrip is one cycle from 10 s to 25 s: the robot leaves the goal at 11 s, reaches the
// pickup's edge at 14 s, has a piece at 16 s, crosses the goal's edge at 21 s.
func aTrip() Input {
	x, y := driven([2]float64{0, 13}, [2]float64{11, 13}, [2]float64{14, 2}, [2]float64{14.5, 1}, [2]float64{17, 1}, [2]float64{17.5, 2}, [2]float64{21, 12}, [2]float64{21.5, 13}, [2]float64{40, 13})
	return Input{
		Score: counter(0, 10, 25), X: x, Y: y, Zones: zones,
		Passes:  []schemas.Pass{pass(1, 9.5), pass(16, 24.6)},
		Periods: []schemas.Period{{Name: "driver", StartS: 0, EndS: 40}}, End: 40_000_000,
	}
}

func second(t *testing.T, in Input) schemas.Phases {
	t.Helper()
	r := Detect(in, DefaultConfig())
	require.Len(t, r.Cycles, 3)
	require.True(t, r.Cycles[1].Complete)
	assert.Equal(t, schemas.Phases{}, r.Cycles[2].Phases, "a cycle cut off has no piece to follow")
	return r.Cycles[1].Phases
}

const unknown = -1

func assertPhases(t *testing.T, name string, p schemas.Phases, want ...float64) {
	t.Helper()
	for k, got := range []*float64{p.ReturnS, p.CollectS, p.CarryS, p.PlaceS} {
		switch {
		case want[k] == unknown:
			assert.Nil(t, got, "%s: %s", name, phaseNames[k].why)
		case assert.NotNil(t, got, "%s: %s", name, phaseNames[k].why):
			assert.InDelta(t, want[k], *got, 0.021, "%s: %s", name, phaseNames[k].why)
		}
	}
}

// By the report's format: return 10 to 14, collect to 16, carry to 21, place to 25.
func TestPhasesOfATrip(t *testing.T) {
	p := second(t, aTrip())
	assertPhases(t, "all known", p, 4, 2, 5, 4)
	assert.InDelta(t, 15, *p.ReturnS+*p.CollectS+*p.CarryS+*p.PlaceS, 1e-9, "they add up to the cycle")
}

func TestPhasesWithPartsMissing(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Input)
		want   []float64
	}{
		"no pose":        {func(in *Input) { in.X = nil }, []float64{unknown, unknown, unknown, unknown}},
		"no zones":       {func(in *Input) { in.Zones = nil }, []float64{unknown, unknown, unknown, unknown}},
		"no path":        {func(in *Input) { in.Passes = nil }, []float64{4, unknown, unknown, 4}},
		"no pickup zone": {func(in *Input) { in.Zones = zones[1:] }, []float64{unknown, unknown, 5, 4}},
		"no goal zone":   {func(in *Input) { in.Zones = zones[:1] }, []float64{4, 2, unknown, unknown}},
		"the piece came by estimate": {
			func(in *Input) {
				enter, leave := 16.0, 24.6
				in.Passes[1] = schemas.Pass{Outcome: schemas.PassReleased, Stages: []schemas.StagePass{{EnterEstS: &enter}, {LeaveEstS: &leave}}}
			}, []float64{4, 2, 5, 4},
		},
		"the piece was aboard before": {
			func(in *Input) { in.Passes[1] = pass(8, 24.6) }, []float64{unknown, unknown, 11, 4},
		},
		"picked up on the way there": {
			func(in *Input) { in.Passes[1] = pass(12, 24.6) }, []float64{unknown, unknown, 9, 4},
		},
		"picked up in the goal zone": {
			func(in *Input) { in.Passes[1] = pass(23, 24.6) }, []float64{4, 9, 0, 2},
		},
		"a pass that was backed out": {
			func(in *Input) { in.Passes[1].Outcome = schemas.PassBackedOut }, []float64{4, unknown, unknown, 4},
		},
		"pose silent at the pickup's edge": {
			func(in *Input) { in.X, in.Y = without(in.X, 13, 15), without(in.Y, 13, 15) }, []float64{unknown, unknown, 5, 4},
		},
		"pose silent at the goal's edge": {
			func(in *Input) { in.X, in.Y = without(in.X, 20, 22), without(in.Y, 20, 22) }, []float64{4, 2, unknown, unknown},
		},
		"pose ends early": {
			func(in *Input) { in.X, in.Y = without(in.X, 19, 50), without(in.Y, 19, 50) }, []float64{4, 2, unknown, unknown},
		},
		"a counter that follows slowly": {
			func(in *Input) { in.Passes[1] = pass(16, 21.5) }, []float64{4, 2, 5, 4},
		},
		"a piece that missed before": {
			func(in *Input) { in.Passes = append(in.Passes, pass(3, 13), pass(15, 20)) }, []float64{4, 2, 5, 4},
		},
	} {
		in := aTrip()
		c.change(&in)
		assertPhases(t, name, second(t, in), c.want...)
	}
}

func without(s *series.Float, from, to float64) *series.Float {
	out := &series.Float{}
	for k, t := range s.T {
		if float64(t) < from*1e6 || float64(t) > to*1e6 {
			out.T, out.V = append(out.T, t), append(out.V, s.V[k])
		}
	}
	return out
}

func TestRobotThatNeverEntersTheGoalZone(t *testing.T) {
	in := aTrip()
	for k, at := range in.X.T {
		if at > 17_000_000 {
			in.X.V[k] = min(in.X.V[k], 11)
		}
	}
	assertPhases(t, "scored from outside", second(t, in), 4, 2, unknown, unknown)
}

// Two entries: the last one counts, and noise of the pose at the edge is none.
func TestLastEntryIntoTheGoalZone(t *testing.T) {
	in := aTrip()
	for k, at := range in.X.T {
		if 22_000_000 <= at && at < 23_000_000 {
			in.X.V[k] = 11
		}
		if at == 24_000_000 || at == 24_040_000 {
			in.X.V[k] = 11.99
		}
	}
	assertPhases(t, "left and came back", second(t, in), 4, 2, 7, 2)
}

// The robot loads three and scores them one after another: two need no trip.
func TestPiecesAreMatchedInOrder(t *testing.T) {
	in := aTrip()
	in.Score = counter(0, 10, 25, 27, 29)
	in.Passes = []schemas.Pass{pass(1, 9.5), pass(15, 24.5), pass(16, 26.4), pass(17, 28.5)}
	r := Detect(in, DefaultConfig())
	assertPhases(t, "first", r.Cycles[1].Phases, 4, 1, 6, 4)
	assertPhases(t, "second", r.Cycles[2].Phases, unknown, unknown, 0, 2)
	assertPhases(t, "third", r.Cycles[3].Phases, unknown, unknown, 0, 2)

	in.Handover = counter(0, 27)
	in.Score = counter(0, 10, 25, 29)
	r = Detect(in, DefaultConfig())
	assertPhases(t, "one of them went to a partner", r.Cycles[3].Phases, unknown, unknown, 0, 4)
}

// A piece is matched once: the second score is of the second piece, soon after the first.
func TestPieceScoresOnce(t *testing.T) {
	in := aTrip()
	in.Score = counter(0, 10, 25, 27)
	in.Passes = []schemas.Pass{pass(1, 9.5), pass(16, 24.6), pass(25.5, 26.5)}
	assertPhases(t, "taken in within the goal zone", Detect(in, DefaultConfig()).Cycles[2].Phases, unknown, unknown, 0, 1.5)
}

func TestSeveralPiecesAtOneMoment(t *testing.T) {
	in := aTrip()
	in.Score = counter(0, 10, 25, 25)
	in.Passes = []schemas.Pass{pass(1, 9.5), pass(15, 24.5), pass(16.5, 24.7)}
	assertPhases(t, "until the last one was aboard", second(t, in), 4, 2.5, 4.5, 4)
}

func TestContains(t *testing.T) {
	l := [][2]float64{{0, 0}, {4, 0}, {4, 1}, {1, 1}, {1, 4}, {0, 4}}
	for at, want := range map[[2]float64]bool{
		{0.5, 0.5}: true, {3, 0.5}: true, {0.5, 3}: true, {2, 2}: false, {-1, 0.5}: false, {5, 0.5}: false, {0.5, 5}: false,
	} {
		assert.Equal(t, want, contains(l, at[0], at[1]), "%v", at)
	}
}

// x and y may be logged apart.
func TestPoseInTwoRates(t *testing.T) {
	in := aTrip()
	slow := &series.Float{}
	for k := 0; k < len(in.Y.T); k += 7 {
		slow.T, slow.V = append(slow.T, in.Y.T[k]+3_000), append(slow.V, in.Y.V[k])
	}
	in.Y = slow
	assertPhases(t, "y at 7 Hz", second(t, in), 4, 2, 5, 4)
}
