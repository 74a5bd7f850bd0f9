package draw

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Expected values computed with ticks(start, stop, count) of d3-array 3.2.5.
func TestTicksAreThoseOfD3(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		count  int
		want   []float64
	}{
		{0, 150, 8, []float64{0, 20, 40, 60, 80, 100, 120, 140}},
		{6.8, 13.2, 6, []float64{7, 8, 9, 10, 11, 12, 13}},
		{0, 1, 10, []float64{0, .1, .2, .3, .4, .5, .6, .7, .8, .9, 1}},
	} {
		require.Equal(t, c.want, Ticks(c.lo, c.hi, c.count), "ticks(%v, %v, %d)", c.lo, c.hi, c.count)
	}
}

func TestTicksOfNothing(t *testing.T) {
	for _, c := range [][3]float64{{1, 1, 5}, {2, 1, 5}, {0, 1, 0}, {0, math.Inf(1), 5}, {math.NaN(), 1, 5}} {
		require.Nil(t, Ticks(c[0], c[1], int(c[2])), "ticks(%v)", c)
	}
}

func TestTicksStayInRangeAndEven(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-1e6, 1e6).Draw(t, "lo")
		span := rapid.Float64Range(1e-3, 1e6).Draw(t, "span")
		count := rapid.IntRange(1, 30).Draw(t, "count")
		ticks := Ticks(lo, lo+span, count)
		slack := 1e-6 * span
		for i, v := range ticks {
			if v < lo-slack || v > lo+span+slack {
				t.Fatalf("tick %v outside of %v to %v", v, lo, lo+span)
			}
			if i > 1 {
				if d := math.Abs((ticks[i] - ticks[i-1]) - (ticks[1] - ticks[0])); d > 1e-6*span {
					t.Fatalf("ticks are not even: %v", ticks)
				}
			}
		}
		if len(ticks) > 2*count+2 {
			t.Fatalf("%d ticks where about %d were asked for", len(ticks), count)
		}
	})
}
