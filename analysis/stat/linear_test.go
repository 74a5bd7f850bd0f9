package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Source: NIST/ITL Statistical Reference Datasets, certified values of "Norris".
func TestLineOfNorris(t *testing.T) {
	d := table(t, "norris.csv")
	x, y := numbers(t, d["x"]), numbers(t, d["y"])
	exact, same := make([]float64, len(x)), make([]float64, len(x))
	for i := range same {
		same[i] = 0.884796396144373
	}
	plain, ok := FitLine(x, y)
	require.True(t, ok)
	york, ok := FitYork(x, y, exact, same)
	require.True(t, ok)
	for name, l := range map[string]Line{"least squares": plain, "York without error in x": york} {
		within(t, 1e-9, -0.262323073774029, l.Intercept, name+": intercept")
		within(t, 1e-11, 1.00211681802045, l.Slope, name+": slope")
		within(t, 1e-9, 0.232818234301152, l.InterceptSE, name+": error of the intercept")
		within(t, 1e-9, 0.429796848199937e-3, l.SlopeSE, name+": error of the slope")
		assert.Equal(t, 36, l.N)
	}
	within(t, 1e-11, 0.884796396144373, plain.Residual, "residual")
	within(t, 1e-11, 1, york.Residual, "York's residual in units of the errors given")

	// Intervals by R 4.2.2, confint and predict.lm, on the same data.
	low, high := plain.SlopeInterval(0.95)
	within(t, 1e-11, 1.001243365736, low, "slope, low")
	within(t, 1e-11, 1.002990270305, high, "slope, high")
	fit, low, high := plain.At(500, 0.95)
	within(t, 1e-10, 500.796085936, fit, "line at 500")
	within(t, 1e-10, 500.488196472, low, "line at 500, low")
	within(t, 1e-10, 501.103975401, high, "line at 500, high")
	_, low, high = plain.Next(500, 0.95)
	within(t, 1e-10, 498.971794054, low, "another reading at 500, low")
	within(t, 1e-10, 502.620377819, high, "another reading at 500, high")
	_, low, high = plain.Next(1200, 0.95)
	within(t, 1e-10, 1200.331529635, low, "another reading at 1200, low")
	within(t, 1e-10, 1204.224187467, high, "another reading at 1200, high")
}

// Source: measurements of a real cell on load resistors, gnuplot's demo file battery.dat;
// expected values by R 4.2.2 lm. The cell has no single resistance: the line through the
// light loads alone is another one, outside the first one's 95 % interval.
func TestLineOfARealCell(t *testing.T) {
	d := table(t, "battery_load_line.csv")
	ohm, watt := numbers(t, d["R_ohm"]), numbers(t, d["P_W"])
	fit := func(leastOhm float64) Line {
		var amps, volts []float64
		for i, r := range ohm {
			if r > 0 && r >= leastOhm {
				amps, volts = append(amps, math.Sqrt(watt[i]/r)), append(volts, math.Sqrt(watt[i]*r))
			}
		}
		l, ok := FitLine(amps, volts)
		require.True(t, ok)
		return l
	}
	all := fit(0)
	within(t, 1e-8, 1.444368889, all.Intercept, "open circuit, all loads")
	within(t, 1e-6, 0.014824462, all.InterceptSE, "its error")
	within(t, 1e-8, 5.063283119, -all.Slope, "resistance, all loads")
	within(t, 1e-6, 0.183185054, all.SlopeSE, "its error")
	light := fit(8)
	within(t, 1e-8, 1.500486706, light.Intercept, "open circuit, light loads")
	within(t, 1e-8, 6.245290402, -light.Slope, "resistance, light loads")
	within(t, 1e-6, 0.217422557, light.SlopeSE, "its error")
}

// Source: Pearson (1901) with York's weights (1966); slope, intercept and errors as in
// York et al., Am. J. Phys. 72 (2004). scipy's ODRPACK gives the same line. Data and
// printed errors from memory.
func TestYorkOfPearsonsData(t *testing.T) {
	d := table(t, "pearson_york.csv")
	x, y := numbers(t, d["x"]), numbers(t, d["y"])
	errors := func(weights []float64) []float64 {
		for i, w := range weights {
			weights[i] = 1 / math.Sqrt(w)
		}
		return weights
	}
	sx, sy := errors(numbers(t, d["wx"])), errors(numbers(t, d["wy"]))
	l, ok := FitYork(x, y, sx, sy)
	require.True(t, ok)
	within(t, 1e-6, -0.480533407, l.Slope, "slope")
	within(t, 1e-6, 5.479910224, l.Intercept, "intercept")
	within(t, 1e-5, 0.0579850, l.SlopeSE, "error of the slope")
	within(t, 1e-5, 0.2949707, l.InterceptSE, "error of the intercept")
	within(t, 1e-6, 11.866353, l.Residual*l.Residual*8, "chi squared")

	turned, ok := FitYork(y, x, sy, sx)
	require.True(t, ok)
	within(t, 1e-9, 1/l.Slope, turned.Slope, "the line does not care which axis is which")
}

func TestLinesThatCannotBeDrawn(t *testing.T) {
	for name, x := range map[string][]float64{"no point": nil, "two points": {1, 2}, "one place": {3, 3, 3}, "no number": {1, math.NaN(), 3}, "infinite": {1, 2, math.Inf(1)}} {
		_, ok := FitLine(x, x)
		assert.False(t, ok, name)
		_, ok = FitYork(x, x, x, x)
		assert.False(t, ok, name)
	}
}
