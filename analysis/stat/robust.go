package stat

import (
	"math"
	"slices"
)

// MADToSigma turns a median absolute deviation into the standard deviation of a normal
// distribution: 1 / Φ⁻¹(0.75). NIST/SEMATECH e-Handbook 1.3.5.17 uses its inverse, 0.6745.
const MADToSigma = 1.482602218505602

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
	return Median(d)
}

// Quantile is the p-quantile of x (0 <= p <= 1) by linear interpolation between the order
// statistics at 1 + (n-1) p: type 7 of Hyndman and Fan, "Sample quantiles in statistical
// packages", The American Statistician 50 (1996). x need not be sorted and is not changed.
// NaN for no values.
func Quantile(p float64, x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	at := p * float64(len(s)-1)
	i := int(at)
	order(s, i)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	next := slices.Min(s[i+1:])
	return s[i] + (at-float64(i))*(next-s[i])
}

// order puts the value that sorting would put at s[k] there, none larger before it and none
// smaller behind it: a long log is asked for its median again and again, and selecting (Hoare,
// "Algorithm 65: find", Comm. ACM 4 (1961)) takes a fraction of sorting. NaN sorts first.
func order(s []float64, k int) {
	first := 0 // number
	for i, v := range s {
		if math.IsNaN(v) {
			s[i], s[first] = s[first], v
			first++
		}
	}
	if k < first {
		return
	}
	s, k = s[first:], k-first
	const short = 24
	const enough = 64 // rounds, against an order of values made to be the worst case
	for round := 0; len(s) > short && round < enough; round++ {
		// The middle of three keeps a sorted or constant series from being the worst case.
		a, b, c := s[0], s[len(s)/2], s[len(s)-1]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := 0, len(s)-1
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			s = s[:j+1]
		case k >= i:
			s, k = s[i:], k-i
		default:
			return
		}
	}
	slices.Sort(s)
}
