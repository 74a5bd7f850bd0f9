package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// The flow of the Nile fell in 1898 (Cobb, Biometrika 65, 1978). Segmentations by R's
// strucchange 1.5-3; penalized optima as by the algorithms of Killick et al. (JASA 107, 2012)
// and Jackson et al. (IEEE Signal Processing Letters 12, 2005).
func TestSegmentationsOfTheNile(t *testing.T) {
	flow := numbers(t, table(t, "nile.csv")["flow"])
	all := Segmentations(len(flow), 30, 1, SquaredError(flow))
	within(t, 1e-10, 2835156.75, all[0].Cost, "no change")
	within(t, 1e-10, 1597457.194444, all[1].Cost, "one change")
	require.Equal(t, []int{28}, all[1].At)
	within(t, 1e-12, 1097.75, stat.Mean(flow[:28], nil), "before")
	within(t, 1e-9, 849.9722222, stat.Mean(flow[28:], nil), "since")

	for _, c := range []struct {
		penalty, cost float64
		at            []int
	}{
		{122484.2778, 1719941.472288, []int{28}},
		{1e5, 1697457.194444, []int{28}},
		{5e4, 1366837.638889, []int{6, 7, 10, 19, 28, 37, 40, 45, 47, 83, 95}},
		{2e4, 880383.978066, nil},
	} {
		best, at := math.Inf(1), []int(nil)
		for _, s := range all {
			if cost := s.Cost + c.penalty*float64(len(s.At)); cost < best {
				best, at = cost, s.At
			}
		}
		if c.at != nil {
			require.Equal(t, c.at, at, "penalty %g", c.penalty)
		} else {
			require.Len(t, at, 24)
		}
		within(t, 1e-9, c.cost, best, "penalized cost")
	}

	// BIC with the variance as a parameter, as strucchange has it, prefers one change.
	bic := func(k int, rss float64) float64 {
		n := float64(len(flow))
		return n*(math.Log(2*math.Pi*rss/n)+1) + float64(2*k+2)*math.Log(n)
	}
	require.InDelta(t, 1318.24181, bic(0, all[0].Cost), 1e-4)
	require.InDelta(t, 1270.08374, bic(1, all[1].Cost), 1e-4)
	long := Segmentations(len(flow), 2, 15, SquaredError(flow)) // as strucchange has segments
	require.InDelta(t, 1276.46670, bic(2, long[2].Cost), 1e-4)
}

func TestSegmentationsAgainstAllCuts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := rapid.SliceOfN(rapid.Float64Range(-5, 5), 1, 9).Draw(t, "y")
		least := rapid.IntRange(1, 3).Draw(t, "least")
		cost := AbsoluteError(y)
		best := map[int]float64{}
		for cuts := range 1 << (len(y) - 1) {
			from, sum, n, fits := 0, 0.0, 0, true
			for i := 1; i <= len(y); i++ {
				if i < len(y) && cuts>>(i-1)&1 == 0 {
					continue
				}
				fits = fits && i-from >= least
				sum += cost(from, i)
				from = i
				n++
			}
			if b, ok := best[n-1]; fits && (!ok || sum < b) {
				best[n-1] = sum
			}
		}
		got := Segmentations(len(y), len(y), least, cost)
		if len(y) < least {
			require.True(t, math.IsInf(got[0].Cost, 1))
			return
		}
		require.Len(t, got, len(best))
		for k, s := range got {
			require.InDelta(t, best[k], s.Cost, 1e-9)
			sum, from := 0.0, 0
			for _, at := range append(append([]int{}, s.At...), len(y)) {
				sum += cost(from, at)
				from = at
			}
			require.InDelta(t, s.Cost, sum, 1e-9, "what the cuts cost")
		}
	})
}

func TestCostsOfSegments(t *testing.T) {
	y := []float64{1, 2, 10, 4}
	require.InDelta(t, 11, AbsoluteError(y)(0, 4), 1e-12) // |1-3| + |2-3| + |10-3| + |4-3|
	require.InDelta(t, 9, AbsoluteError(y)(0, 3), 1e-12)
	require.InDelta(t, 48.75, SquaredError(y)(0, 4), 1e-12)
	cost := Binomial([]float64{0, 2, 1}, []float64{5, 5, 2})
	require.Zero(t, cost(0, 1))
	want := -2 * (3*math.Log(3.0/7) + 4*math.Log(4.0/7))
	require.InDelta(t, want, cost(1, 3), 1e-12)
}

func TestSharpestRateStepByHand(t *testing.T) {
	// No event in 60 tries, then one in each of six readings of ten.
	k := []float64{0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1}
	n := []float64{10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10}
	s := SharpestRateStep(k, n, 3)
	require.Equal(t, 6, s.At)
	want := 2 * (6*math.Log(6.0/60) + 54*math.Log(54.0/60) - 6*math.Log(6.0/120) - 114*math.Log(114.0/120))
	within(t, 1e-12, math.Sqrt(want), s.T, "root of the likelihood ratio")
	require.Equal(t, 1.0, SharpestRateStep(make([]float64, 12), n, 3).P)

	// One reading with a bunch of events is no change.
	k = []float64{0, 0, 0, 0, 0, 0, 0, 0, 0, 6, 0, 0}
	require.Greater(t, SharpestRateStep(k, n, 3).P, 0.5)
	require.Greater(t, SharpestRateSpell(k, n, 3).P, 0.5)
}

// Fleiss, Statistical Methods for Rates and Proportions (1981): smokers among lung cancer patients
// of four studies, as in the help of R's prop.trend.test; values by R 4.2.2.
func TestRateTrendOfFleiss(t *testing.T) {
	c := table(t, "fleiss_trend.csv")
	k, n := numbers(t, c["smokers"]), numbers(t, c["patients"])
	chi2, p := RateTrend([]float64{1, 2, 3, 4}, k, n)
	// The four studies differ by more than chance about the line, 4.3755 with two degrees of freedom:
	// R does not divide by that.
	excess := (12.6004113 - 8.224922285) / 2
	require.InDelta(t, 8.224922285, chi2*excess, 0.06)
	require.Greater(t, p, 0.00413189748)
	zero, one := RateTrend([]float64{1, 2, 3, 4}, []float64{0, 0, 0, 0}, n)
	require.Zero(t, zero)
	require.Equal(t, 1.0, one)
}

func TestSharpestIsStudents(t *testing.T) {
	// Student's sleep data (R's datasets::sleep, pooled variance): t -1.8608, 18 degrees of freedom.
	sleep := []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2, 1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}
	s := SharpestStep(sleep, 10)
	require.Equal(t, 10, s.At)
	within(t, 1e-6, 1.860813, s.T, "t")
	require.InDelta(t, 0.07919, s.P, 1e-5, "one place, so it is the test's own chance")
	require.Equal(t, 1.0, SharpestStep([]float64{4, 4, 4, 4, 4.0, 4}, 2).P)
	require.Equal(t, 1.0, SharpestStep([]float64{1, 2}, 2).P)
}

// By chance alone a test at 5 % is met in 5 % of rows, or fewer.
func TestStepsAreNotSeenInNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 0))
	step, spell, rate, rateSpell := 0, 0, 0, 0
	const rows = 400
	for range rows {
		y, k, n := make([]float64, 30), make([]float64, 30), make([]float64, 30)
		for i := range y {
			y[i] = rng.NormFloat64()
			n[i] = float64(5 + rng.IntN(6))
			if rng.IntN(5) == 0 { // bunches
				k[i] = float64(rng.IntN(4))
			}
		}
		count := func(to *int, p float64) {
			if p <= 0.05 {
				*to++
			}
		}
		count(&step, SharpestStep(y, 3).P)
		count(&spell, SharpestSpell(y, 3).P)
		count(&rate, SharpestRateStep(k, n, 3).P)
		count(&rateSpell, SharpestRateSpell(k, n, 3).P)
	}
	for what, k := range map[string]int{"step": step, "spell": spell, "rate": rate, "rate spell": rateSpell} {
		low, _ := ClopperPearson(k, rows, 0.999)
		require.LessOrEqual(t, low, 0.05, "%s: %d of %d", what, k, rows)
	}
}

func TestStepOfTheNileIsSure(t *testing.T) {
	s := SharpestStep(numbers(t, table(t, "nile.csv")["flow"]), 3)
	require.Equal(t, 28, s.At, "as Cobb has it")
	require.Less(t, s.P, 1e-8)
	spell := SharpestSpell(numbers(t, table(t, "nile.csv")["flow"]), 3)
	require.GreaterOrEqual(t, spell.T, s.T)
}

// The year of the change of the Nile: R's strucchange 1.5-3 gives 1898 (28 years before it) and, by
// the asymptotic law of Bai (Review of Economics and Statistics 79, 1997), 25 to 32 as its 95 % interval,
// which allows for levels that scatter differently. Ours knows one scatter and may be narrower.
func TestPlaceOfTheStepOfTheNile(t *testing.T) {
	chance := StepPlaces(numbers(t, table(t, "nile.csv")["flow"]), 3)
	within(t, 1e-12, 1, floats.Sum(chance), "all places")
	require.Equal(t, 28, floats.MaxIdx(chance))
	first, last := Likeliest(chance, 0.95)
	require.GreaterOrEqual(t, first, 25)
	require.LessOrEqual(t, last, 32)
	require.Less(t, first, last)
	require.Zero(t, chance[2])
	require.Zero(t, chance[98])
}

// The formulas put by hand, of rows short enough for that.
func TestStepPlacesByHand(t *testing.T) {
	y := []float64{0, 1, 5, 6, 5}
	chance := StepPlaces(y, 1)
	weight := func(at, n, loss float64) float64 { return math.Pow(loss, -(n-2)/2) / math.Sqrt(at*(n-at)) }
	w := []float64{0, weight(1, 5, 14.75), weight(2, 5, 0.5+2.0/3), weight(3, 5, 14.5), weight(4, 5, 26)}
	for at := range chance {
		within(t, 1e-12, w[at]/floats.Sum(w), chance[at], "place")
	}
	first, last := Likeliest(chance, 0.9)
	require.Equal(t, []int{2, 2}, []int{first, last})
	require.Nil(t, StepPlaces(y, 3))

	// Of events, the integral over both chances: beta functions.
	share := ShareStepPlaces([]float64{0, 0, 3}, []float64{3, 3, 3}, 1)
	beta := func(k, n float64) float64 { return math.Exp(mathext.Lbeta(k+0.5, n-k+0.5)) }
	a, b := beta(0, 3)*beta(3, 6), beta(0, 6)*beta(3, 3)
	within(t, 1e-12, a/(a+b), share[1], "after the first")
	within(t, 1e-12, b/(a+b), share[2], "after the second")
	steady := StepPlaces([]float64{1, 1, 1, 1, 2, 2, 2}, 1) // explained wholly
	within(t, 1e-9, 1, steady[4], "no scatter at all")
}

// Of steps at random places the interval holds 95 %, or more where only whole places can be said.
func TestLikeliestHoldsThePlace(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 0))
	const trials = 2000
	for _, step := range []float64{1, 2, 3} {
		held, wide := 0, 0
		for range trials {
			n := 12 + rng.IntN(30)
			at := 3 + rng.IntN(n-5)
			y := make([]float64, n)
			for i := range y {
				y[i] = rng.NormFloat64()
				if i >= at {
					y[i] += step
				}
			}
			first, last := Likeliest(StepPlaces(y, 3), 0.95)
			if first <= at && at <= last {
				held++
			}
			wide += last - first
		}
		require.Greater(t, float64(held)/trials, 0.93, "step of %v", step)
		require.Less(t, float64(wide)/trials, 24.0)
	}
}
