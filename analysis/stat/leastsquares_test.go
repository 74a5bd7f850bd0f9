package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// NIST/ITL Statistical Reference Datasets, nonlinear regression "Misra1a" (lower
// difficulty): certified parameters, standard deviations and residual sum of squares, from
// both of NIST's starting points.
func TestFitCurveMisra1a(t *testing.T) {
	data := table(t, "misra1a.csv")
	x, y := numbers(t, data["x"]), numbers(t, data["y"])
	curve := Curve{N: len(x), Residuals: func(p, out []float64) {
		for i, x := range x {
			out[i] = y[i] - p[0]*(1-math.Exp(-p[1]*x))
		}
	}}
	for _, start := range [][]float64{{500, 0.0001}, {250, 0.0005}} {
		fit, ok := FitCurve(curve, start)
		require.True(t, ok)
		require.True(t, fit.Converged)
		require.InEpsilonSlice(t, []float64{2.3894212918e+02, 5.5015643181e-04}, fit.P, 1e-7)
		require.InEpsilonSlice(t, []float64{2.7070075241e+00, 7.2668688436e-06}, fit.SD, 1e-6)
		require.InEpsilon(t, 1.2455138894e-01, fit.RSS, 1e-9)
	}
}

// NIST/ITL Statistical Reference Datasets, nonlinear regression "ENSO" (average
// difficulty). Both of NIST's starts are tried; the better of the two is the answer, as a
// caller with several starts would take it, and each alone must get there too.
func TestFitCurveENSO(t *testing.T) {
	data := table(t, "enso.csv")
	x, y := numbers(t, data["x"]), numbers(t, data["y"])
	curve := Curve{N: len(x), Residuals: func(p, out []float64) {
		for i, x := range x {
			year, a, b := 2*math.Pi*x/12, 2*math.Pi*x/p[3], 2*math.Pi*x/p[6]
			out[i] = y[i] - (p[0] + p[1]*math.Cos(year) + p[2]*math.Sin(year) +
				p[4]*math.Cos(a) + p[5]*math.Sin(a) + p[7]*math.Cos(b) + p[8]*math.Sin(b))
		}
	}}
	wantP := []float64{
		1.0510749193e+01, 3.0762128085e+00, 5.3280138227e-01, 4.4311088700e+01, -1.6231428586e+00,
		5.2554493756e-01, 2.6887614440e+01, 2.1232288488e-01, 1.4966870418e+00,
	}
	wantSD := []float64{
		1.7488832467e-01, 2.4310052139e-01, 2.4354686618e-01, 9.4408025976e-01, 2.8078369611e-01,
		4.8073701119e-01, 4.1612939130e-01, 5.1460022911e-01, 2.5434468893e-01,
	}
	for _, start := range [][]float64{
		{11, 3, 0.5, 40, -0.7, -1.3, 25, -0.3, 1.4},
		{10, 3, 0.5, 44, -1.5, 0.5, 26, -0.1, 1.5},
	} {
		fit, ok := FitCurve(curve, start)
		require.True(t, ok)
		require.True(t, fit.Converged)
		require.InEpsilonSlice(t, wantP, fit.P, 1e-6)
		require.InEpsilonSlice(t, wantSD, fit.SD, 1e-5)
		require.InEpsilon(t, 7.8853978668e+02, fit.RSS, 1e-9)
	}
}

func TestFitCurveOnAStraightLineIsOrdinaryLeastSquares(t *testing.T) {
	data := table(t, "norris.csv")
	x, y := numbers(t, data["x"]), numbers(t, data["y"])
	line, ok := FitLine(x, y)
	require.True(t, ok)
	curve := Curve{
		N: len(x),
		Residuals: func(p, out []float64) {
			for i := range x {
				out[i] = y[i] - p[0] - p[1]*x[i]
			}
		},
		Slopes: func(_, out []float64) {
			for i := range x {
				out[2*i], out[2*i+1] = -1, -x[i]
			}
		},
	}
	fit, ok := FitCurve(curve, []float64{0, 0})
	require.True(t, ok)
	require.InDelta(t, line.Intercept, fit.P[0], 1e-9)
	require.InDelta(t, line.Slope, fit.P[1], 1e-12)
	require.InDelta(t, line.SlopeSE, fit.SD[1], 1e-12)
}

func TestFitCurveSaysWhenItCannot(t *testing.T) {
	constant := func(n int, v float64) Curve {
		return Curve{N: n, Residuals: func(_, out []float64) {
			for i := range out {
				out[i] = v
			}
		}}
	}
	_, ok := FitCurve(constant(2, 1), []float64{0, 0})
	require.False(t, ok, "as many parameters as observations")
	_, ok = FitCurve(constant(5, 1), nil)
	require.False(t, ok, "no parameter")
	_, ok = FitCurve(constant(5, math.NaN()), []float64{0})
	require.False(t, ok, "no finite start")

	// y = a + b fits any a + b alike: a fit, but nothing to say about a and b.
	twins := Curve{N: 3, Residuals: func(p, out []float64) {
		for i := range out {
			out[i] = float64(i) - p[0] - p[1]
		}
	}}
	fit, ok := FitCurve(twins, []float64{0, 0})
	require.True(t, ok)
	require.InDelta(t, 2, fit.RSS, 1e-9)
	require.Nil(t, fit.Cov)
}

// A step into a region without numbers is taken back, not followed.
func TestFitCurveKeepsToWhereThereAreNumbers(t *testing.T) {
	curve := Curve{N: 4, Residuals: func(p, out []float64) {
		for i := range out {
			out[i] = math.Log(p[0]) - math.Log(3) // NaN for p < 0
		}
	}}
	fit, ok := FitCurve(curve, []float64{40})
	require.True(t, ok)
	require.InDelta(t, 3, fit.P[0], 1e-6)
}

// Whatever the start, the residual sum of squares never grows, and the slopes at the end
// are those of a bottom.
func TestFitCurveEndsNoHigherThanItStarts(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-3, 3), 6, 30).Draw(rt, "x")
		a, b := rapid.Float64Range(-5, 5).Draw(rt, "a"), rapid.Float64Range(-1, 1).Draw(rt, "b")
		start := []float64{rapid.Float64Range(-5, 5).Draw(rt, "a0"), rapid.Float64Range(-1, 1).Draw(rt, "b0")}
		curve := Curve{N: len(x), Residuals: func(p, out []float64) {
			for i := range x {
				out[i] = a*math.Exp(b*x[i]) + 0.1*math.Sin(float64(7*i)) - p[0]*math.Exp(p[1]*x[i])
			}
		}}
		r := make([]float64, len(x))
		curve.Residuals(start, r)
		before := sumSquares(r)
		fit, ok := FitCurve(curve, start)
		if !ok || fit.RSS > before*(1+1e-12) {
			rt.Fatalf("ok %v, RSS %g from %g", ok, fit.RSS, before)
		}
		curve.Residuals(fit.P, r)
		if math.Abs(sumSquares(r)-fit.RSS) > 1e-9*(1+fit.RSS) {
			rt.Fatalf("RSS %g is not that of the parameters returned, %g", fit.RSS, sumSquares(r))
		}
	})
}
