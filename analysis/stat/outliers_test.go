package stat

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Source: Rosner, Technometrics 25 (1983), as in NIST/SEMATECH e-Handbook 1.3.5.17.3: the
// first two steps are not significant, the third is.
func TestESDOfRosner(t *testing.T) {
	x := numbers(t, table(t, "rosner_gesd.csv")["x"])
	s := ESD(x, 10, 0.05)
	assert.InDeltaSlice(t, []float64{3.1189, 2.9430, 3.1794, 2.8102, 2.8156, 2.8482, 2.2793, 2.3104, 2.1016, 2.0672}, s.R, 1e-4)
	assert.InDeltaSlice(t, []float64{3.1588, 3.1514, 3.1439, 3.1362}, s.Lambda[:4], 1e-4)
	require.Len(t, s.Index, 3)
	for i, want := range []float64{6.01, 5.42, 5.34} {
		assert.Equal(t, want, x[s.Index[i]])
	}
}

// Source: copper in wholemeal flour (Analytical Methods Committee, Analyst 114 (1989));
// values by R robustbase 0.95-0, mc and adjboxStats, and R mad.
func TestSkewOfTheFlour(t *testing.T) {
	x := numbers(t, table(t, "chem.csv")["ppm"])
	assert.InDelta(t, 3.385, Median(x), 1e-12)
	within(t, 2e-6, 0.526323, MADToSigma*MAD(x), "MAD")
	within(t, 1e-8, -0.450228102, Medcouple(x), "medcouple")
	low, high := AdjustedFences(x)
	within(t, 1e-6, -2.750594, low, "low fence")
	within(t, 1e-6, 3.935336, high, "high fence")
	var out []float64
	for _, v := range x {
		if v < low || v > high {
			out = append(out, v)
		}
	}
	assert.Equal(t, []float64{5.28, 28.95}, out)
}

// Medcouples that the definition gives by hand: two-sided mirror images are 0; of 0 0 1 the
// median is 0 and the pairs are the ties among themselves (-1, 0, 0, 1) and 1 against each (1, 1).
func TestMedcoupleByHand(t *testing.T) {
	for _, c := range []struct {
		x    []float64
		want float64
	}{
		{[]float64{1, 2, 3}, 0},
		{[]float64{1, 2, 4}, 1.0 / 6}, // pairs: -1, (1,4) 1/3, 0 for the median itself, 1
		{[]float64{0, 0, 1}, 0.5},
		{[]float64{0, 1, 1}, -0.5},
		{[]float64{7, 7, 7, 7}, 0},
		{[]float64{1, math.NaN(), 5, math.Inf(1)}, 0},
	} {
		assert.InDelta(t, c.want, Medcouple(c.x), 1e-12, "%v", c.x)
	}
	assert.True(t, math.IsNaN(Medcouple([]float64{1})))
	low, high := AdjustedFences([]float64{9, 1, 8, 2, 7, 3, 6, 4, 5}) // hinges 3 and 7 (Tukey)
	assert.InDelta(t, -3, low, 1e-12)
	assert.InDelta(t, 13, high, 1e-12)
	low, high = AdjustedFences(nil)
	assert.True(t, math.IsNaN(low) && math.IsNaN(high))
}

func TestESDOfLittle(t *testing.T) {
	assert.Empty(t, ESD(nil, 3, 0.05))
	assert.Empty(t, ESD([]float64{1, 1, 1, 1}, 3, 0.05).R)
	assert.Empty(t, ESD([]float64{1, 99}, 3, 0.05).R)
	assert.Empty(t, ESD([]float64{1, 2, 99, math.NaN()}, 0, 0.05).R)
	nan := math.NaN()
	s := ESD([]float64{nan, 1, 2, 1.5, 1.7, math.Inf(1), 1.2, 1.4, 1.6, 1.8, 50}, 3, 0.05)
	assert.Equal(t, []int{10}, s.Index, "counted with what is no reading")
}

// Another unit, another zero, another order: the same ones stand apart, and skew turns with
// the sign.
func TestOutliersInAnotherUnit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		x := make([]float64, rapid.IntRange(4, 60).Draw(rt, "n"))
		for i := range x {
			x[i] = r.NormFloat64()
			if r.IntN(8) == 0 {
				x[i] *= 9
			}
		}
		by, times := rapid.Float64Range(-50, 50).Draw(rt, "by"), rapid.Float64Range(0.1, 10).Draw(rt, "times")
		other := make([]float64, len(x))
		for i, v := range x {
			other[len(x)-1-i] = by - times*v
		}
		a, b := ESD(x, 5, 0.05), ESD(other, 5, 0.05)
		if len(a.Index) != len(b.Index) {
			rt.Fatalf("%v, then %v", a, b)
		}
		for i := range a.Index {
			if a.Index[i] != len(x)-1-b.Index[i] {
				rt.Fatalf("%v, then %v", a, b)
			}
		}
		mc := Medcouple(x)
		if math.Abs(mc+Medcouple(other)) > 1e-9 || math.Abs(mc) > 1 {
			rt.Fatalf("medcouple %g, then %g", mc, Medcouple(other))
		}
		low, high := AdjustedFences(x)
		otherLow, otherHigh := AdjustedFences(other)
		if math.Abs(by-times*low-otherHigh) > 1e-6*(1+math.Abs(otherHigh)) || math.Abs(by-times*high-otherLow) > 1e-6*(1+math.Abs(otherLow)) {
			rt.Fatalf("fences %g %g, then %g %g", low, high, otherLow, otherHigh)
		}
	})
}

// The definition written out: every pair, ties ranked, sorted.
func TestMedcoupleAgainstAllPairs(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		whole := rapid.SliceOfN(rapid.IntRange(-4, 9), 2, 15).Draw(rt, "x")
		slices.Sort(whole)
		x := make([]float64, len(whole))
		for i, v := range whole {
			x[i] = float64(v)
		}
		m := Median(x)
		var ties, kernel []float64
		for _, v := range x {
			if v == m {
				ties = append(ties, v)
			}
		}
		for _, a := range x {
			for _, b := range x {
				if a <= m && b >= m && (a != m || b != m) {
					kernel = append(kernel, ((b-m)-(m-a))/(b-a))
				}
			}
		}
		for i := range ties {
			for j := range ties {
				switch n := i + j + 1 - len(ties); {
				case n < 0:
					kernel = append(kernel, -1)
				case n > 0:
					kernel = append(kernel, 1)
				default:
					kernel = append(kernel, 0)
				}
			}
		}
		if want, got := Median(kernel), Medcouple(x); math.Abs(want-got) > 1e-12 {
			rt.Fatalf("%v: %g, want %g", x, got, want)
		}
	})
}

func BenchmarkMedcouple(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	x := make([]float64, 10000)
	for i := range x {
		x[i] = math.Exp(r.NormFloat64())
	}
	for b.Loop() {
		Medcouple(x)
	}
}
