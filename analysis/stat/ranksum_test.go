package stat

import (
	"math"
	"math/bits"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// Permeability of the human chorioamnion at term and at 12 to 26 weeks: Hollander and Wolfe,
// Nonparametric Statistical Methods (1973), p. 69f. The statistic 35 and the exact
// probability 0.1272 are those printed for it by the documentation of R's wilcox.test.
func TestRankSumOfTheChorioamnion(t *testing.T) {
	term := []float64{0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46}
	early := []float64{1.15, 0.88, 0.90, 0.74, 1.21}
	_, greater := RankSum(term, early)
	assert.InDelta(t, 0.1272, greater, 5e-5)
	less, _ := RankSum(early, term)
	assert.InDelta(t, greater, less, 1e-12, "the same question asked of the other sample")
}

// One value below nine others is the most extreme of ten equally likely places.
func TestRankSumOfOneAgainstNine(t *testing.T) {
	nine := []float64{2, 3, 4, 5, 6, 7, 8, 9, 10}
	less, greater := RankSum([]float64{1}, nine)
	assert.InDelta(t, 0.1, less, 1e-12)
	assert.InDelta(t, 1, greater, 1e-12)
	less, _ = RankSum(nil, nine)
	assert.True(t, math.IsNaN(less))
}

// With ties: against all ways to deal the values out, counted one by one.
func TestRankSumAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		few := rapid.SliceOfN(rapid.IntRange(0, 4), 1, 5)
		var x, y []float64
		for _, v := range few.Draw(t, "x") {
			x = append(x, float64(v))
		}
		for _, v := range few.Draw(t, "y") {
			y = append(y, float64(v))
		}
		pool := append(append([]float64{}, x...), y...)
		sum := func(pick uint) float64 { // of mean ranks, each counted from scratch
			s := 0.0
			for i, v := range pool {
				if pick>>i&1 == 0 {
					continue
				}
				below, same := 0, 0
				for _, w := range pool {
					if w < v {
						below++
					} else if w == v {
						same++
					}
				}
				s += float64(below) + float64(same+1)/2
			}
			return s
		}
		seen := sum(1<<len(x) - 1)
		var all, atMost, atLeast float64
		for pick := range uint(1) << len(pool) {
			if bits.OnesCount(pick) != len(x) {
				continue
			}
			all++
			if s := sum(pick); s <= seen+1e-9 {
				atMost++
			}
			if s := sum(pick); s >= seen-1e-9 {
				atLeast++
			}
		}
		less, greater := RankSum(x, y)
		assert.InDelta(t, atMost/all, less, 1e-9)
		assert.InDelta(t, atLeast/all, greater, 1e-9)
	})
}
