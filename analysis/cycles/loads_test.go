package cycles

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"

	"github.com/afterbell/afterbell/schemas"
)

// run is a robot at 2.5 m/s between x = 1 (pickup) and x = 13 (goal); with each trip it fetches
// pieces, one more every moreS seconds, stands on the way back for stands seconds, and needs place
// seconds to place the first and 1 s for each other.
type run struct {
	pieces                int
	moreS, stands, placeS float64
	lastS                 float64 // place seconds of the last piece, 1 if 0
}

func runs(all ...run) Input {
	in, _ := shuttle(nil, nil)
	t, x := 0.0, 13.0
	log := func() { in.X.T, in.X.V = append(in.X.T, schemas.Micros(t)), append(in.X.V, x) }
	wait := func(s float64) {
		for until := t + s; t < until-1e-9; t += 0.02 {
			log()
		}
	}
	goTo := func(to float64) {
		for x != to {
			if step := 0.05; to > x {
				x = min(to, x+step)
			} else {
				x = max(to, x-step)
			}
			wait(0.02)
		}
	}
	in.X.T, in.X.V, in.Passes = nil, nil, nil
	var scored []float64
	for _, r := range all {
		goTo(1)
		wait(1)
		var entered []float64
		for k := range r.pieces {
			if k > 0 {
				wait(r.moreS)
			}
			entered = append(entered, t)
		}
		goTo(7)
		wait(r.stands)
		goTo(13)
		for k, enter := range entered {
			switch {
			case k == 0:
				wait(r.placeS)
			case k == r.pieces-1 && r.lastS > 0:
				wait(r.lastS)
			default:
				wait(1)
			}
			p := pass(enter, t-0.1)
			p.Piece = len(in.Passes) + 1
			in.Passes = append(in.Passes, p)
			scored = append(scored, t)
		}
	}
	over := t
	wait(5)
	in.Y.T, in.Y.V = in.X.T, make([]float64, len(in.X.T))
	for i := range in.Y.V {
		in.Y.V[i] = 1
	}
	in.Score = counter(-1, scored...)
	in.Periods = []schemas.Period{{Name: schemas.PeriodDriver, StartS: 0, EndS: over + 1}}
	in.End = schemas.Micros(t)
	return in
}

func plainRuns(n int) []run { return slices.Repeat([]run{{pieces: 1, placeS: 2}}, n) }

// Three pieces on one trip take longer to fetch, for a good reason.
func TestALoadOfSeveralIsNoLoss(t *testing.T) {
	in := runs(slices.Concat(plainRuns(4), []run{{pieces: 3, moreS: 2, placeS: 2}}, plainRuns(3))...)
	r := Detect(in, DefaultConfig())
	assert.Empty(t, slowOnes(r))
	require.NotNil(t, r.Cycles[4].LostS)
	assert.InDelta(t, 0, *r.Cycles[4].LostS, 0.5)
	assert.InDelta(t, 0, *r.Cycles[4].ExcessS, 0.5)

	long := runs(slices.Concat(plainRuns(4), []run{{pieces: 2, moreS: 9, placeS: 2}}, plainRuns(3))...)
	assert.Equal(t, []int{4}, slowOnes(Detect(long, DefaultConfig())), "one more piece takes no 9 s where one takes 1")
}

// The second piece of a load was at the goal already, and took 14 s to place.
func TestALongStayAtTheGoalIsSlow(t *testing.T) {
	in := runs(slices.Concat(plainRuns(4), []run{{pieces: 2, moreS: 1, placeS: 2, lastS: 20}}, plainRuns(3))...)
	r := Detect(in, DefaultConfig())
	assert.Equal(t, []int{5}, slowOnes(r))
	assert.Equal(t, WhyPlace, *r.Cycles[5].Why)
	assert.InDelta(t, 18, *r.Cycles[5].LostS, 0.5)

	in = runs(slices.Concat(plainRuns(4), []run{{pieces: 2, moreS: 1, placeS: 2, lastS: 6}}, plainRuns(3))...)
	assert.Empty(t, slowOnes(Detect(in, DefaultConfig())), "longer than it should be, and shorter than a usual cycle")
}

// Without a pose the path still tells which cycles took no trip: they say nothing of what is usual.
func TestPiecesAboardAreNoTripsWithoutPose(t *testing.T) {
	var all []run
	for range 4 {
		all = append(all, run{pieces: 3, moreS: 1, placeS: 2, lastS: 2.2})
	}
	all = append(all, plainRuns(2)...)
	all = append(all, run{pieces: 1, placeS: 2, stands: 15})
	in := runs(all...)
	in.X, in.Y = nil, nil
	assert.Equal(t, []int{14}, slowOnes(Detect(in, DefaultConfig())))
}

// A counter that follows late counts the pieces of two trips at once: no cycle, so none to judge.
func TestTwoTripsCountedAtOnceAreNotJudged(t *testing.T) {
	in := runs(plainRuns(9)...)
	in.Score = counter(-1)
	for k, at := range in.Passes {
		if k != 7 {
			in.Score.T, in.Score.V = append(in.Score.T, schemas.Micros(*at.LeaveS+0.1)), append(in.Score.V, float64(k+1))
		}
	}
	r := Detect(in, DefaultConfig())
	assert.Empty(t, slowOnes(r))
	require.Equal(t, 2, r.Cycles[7].Pieces)
	assert.Nil(t, r.Cycles[7].P)
}

// A jam costs what of it is left when the robot has come to the goal.
func TestWhatAJamCosts(t *testing.T) {
	jammedFor := func(change func(in *Input, from, goal float64)) float64 {
		in := runs(slices.Concat(plainRuns(4), []run{{pieces: 1, placeS: 8}}, plainRuns(3))...)
		c := Detect(in, DefaultConfig()).Cycles[4]
		goal := c.EndS - *c.Phases.PlaceS
		change(&in, *in.Passes[4].EnterS, goal)
		all := cut(in.Periods, Attribute(in.Score.Rises(), in.Periods, in.Modes, 3), nil)
		p := placesOf(in, DefaultConfig())
		entered, _ := enteredOf(in.Passes, Attribute(in.Score.Rises(), in.Periods, in.Modes, 3), nil, DefaultConfig())
		it := &all[4]
		it.entered, it.hasPiece, it.scored = entered[it.end].entered, true, entered[it.end].pieces
		it.Phases = p.phases(it.start, it.end, it.entered, true)
		return covered(it.start, it.end, p.jammed(it, in))
	}
	piece := func(n int) *int { return &n }
	assert.Zero(t, jammedFor(func(in *Input, from, goal float64) {
		in.Jams = []schemas.Jam{{StartS: from + 0.5, EndS: goal - 0.5, Piece: piece(5)}}
	}), "the robot drove on meanwhile")
	assert.InDelta(t, 5, jammedFor(func(in *Input, from, goal float64) {
		in.Jams = []schemas.Jam{{StartS: from + 0.5, EndS: goal + 5, Piece: piece(5)}}
	}), 1e-6)
	assert.Zero(t, jammedFor(func(in *Input, from, goal float64) {
		in.Jams = []schemas.Jam{{StartS: from + 0.5, EndS: goal + 5, Piece: piece(6)}}
	}), "the piece behind it")
	assert.InDelta(t, 5, jammedFor(func(in *Input, from, goal float64) {
		in.Jams = []schemas.Jam{{StartS: from + 0.5, EndS: goal + 5, Piece: piece(6), Cause: schemas.JamWedgedPair}}
	}), 1e-6, "two that are wedged hold each other")
	got := jammedFor(func(in *Input, from, goal float64) {
		in.Jams = []schemas.Jam{{StartS: from - 3, EndS: from - 2, Piece: piece(9)}}
	})
	assert.Greater(t, got, 3.0, "another piece had to be fetched")
	assert.Less(t, got, 6.0)
	assert.InDelta(t, 3.5, jammedFor(func(in *Input, from, goal float64) {
		in.X, in.Y = nil, nil
		in.Jams = []schemas.Jam{{StartS: from + 0.5, EndS: from + 4, Piece: piece(5)}}
	}), 1e-6, "without a pose any of it may have cost time")
}

// What is believed of a loss before it is looked at adds up: to the share of trips in trouble, and
// with a jam to all of them; a jam of next to no time changes nothing.
func TestLossDensityAddsUp(t *testing.T) {
	cfg := DefaultConfig()
	sum := func(jammed float64) float64 {
		of := func(lost float64) float64 { return lossDensity(lost, 5, jammed, cfg) }
		return quad.Fixed(of, 0, jammed, 200, nil, 0) + quad.Fixed(of, jammed, 200, 2000, nil, 0)
	}
	assert.InDelta(t, cfg.TroubleShare, sum(0), 1e-6)
	assert.InDelta(t, 1, sum(6), 1e-6)
	assert.InDelta(t, lossDensity(4, 5, 0, cfg), lossDensity(4, 5, 1e-6, cfg), 1e-6)
}
