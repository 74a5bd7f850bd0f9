package stat

import (
	"math"
	"slices"
)

// MADToSigma turns a median absolute deviation into the standard deviation of a normal
// distribution: 1 / Φ⁻¹(0.75). NIST/SEMATECH e-Handbook 1.3.5.17 uses its inverse, 0.6745.
const MADToSigma = 1.482602218505602

// MedianWorse is by how much the standard error of a median is larger than that of a mean, for many
// values of a normal distribution: √(π/2).
const MedianWorse = 1.2533

// Median is the middle value of x, the mean of the two middle ones for an even count. x
// need not be sorted and is not changed. NaN for no values.
func Median(x []float64) float64 { return Quantile(0.5, x) }

// MAD is the median of |x - Median(x)|: a spread that up to half of the values cannot
// spoil. NaN for no values, 0 when more than half of them are equal.
func MAD(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return quantileOf(d, 0.5)
}

// Quantile is the p-quantile of x (0 <= p <= 1) by linear interpolation between the order
// statistics at 1 + (n-1) p: type 7 of Hyndman and Fan, "Sample quantiles in statistical
// packages", The American Statistician 50 (1996). x need not be sorted and is not changed.
// NaN for no values.
func Quantile(p float64, x []float64) float64 { return quantileOf(slices.Clone(x), p) }

// quantileOf is the p-quantile of s, which is put in another order.
func quantileOf(s []float64, p float64) float64 {
	if len(s) == 0 {
		return math.NaN()
	}
	at := p * float64(len(s)-1)
	i := int(at)
	order(s, i)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	next := s[i+1]
	for _, v := range s[i+2:] {
		if v < next {
			next = v
		}
	}
	return s[i] + (at-float64(i))*(next-s[i])
}
