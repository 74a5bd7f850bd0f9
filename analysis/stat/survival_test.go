package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

func gehan(t *testing.T, treat string) []Lasted {
	t.Helper()
	d := table(t, "gehan.csv")
	var out []Lasted
	for i, v := range numbers(t, d["time"]) {
		if d["treat"][i] == treat {
			out = append(out, Lasted{Time: v, Complete: d["cens"][i] == "1"})
		}
	}
	require.Len(t, out, 21)
	return out
}

// Source: Freireich et al. (1963) and Gehan (1965); curve and Greenwood errors by R
// survival 3.5-3, survfit.
func TestKaplanMeierOfGehan(t *testing.T) {
	c := KaplanMeier(gehan(t, "6-MP"))
	assert.Equal(t, []float64{6, 7, 10, 13, 16, 22, 23}, c.T)
	s := []float64{.857142857, .806722689, .752941176, .690196078, .627450980, .537815126, .448179272}
	se := []float64{.076360355, .086935285, .096349653, .106814708, .114053865, .128233752, .134591457}
	for i := range s {
		assert.InDelta(t, s[i], c.S[i], 1e-8)
		assert.InDelta(t, se[i], c.SE[i], 1e-8)
	}
	assert.Equal(t, 23.0, c.Quantile(0.5))
	assert.Equal(t, 8.0, KaplanMeier(gehan(t, "control")).Quantile(0.5))
	assert.True(t, math.IsNaN(c.Quantile(0.9)), "the curve ends above 0.1")
	assert.True(t, math.IsNaN(KaplanMeier(nil).Quantile(0.5)))
}

func TestKaplanMeierWithoutCensoringHasTheUsualMedian(t *testing.T) {
	for _, x := range [][]float64{{4, 1, 3, 2}, {5, 9, 1}, {2}, {7, 7, 8, 8}} {
		var all []Lasted
		for _, v := range x {
			all = append(all, Lasted{v, true})
		}
		assert.Equal(t, Median(x), KaplanMeier(all).Quantile(0.5), "%v", x)
	}
}

// Source: R survival 3.5-3, survreg(Surv(time, cens) ~ treat, dist = "lognormal") on
// Gehan's data. One spread for both arms is R's model, so the two arms' likelihoods are
// added up and maximized by gonum.
func TestLognormalLikelihoodOfGehan(t *testing.T) {
	treated, control := gehan(t, "6-MP"), gehan(t, "control")
	both := func(mu, shift, sigma float64) float64 {
		return censoredNormal(treated, 1/sigma, mu/sigma).value + censoredNormal(control, 1/sigma, (mu+shift)/sigma).value
	}
	assert.InDelta(t, -106.704622, both(3.171967702, -1.346846682, 0.923868780), 1e-6)
	found, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 {
		return -both(x[0], x[1], math.Exp(x[2]))
	}}, []float64{2, 0, 0}, &optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-13, Iterations: 200}}, &optimize.NelderMead{})
	require.NoError(t, err)
	within(t, 1e-5, 3.171967702, found.X[0], "mu")
	within(t, 1e-5, -1.346846682, found.X[1], "control")
	within(t, 1e-5, 0.923868780, math.Exp(found.X[2]), "sigma")
}

// The fit of one arm against gonum's general optimizer on the likelihood checked above.
func TestLognormalFitFindsTheMaximum(t *testing.T) {
	for _, arm := range []string{"6-MP", "control"} {
		all := gehan(t, arm)
		fit, ok := FitLognormal(all)
		require.True(t, ok)
		found, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 {
			sigma := math.Exp(x[1])
			return -censoredNormal(all, 1/sigma, x[0]/sigma).value
		}}, []float64{0, 1}, &optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-13, Iterations: 200}}, &optimize.NelderMead{})
		require.NoError(t, err)
		within(t, 1e-5, found.X[0], fit.Mu, arm+": mu")
		within(t, 1e-5, math.Exp(found.X[1]), fit.Sigma, arm+": sigma")
		within(t, 1e-9, -found.F, fit.LogLik, arm+": likelihood")
	}
}

// Without censoring everything is closed form: the textbook prediction interval of a
// normal sample, here of the logarithms.
func TestLognormalTailWithoutCensoring(t *testing.T) {
	x := []float64{9, 10, 11, 12, 14}
	var all []Lasted
	var mean float64
	for _, v := range x {
		all = append(all, Lasted{v, true})
		mean += math.Log(v) / 5
	}
	var ss float64
	for _, v := range x {
		ss += (math.Log(v) - mean) * (math.Log(v) - mean)
	}
	fit, ok := FitLognormal(all)
	require.True(t, ok)
	within(t, 1e-12, mean, fit.Mu, "mu")
	within(t, 1e-12, math.Sqrt(ss/5), fit.Sigma, "sigma")
	s := math.Sqrt(ss / 4)
	want := distuv.StudentsT{Mu: mean, Sigma: s * math.Sqrt(1+1.0/5), Nu: 4}.Survival(math.Log(20))
	within(t, 1e-9, want, fit.Tail(20, Spread{}), "tail")
	// A prior of four measurements of spread 0.1 beside five with this sum of squares.
	wider := math.Sqrt((ss + 4*0.01) / 8)
	want = distuv.StudentsT{Mu: mean, Sigma: wider * math.Sqrt(1+1.0/5), Nu: 8}.Survival(math.Log(20))
	within(t, 1e-9, want, fit.Tail(20, Spread{Sigma: 0.1, Weight: 4}), "tail with a prior")
}

func TestLognormalNeedsThreeCompleteThatDiffer(t *testing.T) {
	for name, all := range map[string][]Lasted{
		"none":      nil,
		"two":       {{1, true}, {2, true}, {3, false}},
		"all equal": {{2, true}, {2, true}, {2, true}},
	} {
		_, ok := FitLognormal(all)
		assert.False(t, ok, name)
	}
}

// A censored time far beyond the others must not overflow the likelihood's tail.
func TestLognormalSurvivesAFarCensoredTime(t *testing.T) {
	fit, ok := FitLognormal([]Lasted{{1, true}, {1.001, true}, {0.999, true}, {1e6, false}})
	require.True(t, ok)
	assert.Greater(t, fit.Sigma, 0.0)
	assert.False(t, math.IsNaN(fit.Tail(5, Spread{})))
	for _, z := range []float64{24.999999, 25, 25.000001, 200} {
		logQ, mills := upperTail(z)
		assert.InDelta(t, z, mills, 0.05)
		assert.InDelta(t, -z*z/2, logQ, math.Log(z*3))
	}
}
