package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Source: Longley, J. Am. Statist. Assoc. 62 (1967), NIST StRD "Longley"; factors by R 4.2.2
// as 1/(1-R²) of lm, condition number of the standardized regressors by kappa.
func TestCollinearOfLongley(t *testing.T) {
	d := table(t, "longley.csv")
	var columns [][]float64
	for _, name := range []string{"GNP.deflator", "GNP", "Unemployed", "Armed.Forces", "Population", "Year"} {
		columns = append(columns, numbers(t, d[name]))
	}
	inflation, condition, ok := Collinear(columns...)
	require.True(t, ok)
	for i, want := range []float64{135.53243828, 1788.51348283, 33.61889060, 3.58893019, 399.15102231, 758.98059741} {
		within(t, 1e-7, want, inflation[i], "factor")
	}
	within(t, 1e-7, 110.544153, condition, "condition number")
}

func TestCollinearLimits(t *testing.T) {
	inflation, condition, ok := Collinear([]float64{1, 0, -1, 0}, []float64{0, 1, 0, -1})
	require.True(t, ok)
	assert.InDeltaSlice(t, []float64{1, 1}, inflation, 1e-12)
	assert.InDelta(t, 1, condition, 1e-12)

	inflation, condition, ok = Collinear([]float64{1, 2, 3, 5}, []float64{2, 4, 6, 10}, []float64{1, 0, 0, 1})
	require.True(t, ok)
	assert.True(t, math.IsInf(inflation[0], 1) && math.IsInf(inflation[1], 1) && math.IsInf(condition, 1))
	assert.False(t, math.IsInf(inflation[2], 1), "the third is another matter")

	for name, columns := range map[string][][]float64{
		"none":       nil,
		"too short":  {{1, 2}, {2, 3}},
		"constant":   {{1, 1, 1, 1}},
		"no number":  {{1, math.NaN(), 2, 3}},
		"infinite":   {{1, math.Inf(1), 2, 3}},
		"ragged":     {{1, 2, 3, 4}, {1, 2, 4}},
		"first long": {{1, 2, 3}, {1, 2, 4, 6}},
	} {
		_, _, ok := Collinear(columns...)
		assert.False(t, ok, name)
	}
}

// Factors do not depend on unit, zero and order of the columns; for two of them they are
// 1/(1-r²).
func TestCollinearInAnotherUnit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		mix := rapid.Float64Range(-3, 3).Draw(rt, "mix")
		x, y, z := make([]float64, 30), make([]float64, 30), make([]float64, 30)
		for i := range x {
			x[i], y[i] = r.NormFloat64(), r.NormFloat64()
			y[i] += mix * x[i]
			z[i] = 7 - 100*y[i]
		}
		a, conditionA, okA := Collinear(x, y)
		b, conditionB, okB := Collinear(z, x)
		if !okA || !okB || math.Abs(a[0]-b[1]) > 1e-8*a[0] || math.Abs(a[1]-b[0]) > 1e-8*a[0] || math.Abs(conditionA-conditionB) > 1e-8*conditionA {
			rt.Fatalf("%v %g, then %v %g", a, conditionA, b, conditionB)
		}
		line, _ := FitLine(x, y)
		back, _ := FitLine(y, x)
		if want := 1 / (1 - line.Slope*back.Slope); math.Abs(a[0]-want) > 1e-8*want {
			rt.Fatalf("%g, want %g", a[0], want)
		}
	})
}
