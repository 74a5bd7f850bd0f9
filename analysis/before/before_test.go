package before

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// A made-up path: each piece comes to the mouth at 10 n s and to the lift 0.4 s later, and
// is gone from there after a second more. Supply and roller are what a case makes of them,
// read at 100 Hz, so that every expected value is known without the code under test.
type world struct {
	passes, jams int // the last ones jam in the lift, 0.6 s after they came there
	supply       func(pass int, after float64) float64
	roller       func(pass int, after float64) float64 // after: seconds since the piece came to the lift
	late         func(pass int) float64                // seconds later that it came to the lift
}

func (w world) input() Input {
	in := Input{Stages: []path.Stage{
		{Name: "mouth", Sensor: &series.Bool{}},
		{Name: "lift", Sensor: &series.Bool{}, Speed: &series.Float{}},
		{Name: "gate", Sensor: &series.Bool{}},
	}, Voltage: &series.Float{}}
	if w.late == nil {
		w.late = func(int) float64 { return 0 }
	}
	for i := range w.passes {
		at := 10 * float64(i+1)
		lift := at + 0.4 + w.late(i)
		p := schemas.Pass{Piece: i + 1, Outcome: schemas.PassReleased, EnterS: &at, Stages: []schemas.StagePass{
			{Stage: "mouth", EnterS: schemas.Some(at)}, {Stage: "lift", EnterS: schemas.Some(lift)}, {Stage: "gate"},
		}}
		if i >= w.passes-w.jams {
			p.Outcome = schemas.PassJammed
			piece := i + 1
			in.Jams = append(in.Jams, schemas.Jam{Stage: "lift", Piece: &piece, StartS: lift + 0.6, EndS: lift + 5, OnsetLowS: schemas.Some(lift + 0.58)})
		} else {
			p.Stages[2].EnterS, p.LeaveS = schemas.Some(lift+1), schemas.Some(lift+1.5)
		}
		in.Passes = append(in.Passes, p)
		for k := range 300 {
			after := float64(k)/100 - 1
			t := schemas.Micros(lift + after)
			in.Voltage.T, in.Voltage.V = append(in.Voltage.T, t), append(in.Voltage.V, w.supply(i, after))
			in.Stages[1].Speed.T, in.Stages[1].Speed.V = append(in.Stages[1].Speed.T, t), append(in.Stages[1].Speed.V, w.roller(i, after))
		}
	}
	return in
}

func flat(v float64) func(int, float64) float64 { return func(int, float64) float64 { return v } }

func value(t *testing.T, numbers []schemas.Number, name string) (is, usual float64) {
	t.Helper()
	for _, n := range numbers {
		if n.Name == name {
			require.NotNil(t, n.Value)
			require.NotNil(t, n.Usual, name)
			return *n.Value, *n.Usual
		}
	}
	require.Fail(t, "no "+name)
	return 0, 0
}

// The jammed piece met 8 V and a roller at 70 rad/s where the others had 11 V and 100.
func TestWhatWentBeforeOneJam(t *testing.T) {
	jams := func(good, jammed float64) func(int, float64) float64 {
		return func(pass int, after float64) float64 {
			if pass == 9 && after < 0.6 {
				return jammed
			}
			if pass == 9 {
				return 0 // the jam itself: none of what went before it
			}
			return good + 0.01*float64(pass)
		}
	}
	w := world{passes: 10, jams: 1, supply: jams(11, 8), roller: jams(100, 70), late: func(p int) float64 {
		if p == 9 {
			return 0.2
		}
		return 0.01 * float64(p)
	}}
	got := Look(w.input(), DefaultConfig())
	v, usual := value(t, got.Jams[0], "lowest supply in the half second before")
	assert.InDelta(t, 8, v, 1e-9)
	assert.InDelta(t, 11.04, usual, 1e-9, "the median of nine")
	v, usual = value(t, got.Jams[0], "roller speed in the half second before")
	assert.InDelta(t, 100*70/100.04, v, 1e-6)
	assert.InDelta(t, 100, usual, 0)
	v, usual = value(t, got.Jams[0], "from mouth to lift")
	assert.InDelta(t, 0.6, v, 1e-5)
	assert.InDelta(t, 0.44, usual, 1e-5)
	v, usual = value(t, got.Jams[0], "behind the piece ahead at the lift")
	assert.InDelta(t, 10.12, v, 1e-5)
	assert.InDelta(t, 10.01, usual, 1e-5)

	common := got.Common["lift"]
	require.Len(t, common, 3, "supply, roller and coming in; the distance to the piece ahead is as usual")
	assert.Equal(t, 9, common[1].Beyond)
	assert.Equal(t, "Before the jam of the lift the roller turned slower than in 9 of 9 good passes (70 % of usual against 100 %); with so few jams that may be chance.", common[1].Text)
	assert.InDelta(t, 0.4, common[1].P, 1e-9, "one in ten, times four things compared")

	f := got.Facts[0]
	assert.InDelta(t, 0.7, f.Speed, 1e-3)
	assert.Equal(t, 9, f.Slower)
	assert.Equal(t, 9, f.Lower)
}

// A sag of a few readings is a sag: the lowest counts. The roller is slow to follow, so there
// the mean does.
func TestTheLowestSupplyAndTheMeanSpeed(t *testing.T) {
	dip := func(usual, low float64) func(int, float64) float64 {
		return func(pass int, after float64) float64 {
			if pass == 5 && after > 0.3 && after < 0.4 {
				return low
			}
			return usual
		}
	}
	w := world{passes: 6, jams: 1, supply: dip(11, 7), roller: dip(100, 50)}
	got := Look(w.input(), DefaultConfig())
	v, usual := value(t, got.Jams[0], "lowest supply in the half second before")
	assert.InDelta(t, 7, v, 1e-9)
	assert.InDelta(t, 11, usual, 1e-9)
	v, _ = value(t, got.Jams[0], "roller speed in the half second before")
	assert.InDelta(t, 90, v, 1.5, "half the speed for a fifth of the time")
}

// A roller that is not told to turn stands still for that reason: nothing is said of its speed.
func TestARollerThatWasNotDriven(t *testing.T) {
	off := func(pass int, after float64) float64 {
		if pass == 5 && after < 0.6 {
			return 0
		}
		return 1
	}
	w := world{passes: 6, jams: 1, supply: flat(11), roller: func(pass int, after float64) float64 { return 100 * off(pass, after) }}
	in := w.input()
	told := &series.Float{T: in.Stages[1].Speed.T}
	for _, v := range in.Stages[1].Speed.V {
		told.V = append(told.V, v/100)
	}
	speed := func(in Input) *schemas.Number {
		for _, n := range Look(in, DefaultConfig()).Jams[0] {
			if n.Name == "roller speed in the half second before" {
				return &n
			}
		}
		return nil
	}
	require.NotNil(t, speed(in), "no command is logged")
	assert.InDelta(t, 0, *speed(in).Value, 3)
	in.Stages[1].Command = told
	assert.Nil(t, speed(in))
}

// A roller that spins up in every pass is at its usual speed while it does.
func TestTheSameMomentOfAPass(t *testing.T) {
	w := world{passes: 8, jams: 1, supply: flat(11), roller: func(_ int, after float64) float64 { return 100 * math.Min(math.Max(after, 0), 1) }}
	got := Look(w.input(), DefaultConfig())
	v, _ := value(t, got.Jams[0], "roller speed in the half second before")
	assert.InDelta(t, 100, v, 1)
	assert.Empty(t, got.Common["lift"])
}

// Three jams against ten good passes: 1 in 286 deals, times the things compared.
func TestWhatAllJamsShare(t *testing.T) {
	w := world{passes: 13, jams: 3, roller: flat(100), supply: func(pass int, _ float64) float64 {
		if pass >= 10 {
			return 8 + 0.1*float64(pass)
		}
		return 11 + 0.1*float64(pass)
	}}
	common := Look(w.input(), DefaultConfig()).Common["lift"]
	require.Len(t, common, 1)
	assert.InDelta(t, 4/286.0, common[0].P, 1e-9)
	assert.Contains(t, common[0].Text, "Before all 3 jams of the lift the supply was lower than in 10 of 10 good passes (9.1 V against 11.4 V); chance alone does that once in 7")
}

// Nothing is claimed of too few passes, of a difference that is no more than chance, or of
// one that is too small to matter.
func TestNothingInCommon(t *testing.T) {
	lower := func(by float64) func(int, float64) float64 {
		return func(pass int, _ float64) float64 {
			if pass == 5 {
				return 11 - by
			}
			return 11 + 0.01*float64(pass)
		}
	}
	few := world{passes: 6, jams: 1, supply: lower(3), roller: flat(100)}
	assert.Empty(t, Look(few.input(), DefaultConfig()).Common["lift"], "one jam against five passes is a chance of one in six")
	small := world{passes: 13, jams: 3, roller: flat(100), supply: func(pass int, _ float64) float64 { return 11 - 0.01*float64(pass) }}
	assert.Empty(t, Look(small.input(), DefaultConfig()).Common["lift"])
}

func TestAJamOfNoPieceHasNoMoment(t *testing.T) {
	w := world{passes: 4, jams: 1, supply: flat(11), roller: flat(100)}
	in := w.input()
	in.Jams[0].Piece = nil
	got := Look(in, DefaultConfig())
	assert.Empty(t, got.Jams[0])
	assert.Empty(t, got.Common["lift"])
	assert.True(t, math.IsNaN(got.Facts[0].Speed))
}

// With five signals there is a beam and no more: what is not logged is not said.
func TestABeamAlone(t *testing.T) {
	w := world{passes: 6, jams: 1, supply: flat(11), roller: flat(100)}
	in := w.input()
	in.Voltage, in.Stages[1].Speed = nil, nil
	for _, n := range Look(in, DefaultConfig()).Jams[0] {
		assert.Equal(t, "s", n.Unit, n.Name)
	}
}
