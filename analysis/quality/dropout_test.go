package quality

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// tilted is a tilt with noise of 0.12 degrees in steps of 0.1, at 100 Hz for 60 s. The
// robot stands in the first ten.
func tilted(seed uint64, level func(s float64) float64) *schemas.Signal {
	r := rand.New(rand.NewPCG(seed, 7))
	return sampled("tilt", 100, 60, func(s float64) float64 { return math.Round(10*(level(s)+0.12*r.NormFloat64()))/10 + 0 })
}

func level(float64) float64 { return 0 }

// zeroed is a copy with exact zeros from one second up to another.
func zeroed(s *schemas.Signal, from, to float64) *schemas.Signal {
	out := &schemas.Signal{Name: s.Name, Kind: s.Kind, Time: s.Time, Float: append([]float64(nil), s.Float...)}
	for i, t := range s.Time {
		if at := schemas.Seconds(t); at >= from && at < to {
			out.Float[i] = 0
		}
	}
	return out
}

func stood(from, to float64) []series.Interval {
	return []series.Interval{{Start: schemas.Micros(from), End: schemas.Micros(to)}}
}

func dropOutsOf(rest []series.Interval, signals ...*schemas.Signal) []schemas.Fault {
	log := &schemas.Log{Signals: signals}
	var mapped []Mapped
	for _, s := range signals {
		mapped = append(mapped, Mapped{Signal: s.Name, CannotJump: true, Rest: rest})
	}
	log.Normalize()
	return DropOuts(log, mapped)
}

func TestDropOuts(t *testing.T) {
	board := func(s float64) float64 { return 11 * math.Exp(-math.Abs(s-30)/4) } // up onto a platform and down
	for _, c := range []struct {
		name  string
		s     *schemas.Signal
		rest  []series.Interval
		want  [][2]float64
		about float64
	}{
		{"from a level and back, three samples", zeroed(tilted(1, board), 30, 30.03), stood(0, 10), [][2]float64{{30, 30.03}}, 1e-9},
		{"two samples are a spike", zeroed(tilted(1, board), 30, 30.02), stood(0, 10), nil, 0},
		{"at level, longer than noise repeats", zeroed(tilted(2, level), 40, 40.5), stood(0, 10), [][2]float64{{40, 40.5}}, 0.02},
		{"at level, as long as noise may repeat", zeroed(tilted(2, level), 40, 40.05), stood(0, 10), nil, 0},
		{"at level, and nobody knows what rest looks like", zeroed(tilted(2, level), 40, 40.5), nil, nil, 0},
		{
			"at level, after the sensor dropped out for sure",
			zeroed(zeroed(tilted(3, board), 30, 30.2), 55, 55.4),
			nil,
			[][2]float64{{30, 30.2}, {55, 55.4}},
			0.02,
		},
		{"while it stood, once", zeroed(tilted(4, level), 5, 5.4), stood(0, 10), [][2]float64{{5, 5.4}}, 0.02},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := dropOutsOf(c.rest, c.s)
			require.Len(t, got, len(c.want), "%v", got)
			for i, f := range got {
				assert.Equal(t, DropOut, f.Kind)
				assert.InDelta(t, c.want[i][0], f.StartS, c.about+1e-9)
				assert.InDelta(t, c.want[i][1], f.EndS, c.about+1e-9)
				assert.GreaterOrEqual(t, *f.Confidence, 0.95)
			}
		})
	}
}

// What looks the same and is no drop-out.
func TestWhatReallyIsZero(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for _, c := range []struct {
		name string
		s    *schemas.Signal
		rest []series.Interval
	}{
		{"a tilt without noise at rest, shaken on the way", sampled("tilt", 100, 60, func(s float64) float64 {
			if math.Mod(s, 7) < 4 {
				return 0
			}
			return math.Round(10*math.Sin(9*s)+3*r.NormFloat64()) / 10
		}), stood(0, 3)},
		{"the same, and nobody says when it rests", sampled("tilt", 100, 60, func(s float64) float64 {
			if math.Mod(s, 7) < 4 {
				return 0
			}
			return math.Round(10*math.Sin(9*s)+3*r.NormFloat64()) / 10
		}), nil},
		{"a coarse tilt", sampled("tilt", 100, 60, func(s float64) float64 { return math.Round(0.7*math.Sin(s)+0.12*r.NormFloat64()) + 0 }), stood(0, 3)},
		{"a swing through 0", tilted(5, func(s float64) float64 { return 10 * math.Sin(12*s) }), nil},
		{"noise", tilted(6, level), stood(0, 10)},
		{"bumps", tilted(7, func(s float64) float64 {
			if math.Mod(s, 0.5) < 0.015 {
				return 8
			}
			return 0
		}), stood(0, 0.4)},
		{"a lift that rests at the bottom", sampled("lift", 50, 60, func(s float64) float64 { return max(0, math.Round(500*0.6*math.Sin(s/3))/500) }), stood(0, 1)},
		{"an encoder that rests", sampled("lift", 50, 60, func(s float64) float64 { return math.Floor(s/20) * 0.35 }), stood(0, 10)},
		{"a position that begins anew behind a restart of the log", without(sampled("lift", 50, 60, func(s float64) float64 {
			if s < 30 {
				return 0.4 + 0.001*math.Round(r.NormFloat64())
			}
			return max(0, s-36)
		}), 28, 35), stood(0, 10)},
		{"a text of whole numbers that is 0 between others", sampled("lift", 50, 60, func(s float64) float64 { return math.Floor(math.Mod(s*3, 3)) }), nil},
	} {
		t.Run(c.name, func(t *testing.T) { assert.Empty(t, dropOutsOf(c.rest, c.s)) })
	}
}

// A drop-out too short to be told by itself is told when another sensor did the same at
// the same samples.
func TestSensorsThatDropOutTogether(t *testing.T) {
	board := func(s float64) float64 { return 11 * math.Exp(-math.Abs(s-30)/4) }
	a := zeroed(tilted(11, board), 30, 30.08)
	b := zeroed(tilted(12, level), 30, 30.08)
	b.Name = "rate"
	assert.Empty(t, dropOutsOf(stood(0, 10), b))
	got := dropOutsOf(stood(0, 10), a, b)
	require.Len(t, got, 2)
	assert.Equal(t, []string{"tilt drop-out", "rate drop-out"}, kinds(got))
}

// Wherever and however long it drops out from a level, it is told once, and a shift of time
// shifts it.
func TestDropOutsByProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.Float64Range(12, 50).Draw(t, "at")
		length := rapid.Float64Range(0.05, 1.5).Draw(t, "length")
		high := rapid.Float64Range(3, 20).Draw(t, "level")
		shift := rapid.Int64Range(-1e9, 1e9).Draw(t, "shift")
		s := zeroed(tilted(rapid.Uint64().Draw(t, "seed"), func(s float64) float64 { return min(high, s) }), at, at+length)
		for i := range s.Time {
			s.Time[i] += shift
		}
		got := dropOutsOf(nil, s)
		if len(got) != 1 {
			t.Fatalf("%v", got)
		}
		assert.InDelta(t, at, got[0].StartS-schemas.Seconds(shift), 0.011)
		assert.InDelta(t, at+length, got[0].EndS-schemas.Seconds(shift), 0.011)
	})
}

// Where the robot stands the tilt is another each time. In steps wider than its noise it repeats 0
// for long where that is near, and seldom where it is not: how it repeats there says nothing of here.
func TestCoarseTiltsRepeatByTheLevel(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	s := sampled("tilt", 100, 60, func(s float64) float64 {
		at := 0.19
		if s >= 10 && s < 20 {
			at = 0.05 // here it stands the first time, and 0 is read nearly always
		} else if s >= 20 && s < 50 {
			at = 4 * math.Sin(s)
		}
		return math.Round((at+0.08*r.NormFloat64())/0.4)*0.4 + 0
	})
	rest := []series.Interval{stood(0, 10)[0], stood(10, 20)[0], stood(50, 60)[0]}
	assert.Empty(t, dropOutsOf(rest, s))
}

// In wide steps a robot on flat ground reads 0 all the while it stands. Where it rests at the end,
// on a slope of half a step, 0 seldom repeats.
func TestCoarseTiltsOnFlatGroundAreNoDropOuts(t *testing.T) {
	for seed := range uint64(10) {
		r := rand.New(rand.NewPCG(seed, 5))
		coarse := sampled("tilt", 100, 150, func(s float64) float64 {
			shakes := 0.5 // it drives
			if math.Mod(s, 7) < 2.5 {
				shakes = 0.12
			}
			at := 0.0
			switch {
			case s > 100 && s < 110:
				at = 6 // on a platform
			case s > 140:
				at, shakes = 0.35, 0.3
			}
			return math.Round((at+shakes*r.NormFloat64())/0.7)*0.7 + 0
		})
		rest := stood(140, 150)
		assert.Empty(t, dropOutsOf(rest, coarse), "seed %d", seed)
		got := dropOutsOf(rest, zeroed(coarse, 105, 105.3))
		require.Len(t, got, 1, "seed %d: from 6 deg to 0 and back it did drop out", seed)
		assert.InDelta(t, 105, got[0].StartS, 1e-9)
	}
}
