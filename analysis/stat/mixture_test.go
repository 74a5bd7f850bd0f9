package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// Old Faithful's waiting times (Azzalini and Bowman 1990, R MASS::geyser) are of two kinds, of
// about 55 and 80 minutes, as every account of them has it. The fit is checked against gonum's
// Nelder-Mead on the likelihood written out with gonum's normal law.
func TestTheGeyserHasTwoKinds(t *testing.T) {
	var all []Lasted
	waits := numbers(t, table(t, "geyser.csv")["waiting"])
	for _, w := range waits {
		all = append(all, Lasted{Time: w, Complete: true})
	}
	m, ok := FitMixture(all)
	require.True(t, ok)
	assert.InDelta(t, 55, math.Exp(m.Short), 2)
	assert.InDelta(t, 80, math.Exp(m.Long), 2)
	assert.InDelta(t, 0.33, m.Share, 0.05, "one in three")
	assert.Greater(t, m.BIC, 50.0)
	assert.Greater(t, m.Apart(), 2.0)

	minus := func(x []float64) float64 {
		share := 1 / (1 + math.Exp(-x[0]))
		a, b := distuv.Normal{Mu: x[1], Sigma: math.Exp(x[3])}, distuv.Normal{Mu: x[2], Sigma: math.Exp(x[3])}
		sum := 0.0
		for _, w := range waits {
			y := math.Log(w)
			sum -= math.Log((share*a.Prob(y) + (1-share)*b.Prob(y)) / w)
		}
		return sum
	}
	out, err := optimize.Minimize(optimize.Problem{Func: minus}, []float64{0, 3.9, 4.5, -2}, &optimize.Settings{MajorIterations: 5000}, &optimize.NelderMead{})
	require.NoError(t, err)
	within(t, 1e-6, -out.F, m.LogLik, "log-likelihood")
	within(t, 1e-3, out.X[1], m.Short, "short")
	within(t, 1e-3, out.X[2], m.Long, "long")
	within(t, 5e-3, math.Exp(out.X[3]), m.Sigma, "spread")
	within(t, 1e-2, 1/(1+math.Exp(-out.X[0])), m.Share, "share")
}

// The quantiles of one lognormal law are of one kind.
func TestOneLawIsOneKind(t *testing.T) {
	law := distuv.LogNormal{Mu: 2.5, Sigma: 0.2}
	var all []Lasted
	for i := range 40 {
		all = append(all, Lasted{Time: law.Quantile((float64(i) + 0.5) / 40), Complete: true})
	}
	m, ok := FitMixture(all)
	require.True(t, ok)
	assert.Less(t, m.BIC, 0.0)

	_, ok = FitMixture(all[:7])
	assert.False(t, ok, "too few")
}

// Cutting off what is long pulls neither law down: the quantiles of two laws, the upper fifth cut
// off where it begins.
func TestMixtureOfWhatWasCutOff(t *testing.T) {
	short, long := distuv.LogNormal{Mu: math.Log(10), Sigma: 0.1}, distuv.LogNormal{Mu: math.Log(20), Sigma: 0.1}
	var all []Lasted
	for i := range 50 {
		p := (float64(i) + 0.5) / 50
		all = append(all, Lasted{Time: short.Quantile(p), Complete: true})
		v := long.Quantile(p)
		if p > 0.8 {
			all = append(all, Lasted{Time: long.Quantile(0.8)})
			continue
		}
		all = append(all, Lasted{Time: v, Complete: true})
	}
	m, ok := FitMixture(all)
	require.True(t, ok)
	within(t, 0.005, math.Log(10), m.Short, "short")
	within(t, 0.005, math.Log(20), m.Long, "long")
	within(t, 0.05, 0.1, m.Sigma, "spread")
	within(t, 0.01, 0.5, m.Share, "share")
}
