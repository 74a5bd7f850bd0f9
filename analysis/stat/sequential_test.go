package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// The Bayes factor by another way: Student's statistic of n readings with mean g sigma is a ratio of a
// normal and a chi, whose density is integrated over both, and over g by its prior.
func TestEvidenceIsTheBayesFactor(t *testing.T) {
	density := func(t, nu, shift float64) float64 { // of noncentral t
		sum := 0.0
		const step = 0.005
		for w := step / 2; w < 4; w += step { // w is chi / sqrt(nu)
			chi := distuv.ChiSquared{K: nu}.Prob(w*w*nu) * 2 * w * nu
			sum += distuv.UnitNormal.Prob(t*w-shift) * w * chi * step
		}
		return sum
	}
	for _, c := range []struct{ t, nu, n float64 }{{0, 7, 8}, {2.1, 7, 8}, {-3.4, 11, 12}, {1, 30, 7.5}} {
		alternative := 0.0
		const step = 0.02
		for g := -6.0; g <= 6; g += step {
			alternative += density(c.t, c.nu, g*math.Sqrt(c.n)) * distuv.UnitNormal.Prob(g) * step
		}
		assert.InEpsilon(t, alternative/density(c.t, c.nu, 0), Evidence(c.t, c.nu, c.n), 0.002, "t %g", c.t)
	}
	assert.InDelta(t, 1, Evidence(3, 0, 4), 0)
	assert.InDelta(t, 1, Evidence(math.NaN(), 5, 4), 0)
}

// What is outside the interval is what has evidence of 1/alpha against it.
func TestAlwaysIsWhereEvidenceIsEnough(t *testing.T) {
	for _, n := range []float64{6, 12, 50, 400} {
		limit := Always(n-1, n, 0.05)
		assert.InEpsilon(t, 20, Evidence(limit, n-1, n), 1e-9)
		assert.Greater(t, limit, distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(0.975), "looking at any time costs something")
	}
	assert.True(t, math.IsInf(Always(1, 2, 0.05), 1), "two readings are too few to say")
}

// Of trials in which nothing differs, and that are looked at after every run, at most one in twenty
// may ever be called settled: the chance is bounded by the interval of what was counted.
func TestEvidenceMayBeLookedAtAnyTime(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 0))
	const trials = 1500
	ever, fixed := 0, 0
	for range trials {
		var sum, square float64
		called, naive := false, false
		for n := 1; n <= 60; n++ {
			v := rng.NormFloat64()
			sum, square = sum+v, square+v*v
			if n < 3 {
				continue
			}
			m := float64(n)
			deviation := math.Sqrt((square - sum*sum/m) / (m - 1))
			s := sum / m / deviation * math.Sqrt(m)
			called = called || Evidence(s, m-1, m) >= 20
			naive = naive || math.Abs(s) > distuv.StudentsT{Sigma: 1, Nu: m - 1}.Quantile(0.975)
		}
		if called {
			ever++
		}
		if naive {
			fixed++
		}
	}
	low, _ := ClopperPearson(ever, trials, 0.998)
	require.LessOrEqual(t, low, 0.05, "%d of %d", ever, trials)
	require.Greater(t, fixed, trials/5, "and an interval for one look is wrong far more often")
}

// The chance that the truth is ever outside, over all rows of up to 150 tries: exactly, by counting.
func TestAlwaysShareHoldsAtAnyTime(t *testing.T) {
	const tries = 150
	for _, p := range []float64{0.02, 0.1, 0.5, 0.83} {
		inside, left := []float64{1}, 0.0 // by events so far
		for n := 1; n <= tries; n++ {
			next := make([]float64, n+1)
			for k, w := range inside {
				next[k] += w * (1 - p)
				next[k+1] += w * p
			}
			for k := range next {
				if next[k] == 0 {
					continue
				}
				if low, high := AlwaysShare(k, n, 0.95); p < low || p > high {
					left += next[k]
					next[k] = 0
				}
			}
			inside = next
		}
		assert.LessOrEqual(t, left, 0.05, "%g", p)
		assert.Greater(t, left, 0.001, "and it is not so wide that it says nothing, at %g", p)
	}
	low, high := AlwaysShare(0, 0, 0.95)
	assert.Equal(t, [2]float64{0, 1}, [2]float64{low, high})
	low, high = AlwaysShare(0, 12, 0.95)
	assert.Zero(t, low)
	assert.Less(t, high, 0.5)
}

// The same of two proportions in turns, one try of each at a time, by counting.
func TestAlwaysDifferenceHoldsAtAnyTime(t *testing.T) {
	const turns = 14
	for _, c := range [][2]float64{{0.1, 0.1}, {0.5, 0.2}, {0.02, 0.6}} {
		inside, left := map[[2]int]float64{{}: 1}, 0.0
		for n := 1; n <= turns; n++ {
			next := map[[2]int]float64{}
			for k, w := range inside {
				for more := range 4 {
					a, b := more&1, more>>1
					chance := w
					for i, hit := range []int{a, b} {
						if hit == 1 {
							chance *= c[i]
						} else {
							chance *= 1 - c[i]
						}
					}
					next[[2]int{k[0] + a, k[1] + b}] += chance
				}
			}
			for k, w := range next {
				if low, high := AlwaysDifference(k[0], n, k[1], n, 0.95); c[0]-c[1] < low || c[0]-c[1] > high {
					left += w
					delete(next, k)
				}
			}
			inside = next
		}
		assert.LessOrEqual(t, left, 0.05, "%g", c)
	}
	low, high := AlwaysDifference(18, 80, 0, 80, 0.95)
	assert.Greater(t, low, 0.0)
	assert.Less(t, high, 0.5)
	low, high = AlwaysDifference(0, 0, 3, 9, 0.95)
	assert.Equal(t, [2]float64{-1, 1}, [2]float64{low, high})
}

// Evidence is an e-value: over all outcomes of two turns of two tries each its mean is at most 1,
// whatever the one chance of both. Turner, Ly and Grünwald (2021), theorem 1.
func TestEvidenceOfSharesIsNoMoreThanOneOnAverage(t *testing.T) {
	choose := []float64{1, 2, 1}
	for _, p := range []float64{0.01, 0.2, 0.5, 0.9} {
		mean := 0.0
		for code := range 81 {
			k := []int{code % 3, code / 3 % 3, code / 9 % 3, code / 27}
			chance := 1.0
			for _, events := range k {
				chance *= choose[events] * math.Pow(p, float64(events)) * math.Pow(1-p, float64(2-events))
			}
			mean += chance * EvidenceOfShares([]Turn{{k[0], 2, k[1], 2}, {k[2], 2, k[3], 2}})
		}
		assert.LessOrEqual(t, mean, 1+1e-12, "%g", p)
	}
	var turns []Turn
	for range 12 {
		turns = append(turns, Turn{0, 10, 4, 10})
	}
	assert.Greater(t, EvidenceOfShares(turns), 1000.0)
	assert.Less(t, EvidenceOfShares([]Turn{{1, 10, 1, 10}, {1, 10, 1, 10}}), 1.5)
}
