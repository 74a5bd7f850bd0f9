package stat

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// Source: NIST/SEMATECH e-Handbook 6.3.2.2, the flow rates; limits as printed there.
func TestIndividualsOfTheHandbook(t *testing.T) {
	c, ok := Individuals([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1})
	require.True(t, ok)
	assert.InDelta(t, 50.81, c.Mean, 5e-5)
	assert.InDelta(t, 1.8778, c.MeanRange, 5e-5)
	assert.InDelta(t, 45.8159, c.Low, 5e-5)
	assert.InDelta(t, 55.8041, c.High, 5e-5)
	assert.InDelta(t, 6.1347, c.RangeHigh, 5e-5)
}

// Sources: waiting times of Old Faithful (Azzalini and Bowman, Applied Statistics 39
// (1990)) and the flow of the Nile (Cobb, Biometrika 65 (1978)); autocorrelation and
// Ljung-Box by R 4.2.2, acf and Box.test. The geyser alternates, so that limits from moving
// ranges come out 41 % too wide; the Nile's level changed.
func TestChartWarnsOfAutocorrelation(t *testing.T) {
	geyser, ok := Individuals(numbers(t, table(t, "geyser.csv")["waiting"]))
	require.True(t, ok)
	within(t, 1e-6, -0.702216, geyser.Autocorrelation, "geyser")
	within(t, 1e-6, 72.314381, geyser.Mean, "geyser, mean")
	within(t, 1e-6, 19.643367, geyser.Sigma, "geyser, sigma by moving ranges")
	assert.Less(t, geyser.AutocorrelationP, 1e-30)

	nile, ok := Individuals(numbers(t, table(t, "nile.csv")["flow"]))
	require.True(t, ok)
	within(t, 2e-6, 0.498408, nile.Autocorrelation, "Nile")
	within(t, 1e-6, distuv.ChiSquared{K: 1}.Survival(25.593832), nile.AutocorrelationP, "Nile, Ljung-Box")
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.4.
func TestEWMAOfTheHandbook(t *testing.T) {
	d := table(t, "nist_ewma.csv")
	z := EWMA(numbers(t, d["y"]), 50, 0.3)
	assert.InDeltaSlice(t, numbers(t, d["ewma"]), z, 1e-6)
	limit := EWMALimit(1000, 2.0539, 0.3, 3)
	assert.InDelta(t, 52.5884, 50+limit, 5e-5, "as printed")
	assert.InDelta(t, 47.4115, 50-limit, 1e-4, "as printed, cut off there after four decimals")
	assert.InDelta(t, 52.588432, 50+limit, 1e-6)
	for _, v := range z {
		assert.Less(t, math.Abs(v-50), limit, "no signal")
	}
	assert.InDelta(t, 3*2.0539*0.3, EWMALimit(1, 2.0539, 0.3, 3), 1e-12, "one reading counts lambda")
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.3.
func TestCUSUMOfTheHandbook(t *testing.T) {
	d := table(t, "nist_cusum.csv")
	up, down := CUSUM(numbers(t, d["x"]), 325, 0.3175)
	assert.InDeltaSlice(t, numbers(t, d["shi"]), up, 1e-9)
	assert.InDeltaSlice(t, numbers(t, d["slo"]), down, 1e-9)
	for i := range up {
		assert.Equal(t, d["signal"][i] == "1", up[i] > 4.1959 || down[i] > 4.1959, "group %d", i+1)
	}
}

// runLength is how many readings of a normal process, delta standard deviations off, pass
// before a chart's state leaves [low, high], on average, by the Markov chain of Brook and
// Evans, Biometrika 59 (1972): the state in n cells, and step is what a reading z makes of
// state s.
func runLength(low, high, start, delta float64, step func(s, z float64) float64) float64 {
	const n, wide, fine = 251, 7.0, 0.01
	cell := (high - low) / n
	stay := mat.NewDense(n, n, nil)
	for i := range n {
		stay.Set(i, i, 1)
		s := low + (float64(i)+0.5)*cell
		if i == 0 {
			s = start // a sum's own zero, where it starts again and again
			if low != 0 {
				s = low + 0.5*cell
			}
		}
		for z := -wide; z < wide; z += fine {
			p := distuv.UnitNormal.CDF(z+fine) - distuv.UnitNormal.CDF(z)
			next := step(s, z+fine/2+delta)
			if next < low || next > high {
				continue
			}
			j := min(n-1, int((next-low)/cell))
			stay.Set(i, j, stay.At(i, j)-p)
		}
	}
	ones := mat.NewVecDense(n, nil)
	for i := range n {
		ones.SetVec(i, 1)
	}
	var length mat.VecDense
	if err := length.SolveVec(stay, ones); err != nil {
		return math.NaN()
	}
	return length.AtVec(min(n-1, int((start-low)/cell)))
}

// Sources: Montgomery, Introduction to Statistical Quality Control, and Lucas and Saccucci,
// Technometrics 32 (1990); see the file. The chain takes each step with the functions under test.
func TestRunLengths(t *testing.T) {
	cusum := func(s, z float64) float64 {
		up, _ := CUSUM([]float64{s + 0.5, z}, 0, 0.5)
		return up[1]
	}
	ewma := func(lambda float64) func(s, z float64) float64 {
		return func(s, z float64) float64 { return EWMA([]float64{z}, s, lambda)[0] }
	}
	d := table(t, "arl.csv")
	delta, want := numbers(t, d["delta"]), numbers(t, d["arl_one_sided"])
	for i, scheme := range d["scheme"] {
		var got float64
		switch {
		case scheme == "cusum_k0.5_h4":
			got = runLength(0, 4, 0, delta[i], cusum)
		case scheme == "cusum_k0.5_h5":
			got = runLength(0, 5, 0, delta[i], cusum)
		case scheme == "ewma_l0.2_L2.962_twosided":
			limit := EWMALimit(1000, 1, 0.2, 2.962)
			got = runLength(-limit, limit, 0, delta[i], ewma(0.2))
		case scheme == "ewma_l0.1_L2.814_twosided":
			limit := EWMALimit(1000, 1, 0.1, 2.814)
			got = runLength(-limit, limit, 0, delta[i], ewma(0.1))
		case strings.HasPrefix(scheme, "shewhart3"):
			c, ok := Individuals([]float64{0, meanRange, 0}) // sigma 1
			require.True(t, ok)
			half := (c.High - c.Low) / 2
			got = 1 / (distuv.UnitNormal.Survival(half-delta[i]) + distuv.UnitNormal.CDF(-half-delta[i]))
		default:
			t.Fatalf("%s: not known", scheme)
		}
		assert.InEpsilon(t, want[i], got, 0.01, "%s, off by %g", scheme, delta[i])
	}
}

func TestChartsOfLittleOrNothing(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, x := range map[string][]float64{"none": nil, "one": {3}, "one that counts": {nan, 3, inf}} {
		_, ok := Individuals(x)
		assert.False(t, ok, name)
	}
	c, ok := Individuals([]float64{3, nan, 3})
	require.True(t, ok)
	assert.Equal(t, 3.0, c.High)
	assert.True(t, math.IsNaN(c.Autocorrelation))
	assert.True(t, math.IsNaN(c.AutocorrelationP))

	assert.Equal(t, []float64{1, 1, 2}, EWMA([]float64{nan, inf, 3}, 1, 0.5))
	assert.Empty(t, EWMA(nil, 1, 0.5))
	up, down := CUSUM([]float64{5, nan, -inf, 5}, 3, 1)
	assert.Equal(t, []float64{1, 1, 1, 2}, up)
	assert.Equal(t, []float64{0, 0, 0, 0}, down)
}

// Another unit and another zero change nothing but the numbers; upside down up is down.
func TestChartsInAnotherUnit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-10, 10), 2, 40).Draw(rt, "x")
		by, times := rapid.Float64Range(-100, 100).Draw(rt, "by"), rapid.Float64Range(0.1, 10).Draw(rt, "times")
		other := make([]float64, len(x))
		for i, v := range x {
			other[i] = by - times*v
		}
		a, _ := Individuals(x)
		b, _ := Individuals(other)
		near := func(want, got float64, what string) {
			if math.Abs(want-got) > 1e-8*(1+math.Abs(want)) {
				rt.Fatalf("%s: %g, want %g", what, got, want)
			}
		}
		near(by-times*a.High, b.Low, "limit")
		near(times*a.RangeHigh, b.RangeHigh, "limit of ranges")
		if a.Sigma > 1e-3 {
			near(a.Autocorrelation, b.Autocorrelation, "autocorrelation")
		}
		upA, downA := CUSUM(x, 1, 0.3)
		upB, downB := CUSUM(other, by-times, times*0.3)
		zA, zB := EWMA(x, 1, 0.2), EWMA(other, by-times, 0.2)
		for i := range x {
			near(times*upA[i], downB[i], "sum above")
			near(times*downA[i], upB[i], "sum below")
			near(by-times*zA[i], zB[i], "average")
		}
	})
}
