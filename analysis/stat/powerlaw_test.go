package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// narrow has each event in a stretch of its own of almost no length, so that the fit is that of exact
// times.
func narrow(times []float64, until float64) (bounds, counts []float64) {
	for _, t := range times {
		bounds, counts = append(bounds, t*(1-1e-9), t*(1+1e-9)), append(counts, 0, 1)
	}
	return append(bounds, until), append(counts, 0)
}

// NIST/SEMATECH e-Handbook 8.2.3.4: ten failures in 1500 h; the times from memory, 37.23 as printed there.
// The modified estimate is MIL-HDBK-189's without bias, of a test that is ended by time: less by one in ten.
func TestPowerLawOfTheHandbook(t *testing.T) {
	times := numbers(t, table(t, "nist_trend_events.csv")["t_h"])
	fit, ok := FitPowerLaw(narrow(times, 1500))
	require.True(t, ok)
	fit.Excess = 1 // stretches of no length have no scatter to look at
	within(t, 1e-6, 0.5372289, fit.Shape, "shape")
	modified := fit.Shape * 9 / 10
	within(t, 1e-6, 0.4835060, modified, "modified shape")
	within(t, 1e-6, 0.2913003, 10/math.Pow(1500, modified), "scale")
	chi2, p := fit.Trend()
	within(t, 1e-6, 37.2280815, chi2, "chi squared with 20 degrees of freedom")
	within(t, 1e-4, 2*0.010986, p, "chance")
	// The interval leaves 1 out where the test says so.
	_, high := fit.Interval(1 - p)
	within(t, 1e-9, 1, high, "interval at the chance of the test")
}

// Source: Jarrett, Biometrika 66 (1979), R's boot::coal: shape 0.664106 on [1851, 1963], by R 4.2.2. By years,
// as they were counted, it is nearly the same.
func TestPowerLawOfTheCoalMines(t *testing.T) {
	var times []float64
	until, counts := make([]float64, 112), make([]float64, 112)
	for i := range until {
		until[i] = float64(i + 1)
	}
	for _, d := range numbers(t, table(t, "coal.csv")["date"]) {
		times = append(times, d-1851)
		counts[int(d)-1851]++
	}
	exact, ok := FitPowerLaw(narrow(times, 112))
	require.True(t, ok)
	within(t, 1e-5, 0.664106, exact.Shape, "shape")
	yearly, ok := FitPowerLaw(until, counts)
	require.True(t, ok)
	within(t, 0.02, exact.Shape, yearly.Shape, "by years")
	low, high := yearly.Interval(0.95)
	assert.Less(t, low, yearly.Shape)
	assert.Less(t, high, 1.0, "they became rarer")
	assert.Greater(t, yearly.Excess, 1.0, "by more at once than the law has it")
	seldom, ok := FitPowerLaw([]float64{1, 50, 112}, []float64{0, 1, 1})
	require.True(t, ok)
	l, h := seldom.Interval(0.95)
	assert.Less(t, l, 1.0)
	assert.Greater(t, h, 1.0, "two tell nothing")
	for name, c := range map[string][]float64{"none": {0, 0, 0}, "one": {0, 1, 0}, "all at first": {3, 0, 0}, "all at last": {0, 0, 5}} {
		_, ok := FitPowerLaw([]float64{1, 2, 3}, c)
		assert.False(t, ok, name)
	}
}

// Events of forty stretches: the interval holds the shape as often as it says, in bunches too, and another
// unit of time changes nothing.
func TestPowerLawHoldsTheShape(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 0))
	for _, c := range []struct {
		shape, each float64
	}{{0.6, 1}, {1, 1}, {1.4, 1}, {1, 3}} {
		held, pace, trend, of := 0, 0, 0, 400
		for range of {
			until, counts := make([]float64, 40), make([]float64, 40)
			before := 0.0
			for i := range until {
				until[i] = float64(i+1) * 0.04
				share := math.Pow(float64(i+1)/40, c.shape)
				counts[i] = c.each * distuv.Poisson{Lambda: 24 * (share - before), Src: rng}.Rand()
				before = share
			}
			fit, ok := FitPowerLaw(until, counts)
			if !ok {
				continue
			}
			low, high := fit.Interval(0.95)
			if low <= c.shape && c.shape <= high {
				held++
			}
			_, low, high = fit.Pace(until[39], 0.95)
			if now := c.each * 24 * c.shape / until[39]; low <= now && now <= high {
				pace++
			}
			if _, p := fit.Trend(); p <= 0.05 {
				trend++
			}
			for i := range until {
				until[i] *= 3600
			}
			again, _ := FitPowerLaw(until, counts)
			require.InDelta(t, fit.Shape, again.Shape, 1e-9)
		}
		low, high := ClopperPearson(held, of, 0.998)
		assert.True(t, low <= 0.95 && high >= 0.93, "shape %g, %g at a time: held in %d of %d", c.shape, c.each, held, of)
		low, high = ClopperPearson(pace, of, 0.998)
		assert.True(t, low <= 0.95 && high >= 0.93, "shape %g, %g at a time: the pace held in %d of %d", c.shape, c.each, pace, of)
		t.Logf("shape %g, %g at a time: shape held in %d, pace in %d of %d", c.shape, c.each, held, pace, of)
		if c.shape == 1 {
			low, _ = ClopperPearson(trend, of, 0.998)
			assert.LessOrEqual(t, low, 0.05, "%g at a time: a trend in %d of %d", c.each, trend, of)
		}
	}
}
