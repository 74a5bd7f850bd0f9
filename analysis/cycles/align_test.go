package cycles

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// lined is a robot whose distance from the aiming point goes straight from one of the points
// (s since it came into the goal zone at 10 s, m) to the next, seen 50 times a second, and
// whose piece leaves at the last point.
func lined(points ...[2]float64) (*cycle, Input) {
	const from = 10.0
	e := &series.Float{}
	for k := 1; k < len(points); k++ {
		a, b := points[k-1], points[k]
		for t := a[0]; t < b[0]-1e-9; t += 0.02 {
			e.T = append(e.T, schemas.Micros(from+t))
			e.V = append(e.V, a[1]+(b[1]-a[1])*(t-a[0])/(b[0]-a[0]))
		}
	}
	last := points[len(points)-1]
	e.T, e.V = append(e.T, schemas.Micros(from+last[0])), append(e.V, last[1])
	enter, leave, end := 5.0, from+last[0], from+last[0]+1
	c := row(schemas.CycleScore, schemas.PeriodDriver, 0, schemas.Micros(end), 0, 1, true)
	c.entered, c.hasPiece = schemas.Micros(enter), true
	c.Phases.PlaceS = schemas.Some(end - from)
	return &c, Input{
		AimError: e, AimGoodM: 0.05,
		Passes: []schemas.Pass{{Piece: 1, Outcome: schemas.PassReleased, EnterS: &enter, LeaveS: &leave}},
	}
}

func TestHowARobotLinedUp(t *testing.T) {
	for name, c := range map[string]struct {
		points            [][2]float64
		arrived, placed   float64
		corrections       int
		took              float64
		never             bool
		removeFrom, until float64 // s since it came into the goal zone, where the target is not seen
	}{
		"straight in": {
			points:  [][2]float64{{0, 0.8}, {1, 0.02}, {2, 0.02}},
			arrived: 0.02, placed: 0.02, took: 0.96,
		},
		"stopped short, then nearer": {
			points:  [][2]float64{{0, 0.8}, {1, 0.2}, {2, 0.2}, {2.5, 0.03}, {3, 0.03}},
			arrived: 0.2, placed: 0.03, corrections: 1, took: 2.44,
		},
		"drove past and came back, twice": {
			points:  [][2]float64{{0, 0.8}, {1, 0.01}, {1.3, 0.2}, {1.8, 0.02}, {2.1, 0.15}, {2.6, 0.01}, {3, 0.01}},
			arrived: 0.01, placed: 0.01, corrections: 2, took: 2.46,
		},
		"crept all the way": {
			points:  [][2]float64{{0, 0.8}, {10, 0.04}, {10.1, 0.04}},
			arrived: 0.04, placed: 0.04, took: 9.87,
		},
		"moved off and placed from there": {
			points:  [][2]float64{{0, 0.8}, {1, 0.02}, {2, 0.3}},
			arrived: 0.02, placed: 0.3, never: true,
		},
		"trembles by less than half of what is good": {
			points:  [][2]float64{{0, 0.8}, {1, 0.02}, {1.2, 0.04}, {1.4, 0.02}, {1.6, 0.04}, {1.8, 0.02}},
			arrived: 0.02, placed: 0.02, took: 0.96,
		},
		"out of sight while it moved off": {
			points:  [][2]float64{{0, 0.8}, {1, 0.02}, {2, 0.9}, {4, 0.9}, {5, 0.02}, {6, 0.02}},
			arrived: 0.02, placed: 0.02, corrections: 1, took: 4.97,
			removeFrom: 1.5, until: 4.2,
		},
	} {
		t.Run(name, func(t *testing.T) {
			cyc, in := lined(c.points...)
			kept := &series.Float{}
			for i, at := range in.AimError.T {
				if s := schemas.Seconds(at) - 10; s <= c.removeFrom || s >= c.until {
					kept.T, kept.V = append(kept.T, at), append(kept.V, in.AimError.V[i])
				}
			}
			in.AimError = kept
			a := alignOf(cyc, aimOf(in, DefaultConfig()), in)
			require.NotNil(t, a)
			assert.InDelta(t, c.arrived, *a.ArrivedM, 0.016, "a turn within one sample is taken for a spike")
			assert.InDelta(t, c.placed, *a.PlacedM, 0.005)
			assert.Equal(t, c.corrections, *a.Corrections)
			assert.Nil(t, a.Assisted, "nothing tells")
			if c.never {
				assert.Nil(t, a.AlignS)
				return
			}
			require.NotNil(t, a.AlignS)
			assert.InDelta(t, c.took, *a.AlignS, 0.05)
		})
	}
}

// What is not known of lining up is not told.
func TestLiningUpWithMissingParts(t *testing.T) {
	cfg := DefaultConfig()
	points := [][2]float64{{0, 0.8}, {1, 0.02}, {3, 0.02}}
	c, in := lined(points...)
	late := in
	late.AimError = in.AimError.Between(schemas.Micros(11.2), math.MaxInt64)
	a := alignOf(c, aimOf(late, cfg), late)
	require.NotNil(t, a)
	assert.Nil(t, a.ArrivedM, "it was not seen to arrive")
	assert.Nil(t, a.Corrections)
	assert.InDelta(t, 0.02, *a.PlacedM, 0.001)

	early := in
	early.AimError = in.AimError.Between(0, schemas.Micros(11.5))
	assert.Nil(t, alignOf(c, aimOf(early, cfg), early), "not seen when the piece left")

	noPath := in
	noPath.Passes = nil
	a = alignOf(c, aimOf(noPath, cfg), noPath)
	assert.Nil(t, a, "the target was last seen a second before it counted")

	c.Phases.PlaceS = nil
	a = alignOf(c, aimOf(in, cfg), in)
	require.NotNil(t, a, "without zones")
	assert.InDelta(t, 0.96, *a.AlignS, 0.05)

	in.Assist = &series.Bool{T: []int64{0, schemas.Micros(10.5)}, V: []bool{false, true}}
	assert.True(t, *alignOf(c, aimOf(in, cfg), in).Assisted)
	assert.Nil(t, aimOf(Input{}, cfg))
}

// Whether the assisted approach was quicker is the Hodges-Lehmann difference of Hollander and
// Wolfe, Nonparametric Statistical Methods (1973), p. 69, in R's help of wilcox.test: 0.305,
// 95 % [-0.15, 0.76] by R 4.2.2. It holds 0: it cannot be told.
func TestWhichApproachWasQuicker(t *testing.T) {
	x := []float64{0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46}
	y := []float64{1.15, 0.88, 0.90, 0.74, 1.21}
	cycles := func(later float64) []schemas.Cycle {
		var out []schemas.Cycle
		add := func(all []float64, assisted bool, later float64) {
			for _, v := range all {
				out = append(out, schemas.Cycle{Period: schemas.PeriodDriver, Align: &schemas.Align{AlignS: schemas.Some(v + later), Assisted: &assisted}})
			}
		}
		add(x, true, later)
		add(y, false, 0)
		return out
	}
	p := placingOf(cycles(0), nil)
	assert.Equal(t, 10, p.Assisted)
	assert.Equal(t, 5, p.HandDriven)
	assert.InDelta(t, 0.305, *p.DifferenceS, 1e-9)
	assert.InDelta(t, -0.15, *p.LowS, 1e-9)
	assert.InDelta(t, 0.76, *p.HighS, 1e-9)
	assert.Equal(t, schemas.QuickerUnknown, p.Quicker)
	assert.Equal(t, schemas.QuickerByHand, placingOf(cycles(0.2), nil).Quicker)
	assert.Equal(t, schemas.QuickerAssisted, placingOf(cycles(-0.8), nil).Quicker)
	assert.Nil(t, p.ArrivedM, "nobody saw it arrive")

	few := placingOf(cycles(0)[8:12], nil)
	assert.Nil(t, few.DifferenceS)
	assert.Equal(t, schemas.QuickerUnknown, few.Quicker)
	pooled := placingOf(cycles(0)[:10], []History{{Cycles: cycles(0)[10:]}})
	assert.Equal(t, 2, pooled.Matches)
	assert.InDelta(t, 0.305, *pooled.DifferenceS, 1e-9)
	assert.Nil(t, placingOf(nil, nil))
}
