package stat

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
)

func whole(t *testing.T, s string) int {
	t.Helper()
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// Newcombe, Statistics in Medicine 17:857-872 (1998), test cases; limits by statsmodels
// 0.13.5 proportion_confint, which agree with the paper's four printed decimals.
func TestProportionIntervals(t *testing.T) {
	rows := table(t, "binomial_ci.csv")
	wl, wh := numbers(t, rows["wilson_lo"]), numbers(t, rows["wilson_hi"])
	cl, ch := numbers(t, rows["cp_lo"]), numbers(t, rows["cp_hi"])
	for i := range rows["r"] {
		k, n := whole(t, rows["r"][i]), whole(t, rows["n"][i])
		low, high := Wilson(k, n, 0.95)
		assert.InDelta(t, wl[i], low, 1e-9, "Wilson %d of %d, low", k, n)
		assert.InDelta(t, wh[i], high, 1e-9, "Wilson %d of %d, high", k, n)
		low, high = ClopperPearson(k, n, 0.95)
		assert.InDelta(t, cl[i], low, 1e-9, "Clopper-Pearson %d of %d, low", k, n)
		assert.InDelta(t, ch[i], high, 1e-9, "Clopper-Pearson %d of %d, high", k, n)
	}
}

func TestProportionEdges(t *testing.T) {
	for _, interval := range []func(int, int, float64) (float64, float64){Wilson, ClopperPearson} {
		low, high := interval(0, 37, 0.95)
		assert.Zero(t, low, "none of n is exactly 0 at the lower end, not a rounding below it")
		assert.Less(t, high, 0.12)
		low, high = interval(37, 37, 0.95)
		assert.Equal(t, 1.0, high)
		assert.Greater(t, low, 0.88)
		low, high = interval(0, 0, 0.95)
		assert.Zero(t, low)
		assert.Equal(t, 1.0, high)
	}
}

// Newcombe, Statistics in Medicine 17:873-890 (1998), table II; limits by statsmodels
// 0.13.5 confint_proportions_2indep(method="newcomb").
func TestNewcombeDifference(t *testing.T) {
	rows := table(t, "binomial_diff_ci.csv")
	lo, hi := numbers(t, rows["lo"]), numbers(t, rows["hi"])
	for i := range rows["a"] {
		a, m := whole(t, rows["a"][i]), whole(t, rows["m"][i])
		b, n := whole(t, rows["b"][i]), whole(t, rows["n"][i])
		low, high := NewcombeDifference(a, m, b, n, 0.95)
		assert.InDelta(t, lo[i], low, 1e-9, "%d/%d - %d/%d, low", a, m, b, n)
		assert.InDelta(t, hi[i], high, 1e-9, "%d/%d - %d/%d, high", a, m, b, n)
	}
	low, high := NewcombeDifference(0, 0, 0, 0, 0.95)
	assert.InDelta(t, 0, low+high, 1e-12)
	assert.InDelta(t, math.Sqrt(0.5), high, 1e-12, "knowing nothing of either side")
}

// Garwood (1936); limits by R 4.2.2 poisson.test.
func TestGarwood(t *testing.T) {
	rows := table(t, "poisson_ci.csv")
	lo, hi := numbers(t, rows["lo"]), numbers(t, rows["hi"])
	for i, k := range rows["k"] {
		low, high := Garwood(whole(t, k), 0.95)
		assert.InDelta(t, lo[i], low, 1e-9*max(1, lo[i]), "low for %s", k)
		assert.InDelta(t, hi[i], high, 1e-9*max(1, hi[i]), "high for %s", k)
	}
}

// Source: Boice and Monson, J. National Cancer Institute 59 (1977), as in R's help of poisson.test:
// 11 cases in 800 years against 21 in 3011. Input from memory, values by R 4.2.2.
func TestRateRatioOfBoiceAndMonson(t *testing.T) {
	ratio, low, high := RateRatio(11, 800, 21, 3011, 0.95)
	within(t, 1e-9, 1.971488095, ratio, "ratio")
	within(t, 1e-6, .858426403, low, "low")
	within(t, 1e-6, 4.277265944, high, "high")
	ratio, low, high = RateRatio(3, 2, 0, 2, 0.95)
	assert.True(t, math.IsNaN(ratio))
	assert.Positive(t, low)
	assert.True(t, math.IsInf(high, 1))
	ratio, low, high = RateRatio(0, 2, 0, 2, 0.95)
	assert.True(t, math.IsNaN(ratio))
	assert.Zero(t, low)
	assert.True(t, math.IsInf(high, 1))
}
