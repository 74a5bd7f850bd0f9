package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	gonum "gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
)

// Efron and Tibshirani, An Introduction to the Bootstrap (1993), survival of seven treated mice (table 2.1,
// from memory): of all samples drawn from them with replacement the median has the standard error 37.83
// and is one of the seven values with the chances .0102, .0981, .2386, .3062 and back. Every sample is
// counted here, so that no luck is in it.
func TestMedianOfEverySampleOfMice(t *testing.T) {
	mice := []float64{94, 197, 16, 38, 99, 141, 23}
	n := len(mice)
	chance := map[float64]float64{}
	lengths := make([]int, n)
	for i := range lengths {
		lengths[i] = n
	}
	drawn, sample := make([]float64, n), make([]int, n)
	for g := combin.NewCartesianGenerator(lengths); g.Next(); {
		for k, which := range g.Product(sample) {
			drawn[k] = mice[which]
		}
		chance[Median(drawn)]++
	}
	all := math.Pow(float64(n), float64(n))
	mean, square := 0.0, 0.0
	for value, ways := range chance {
		mean += value * ways / all
		square += value * value * ways / all
	}
	within(t, 1e-9, 37.834674394, math.Sqrt(square-mean*mean), "standard error of the median")
	for i, value := range []float64{16, 23, 38, 94} {
		assert.InDelta(t, []float64{.01015, .09812, .23863, .30620}[i], chance[value]/all, 5e-6, "%g", value)
	}
}

// The same book, 15 law schools (table 3.1, from memory; scipy 1.10.1): the correlation of test and grades is
// 0.776, its jackknife standard error 0.1425, the acceleration of its bootstrap -0.0757, and the 95 % interval
// that corrects for bias and acceleration about 0.34 to 0.94. The correlation is that of a fitted line's slope
// and the slope's error.
func TestLineOfTheLawSchools(t *testing.T) {
	c := table(t, "law15.csv")
	lsat, gpa := numbers(t, c["lsat"]), numbers(t, c["gpa"])
	n := len(lsat)
	correlation := func(pick func(k int) int, n int) float64 {
		x, y := make([]float64, n), make([]float64, n)
		for k := range n {
			x[k], y[k] = lsat[pick(k)], gpa[pick(k)]
		}
		l, ok := FitLine(x, y)
		require.True(t, ok)
		s := l.Slope / l.SlopeSE
		return s / math.Sqrt(s*s+float64(n-2))
	}
	r := correlation(func(k int) int { return k }, n)
	within(t, 1e-9, 0.776374491289407, r, "correlation")

	var without []float64
	for left := range n {
		without = append(without, correlation(func(k int) int {
			if k >= left {
				k++
			}
			return k
		}, n-1))
	}
	mean := gonum.Mean(without, nil)
	var two, three float64
	for _, v := range without {
		two, three = two+math.Pow(mean-v, 2), three+math.Pow(mean-v, 3)
	}
	within(t, 1e-9, 0.142518618602272, math.Sqrt(two*float64(n-1)/float64(n)), "jackknife standard error")
	acceleration := three / (6 * math.Pow(two, 1.5))
	within(t, 1e-7, -0.0756715649, acceleration, "acceleration")

	rng := rand.New(rand.NewPCG(21, 0))
	const draws = 4000
	all, below := make([]float64, draws), 0.0
	for i := range all {
		which := make([]int, n)
		for k := range which {
			which[k] = rng.IntN(n)
		}
		if all[i] = correlation(func(k int) int { return which[k] }, n); all[i] < r {
			below++
		}
	}
	bias := distuv.UnitNormal.Quantile(below / draws)
	end := func(p float64) float64 {
		z := bias + distuv.UnitNormal.Quantile(p)
		return Quantile(distuv.UnitNormal.CDF(bias+z/(1-acceleration*z)), all)
	}
	assert.InDelta(t, 0.34, end(0.025), 0.03)
	assert.InDelta(t, 0.94, end(0.975), 0.03)
}
