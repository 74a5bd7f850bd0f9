package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat/distuv"
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
