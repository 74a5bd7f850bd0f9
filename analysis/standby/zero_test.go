package standby

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// Five branches over 60 s at 50 Hz, disabled for the first ten; each motor runs in bursts of two
// seconds out of six. reads makes of what a branch draws what its sensor reads.
func board(reads func(branch int, disabled bool, amps float64) float64) Input {
	in := Input{Disabled: []series.Interval{{Start: 0, End: 10e6}}}
	for n, name := range []string{"left", "right", "lift", "roller", "intake"} {
		c := &series.Float{Name: "power/branch/" + name}
		for i := range 60 * 50 {
			s := float64(i) / 50
			amps := 0.0
			if s >= 10 && math.Mod(s+float64(n), 6) < 2 {
				amps = 12 + 8*math.Sin(3*s)
			}
			c.T, c.V = append(c.T, int64(i)*20_000), append(c.V, reads(n, s < 10, amps)+0.2*math.Sin(61*s))
		}
		in.Branches = append(in.Branches, Branch{Name: name, Current: c})
	}
	return in
}

// total is what a sensor of its own reads of the whole robot.
func total(amps float64) *series.Float {
	c := &series.Float{Name: "power/current"}
	for i := range 60 * 50 {
		c.T, c.V = append(c.T, int64(i)*20_000), append(c.V, amps)
	}
	return c
}

func TestSharedZero(t *testing.T) {
	offsets := []float64{2.3, 2.6, 1.7, 2.2, 1.9}
	off := func(n int, _ bool, amps float64) float64 { return amps + offsets[n] }
	for _, c := range []struct {
		name  string
		reads func(branch int, disabled bool, amps float64) float64
		whole *series.Float
		want  int
	}{
		{"sound", func(_ int, _ bool, amps float64) float64 { return amps + 0.3 }, nil, 0},
		{"all too high", off, nil, 5},
		{"all too low", func(n int, _ bool, amps float64) float64 { return amps - offsets[n] }, nil, 5},
		{"a whole current that shows none of it", off, total(3), 5},
		{"a whole current that shows it", off, total(11), 0},
		{"one that draws", func(n int, _ bool, amps float64) float64 {
			if n == 1 {
				return amps + 6
			}
			return amps
		}, nil, 0},
		{"one that draws much more than the others' zero", func(n int, _ bool, amps float64) float64 {
			if n == 1 {
				return amps + 9
			}
			return off(n, false, amps)
		}, nil, 4},
		{"half of them", func(n int, _ bool, amps float64) float64 {
			if n < 2 {
				return off(n, false, amps)
			}
			return amps
		}, nil, 0},
		{"motors let go only while enabled", func(n int, disabled bool, amps float64) float64 {
			if disabled {
				return offsets[n]
			}
			return amps
		}, nil, 0},
		{"one sign here, the other there", func(n int, _ bool, amps float64) float64 {
			return amps + offsets[n]*math.Pow(-1, float64(n))
		}, nil, 0},
		{"under what electronics draw", func(n int, _ bool, amps float64) float64 { return amps + 0.7*offsets[n] }, nil, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			assert.Len(t, SharedZero(board(c.reads), c.whole, DefaultConfig()), c.want)
		})
	}
	few := board(off)
	few.Branches = few.Branches[:3]
	assert.Empty(t, SharedZero(few, nil, DefaultConfig()), "too few to be most of a board")

	got := SharedZero(board(off), nil, DefaultConfig())
	require.Len(t, got, 5)
	assert.Equal(t, "left", got[0].Branch)
	assert.Equal(t, "power/branch/left", got[0].Signal)
	assert.InDelta(t, 2.3, got[0].RestA, 0.05)
}
