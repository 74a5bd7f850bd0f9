package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
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

// Source: R survival 3.5-3, survfit with conf.type "log-log" (median) and restricted mean to
// 35 weeks, here as the area under the curve.
func TestMedianAndMeanOfGehan(t *testing.T) {
	treated := KaplanMeier(gehan(t, "6-MP"))
	low, high := treated.QuantileInterval(0.5, 0.95)
	assert.Equal(t, 13.0, low)
	assert.True(t, math.IsInf(high, 1), "the curve's upper limit stays above a half")
	low, high = KaplanMeier(gehan(t, "control")).QuantileInterval(0.5, 0.95)
	assert.Equal(t, 4.0, low)
	assert.Equal(t, 11.0, high)
	low, high = KaplanMeier(nil).QuantileInterval(0.5, 0.95)
	assert.Equal(t, 0.0, low)
	assert.True(t, math.IsInf(high, 1))

	area, from, s := 0.0, 0.0, 1.0
	for i, at := range treated.T {
		area += s * (at - from)
		from, s = at, treated.S[i]
	}
	area += s * (35 - from)
	within(t, 1e-7, 23.287395, area, "mean within 35 weeks")

	// Its standard error, of the steps that Greenwood's errors add and the area behind each.
	variance, behind, told := 0.0, area, 0.0
	from, s = 0, 1
	for i, at := range treated.T {
		behind -= s * (at - from)
		from, s = at, treated.S[i]
		relative := treated.SE[i] * treated.SE[i] / (s * s)
		variance += behind * behind * (relative - told)
		told = relative
	}
	within(t, 1e-6, 2.827468, math.Sqrt(variance), "its standard error")
}

// Source: R survival 3.5-3, survreg(Surv(time, cens) ~ treat, dist = "weibull") on Gehan's data, maximized by
// gonum here. The curves of both arms, which know no law, lie about those of the fit.
func TestCurvesOfGehanAreWeibull(t *testing.T) {
	treated, control := gehan(t, "6-MP"), gehan(t, "control")
	law := func(x []float64, shift float64) distuv.Weibull {
		return distuv.Weibull{K: math.Exp(-x[2]), Lambda: math.Exp(x[0] + shift)}
	}
	both := func(x []float64) float64 {
		sum := 0.0
		for i, arm := range [][]Lasted{treated, control} {
			w := law(x, float64(i)*x[1])
			for _, l := range arm {
				if l.Complete {
					sum -= w.LogProb(l.Time)
				} else {
					sum -= w.LogSurvival(l.Time)
				}
			}
		}
		return sum
	}
	found, err := optimize.Minimize(optimize.Problem{Func: both}, []float64{2, 0, 0}, &optimize.Settings{
		Converger: &optimize.FunctionConverge{Absolute: 1e-13, Iterations: 200},
	}, &optimize.NelderMead{})
	require.NoError(t, err)
	within(t, 1e-5, 3.515686946, found.X[0], "6-MP")
	within(t, 1e-5, -1.267334585, found.X[1], "control")
	within(t, 1e-5, 0.732194403, math.Exp(found.X[2]), "scale")
	assert.InDelta(t, -106.579492, -found.F, 1e-6)
	for i, arm := range [][]Lasted{treated, control} {
		w, c := law(found.X, float64(i)*found.X[1]), KaplanMeier(arm)
		for k, at := range c.T {
			if c.S[k] > 0 {
				assert.InDelta(t, w.Survival(at), (c.S[k]+append([]float64{1}, c.S...)[k])/2, 2.5*c.SE[k], "after %g weeks", at)
			}
		}
	}
}

func TestATimeThatIsNoNumberIsLeftOut(t *testing.T) {
	all := gehan(t, "6-MP")
	spoilt := append([]Lasted{{math.NaN(), true}, {math.NaN(), false}}, all...)
	assert.Equal(t, KaplanMeier(all), KaplanMeier(spoilt))
	chi2, _ := LogRank(all, gehan(t, "control"))
	withNaN, _ := LogRank(spoilt, gehan(t, "control"))
	assert.Equal(t, chi2, withNaN)
}

// Source: R survival 3.5-3, survdiff.
func TestLogRankOfGehan(t *testing.T) {
	chi2, p := LogRank(gehan(t, "6-MP"), gehan(t, "control"))
	within(t, 1e-9, 16.792940989, chi2, "chi squared")
	within(t, 1e-5, 4.16881e-5, p, "chance")
	back, _ := LogRank(gehan(t, "control"), gehan(t, "6-MP"))
	within(t, 1e-12, chi2, back, "the other way round")
	for name, pair := range map[string][2][]Lasted{
		"nobody":          {},
		"one group":       {{{1, true}, {2, true}}, nil},
		"nothing ended":   {{{1, false}}, {{2, false}}},
		"never met again": {{{1, false}}, {{2, true}, {3, true}}},
	} {
		chi2, p := LogRank(pair[0], pair[1])
		assert.Zero(t, chi2, name)
		assert.Equal(t, 1.0, p, name)
	}
}

// The product over the events, written out for each time; a group against itself differs by
// nothing; another clock changes no chance.
func TestSurvivalAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		draw := rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) Lasted {
			return Lasted{float64(rapid.IntRange(1, 9).Draw(rt, "time")), rapid.Bool().Draw(rt, "complete")}
		}), 1, 20)
		a, b := draw.Draw(rt, "a"), draw.Draw(rt, "b")
		c := KaplanMeier(a)
		for i, at := range c.T {
			s := 1.0
			for u := 1.0; u <= at; u++ {
				var watched, ended float64
				for _, l := range a {
					if l.Time >= u {
						watched++
					}
					if l.Time == u && l.Complete {
						ended++
					}
				}
				if watched > 0 {
					s *= 1 - ended/watched
				}
			}
			if math.Abs(s-c.S[i]) > 1e-12 {
				rt.Fatalf("%v at %g: %g, want %g", a, at, c.S[i], s)
			}
		}
		low, high := c.QuantileInterval(0.5, 0.95)
		if m := c.Quantile(0.5); low > m || !math.IsNaN(m) && high < m {
			rt.Fatalf("median %g outside %g to %g", m, low, high)
		}
		if chi2, _ := LogRank(a, a); chi2 > 1e-20 {
			rt.Fatalf("%v against itself: %g", a, chi2)
		}
		chi2, _ := LogRank(a, b)
		for _, group := range [][]Lasted{a, b} {
			for i := range group {
				group[i].Time = math.Exp(group[i].Time)
			}
		}
		if later, _ := LogRank(a, b); math.Abs(later-chi2) > 1e-9 {
			rt.Fatalf("%g, then %g", chi2, later)
		}
	})
}

func BenchmarkLogRank(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	all := make([]Lasted, 10000)
	for i := range all {
		all[i] = Lasted{math.Exp(r.NormFloat64()), r.IntN(4) > 0}
	}
	for b.Loop() {
		LogRank(all[:5000], all[5000:])
	}
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

// treatedAt is 1 for the first of so many patients, who were treated.
func treatedAt(i, treated int) float64 {
	if i < treated {
		return 1
	}
	return 0
}

// Source: Gehan (1965); observed and expected remissions by R survival 3.5-3, survdiff, which prints
// 9 and 19.3, 21 and 10.7. With every patient a group of its own the variance is another
// estimate of the same.
func TestLogRankOfGroupsOfGehan(t *testing.T) {
	alone := func(all []Lasted) (out [][]Lasted) {
		for _, l := range all {
			out = append(out, []Lasted{l})
		}
		return out
	}
	treated, control := gehan(t, "6-MP"), gehan(t, "control")
	over, p := LogRankOfGroups(alone(treated), alone(control))
	assert.InDelta(t, 9-19.25, over, 0.005)
	// It is the slope of Cox's partial likelihood (Breslow's, for ties) at no effect, which has its top
	// at 4.523072016 times the hazard without treatment, by R's coxph.
	partial := func(beta float64) (sum float64) {
		all := append(append([]Lasted{}, treated...), control...)
		for i, l := range all {
			if !l.Complete {
				continue
			}
			risk := 0.0
			for k, m := range all {
				if m.Time >= l.Time {
					risk += math.Exp(beta * treatedAt(k, len(treated)))
				}
			}
			sum += beta*treatedAt(i, len(treated)) - math.Log(risk)
		}
		return sum
	}
	const h = 1e-5
	slope := func(beta float64) float64 { return (partial(beta+h) - partial(beta-h)) / (2 * h) }
	within(t, 1e-6, slope(0), over, "slope at no effect")
	assert.InDelta(t, 0, slope(-math.Log(4.523072016)), 1e-6)
	assert.InDelta(t, 4e-5, p, 2e-4)
	back, q := LogRankOfGroups(alone(control), alone(treated))
	assert.InDelta(t, -over, back, 1e-9)
	assert.InDelta(t, p, q, 1e-9)

	// Four cycles that are one and the same tell no more than one of them.
	four := func(all []Lasted) (out [][]Lasted) {
		for _, l := range all {
			out = append(out, []Lasted{l, l, l, l})
		}
		return out
	}
	_, once := LogRankOfGroups(alone(treated[:8]), alone(control[:8]))
	_, often := LogRankOfGroups(four(treated[:8]), four(control[:8]))
	assert.InDelta(t, once, often, 1e-9)
	var pooled [2][]Lasted
	for i, side := range [][]Lasted{treated[:8], control[:8]} {
		for _, l := range side {
			pooled[i] = append(pooled[i], l, l, l, l)
		}
	}
	_, bold := LogRank(pooled[0], pooled[1])
	assert.Less(t, bold, often/5, "where the plain test is made four times as sure")
	_, none := LogRankOfGroups(alone(treated[:2]), alone(control[:1]))
	assert.Equal(t, 1.0, none)
}
