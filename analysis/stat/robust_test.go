package stat

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// Source: NIST/SEMATECH e-Handbook 1.3.5.17 (Iglewicz and Hoaglin's modified z-score) with
// the data of its Grubbs example.
func TestModifiedZOfTheHandbook(t *testing.T) {
	x := []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	m, mad := Median(x), MAD(x)
	for i, v := range x {
		z := math.Abs(0.6745 * (v - m) / mad)
		if i == len(x)-1 {
			within(t, 1e-6, 29.962714, z, "the outlier")
			continue
		}
		assert.Less(t, z, 1.4)
	}
	within(t, 1e-12, 1/distuv.UnitNormal.Quantile(0.75), MADToSigma, "1/Φ⁻¹(0.75)")
}

// Source: type 7 of Hyndman and Fan (1996); values by R 4.2.2 quantile.
func TestQuantileType7(t *testing.T) {
	x := []float64{10.4, 2.5, 3.1, 4.7, 9.9, 5.0, 6.2}
	assert.InDelta(t, 3.90, Quantile(0.25, x), 1e-9)
	assert.InDelta(t, 10.10, Quantile(0.9, x), 1e-9)
	assert.Equal(t, 10.4, x[0], "the argument is not sorted")
	assert.Equal(t, 2.5, Quantile(0, x))
	assert.Equal(t, 10.4, Quantile(1, x))
	assert.True(t, math.IsNaN(Quantile(0.5, nil)))
	assert.Equal(t, 4.0, Quantile(0.3, []float64{4}))
}

// Source: Benjamini and Hochberg (1995), section 3.2; adjusted values by R 4.2.2 p.adjust.
func TestBenjaminiHochberg(t *testing.T) {
	d := table(t, "bh1995.csv")
	p, want := numbers(t, d["p"]), numbers(t, d["bh"])
	called := 0
	for i, got := range BenjaminiHochberg(p) {
		assert.InDelta(t, want[i], got, 1e-12)
		if got <= 0.05 {
			called++
		}
	}
	assert.Equal(t, 4, called, "the paper's four")
	assert.InDeltaSlice(t, []float64{0.04, 0.02, 0.5}, BenjaminiHochberg([]float64{0.04 * 2 / 3, 0.02 / 3, 0.5}), 1e-12, "the order is the caller's")
	assert.Empty(t, BenjaminiHochberg(nil))
}

// Selecting gives what sorting gives, to the bit, for any order of values, equal ones and NaN
// among them.
func TestQuantileIsThatOfTheSortedValues(t *testing.T) {
	sorted := func(p float64, x []float64) float64 {
		s := slices.Sorted(slices.Values(x))
		at := p * float64(len(s)-1)
		i := int(at)
		if i+1 >= len(s) {
			return s[len(s)-1]
		}
		return s[i] + (at-float64(i))*(s[i+1]-s[i])
	}
	value := rapid.OneOf(rapid.SampledFrom([]float64{1, 2, 3, math.NaN(), math.Inf(1), math.Inf(-1)}), rapid.Float64Range(-9, 9))
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(value, 1, 300).Draw(t, "x")
		switch rapid.IntRange(0, 2).Draw(t, "shape") {
		case 1:
			slices.Sort(x)
		case 2:
			slices.Sort(x)
			slices.Reverse(x)
		}
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		before := slices.Clone(x)
		want, got := sorted(p, x), Quantile(p, x)
		if math.Float64bits(want+0) != math.Float64bits(got+0) && !(math.IsNaN(want) && math.IsNaN(got)) {
			t.Fatalf("%v of %v: %v, sorted %v", p, x, got, want)
		}
		for i := range x {
			if math.Float64bits(x[i]) != math.Float64bits(before[i]) {
				t.Fatal("x was changed")
			}
		}
	})
}

// The peer sorts.
func BenchmarkQuantile(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 30000)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	b.Run("selected", func(b *testing.B) {
		for b.Loop() {
			Quantile(0.5, x)
		}
	})
	b.Run("sorted", func(b *testing.B) {
		for b.Loop() {
			slices.Sort(slices.Clone(x))
		}
	})
}
