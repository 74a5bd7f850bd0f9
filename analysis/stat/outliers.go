package stat

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Strays are the values that do not belong to the rest, and the test that says so: step i
// asked whether the value then farthest from the mean is too far, R[i] standard deviations
// against Lambda[i].
type Strays struct {
	Index     []int // into the values given, the farthest first
	R, Lambda []float64
}

// ESD answers which matches of a season stand apart from all others and are to be marked,
// not deleted: the generalized extreme Studentized deviate test for at most most outliers
// among values that are otherwise normal (for durations give logarithms), at the level
// alpha. It goes on to the end and counts the outliers from the last significant step,
// because two outliers hide each other in the first.
//
// NaN and infinities are no readings. The test takes at least three readings, and stops
// when those left are all equal or fewer than three. Below 15 readings its level holds only
// roughly (25 recommended). O(most n).
//
// Rosner, "Percentage points for a generalized ESD many-outlier procedure", Technometrics
// 25 (1983); NIST/SEMATECH e-Handbook 1.3.5.17.3.
func ESD(x []float64, most int, alpha float64) Strays {
	var s Strays
	var left []int // indices of the readings still in
	for i, v := range x {
		if isFinite(v) {
			left = append(left, i)
		}
	}
	values := finite(x)
	var taken []int
	count := 0
	for len(taken) < most && len(left) >= 3 {
		mean, sd := stat.MeanStdDev(values, nil)
		if !(sd > 0) {
			break
		}
		far := 0
		for k, v := range values {
			if math.Abs(v-mean) > math.Abs(values[far]-mean) {
				far = k
			}
		}
		n := float64(len(left)) // n - i + 1 of the papers
		t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}.Quantile(1 - alpha/(2*n))
		r, lambda := math.Abs(values[far]-mean)/sd, (n-1)*t/math.Sqrt((n-2+t*t)*n)
		s.R, s.Lambda, taken = append(s.R, r), append(s.Lambda, lambda), append(taken, left[far])
		if r > lambda {
			count = len(taken)
		}
		left, values = slices.Delete(left, far, far+1), slices.Delete(values, far, far+1)
	}
	s.Index = taken[:count:count]
	return s
}

// Medcouple answers whether a season's values lean to one side, -1 to 1 and 0 for
// symmetric, with up to a quarter of them spoilt: the median, over all pairs with
// a <= median <= b, of ((b - m) - (m - a)) / (b - a). NaN and infinities are no readings;
// NaN below two readings. O(n log n), by selection.
//
// Brys, Hubert and Struyf, "A robust measure of skewness", J. Comput. Graph. Statist. 13
// (2004), with their kernel for values equal to the median.
func Medcouple(x []float64) float64 {
	s := finite(x)
	if len(s) < 2 {
		return math.NaN()
	}
	slices.Sort(s)
	m := Median(s)
	from, _ := slices.BinarySearch(s, m) // first at or over m
	to := from                           // first over m
	for to < len(s) && s[to] == m {
		to++
	}
	ties := to - from
	lower, upper := s[:to], s[from:]
	pair := func(i, j int) float64 {
		a, b := lower[i], upper[j]
		if a == m && b == m { // both among the ties: ranked against each other
			switch rank := (i - from) + j - (ties - 1); {
			case rank > 0:
				return 1
			case rank < 0:
				return -1
			}
			return 0
		}
		return ((b - m) - (m - a)) / (b - a)
	}
	n := len(lower) * len(upper)
	low := smallest(len(lower), len(upper), pair, (n+1)/2)
	if n%2 == 1 {
		return low
	}
	return (low + smallest(len(lower), len(upper), pair, n/2+1)) / 2
}

// AdjustedFences answers which of a season's skewed values (times, currents) are far out,
// without taking the long tail for outliers: what lies outside [low, high] is. They are
// the fences of the boxplot for skewed distributions, the quartiles Q1, Q3 (hinges) moved
// out by 1.5 IQR times e to the power -4 MC below and 3 MC above for a medcouple MC >= 0,
// -3 MC and 4 MC for MC < 0. NaN and infinities are no readings; NaN below two readings.
//
// Hubert and Vandervieren, "An adjusted boxplot for skewed distributions", Comput. Stat.
// Data Anal. 52 (2008).
func AdjustedFences(x []float64) (low, high float64) {
	s := finite(x)
	if len(s) < 2 {
		return math.NaN(), math.NaN()
	}
	slices.Sort(s)
	half := (len(s) + 1) / 2 // Tukey's hinges: the medians of the halves, the middle value in both
	q1, q3 := Median(s[:half]), Median(s[len(s)-half:])
	mc, reach := Medcouple(s), 1.5*(q3-q1)
	below, above := -4.0, 3.0
	if mc < 0 {
		below, above = -3, 4
	}
	return q1 - reach*math.Exp(below*mc), q3 + reach*math.Exp(above*mc)
}

// smallest is the k-th smallest (from 1) of the rows times cols values at(i, j), which must
// not fall with either index. It bisects the values themselves, counting along the edge
// between those above and those not: O((rows + cols) 64), nothing stored.
func smallest(rows, cols int, at func(i, j int) float64, k int) float64 {
	count := func(v float64) int {
		n, j := 0, cols-1
		for i := range rows {
			for j >= 0 && at(i, j) > v {
				j--
			}
			n += j + 1
		}
		return n
	}
	low, high := ordinal(at(0, 0)), ordinal(at(rows-1, cols-1))
	for low < high {
		middle := low + int64(uint64(high-low)/2)
		if count(fromOrdinal(middle)) >= k {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return fromOrdinal(low) + 0 // no negative zero
}

// ordinal numbers the floating-point values in their order.
func ordinal(v float64) int64 {
	n := int64(math.Float64bits(v))
	if n < 0 {
		n ^= math.MaxInt64
	}
	return n
}

func fromOrdinal(n int64) float64 {
	if n < 0 {
		n ^= math.MaxInt64
	}
	return math.Float64frombits(uint64(n))
}
