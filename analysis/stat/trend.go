package stat

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// exactKendallUpTo is how many readings without ties are compared exactly.
const exactKendallUpTo = 10

// Monotone is whether readings rise or fall with time.
type Monotone struct {
	S     float64 // later pairs that are larger less those that are smaller
	Var   float64 // of S when order says nothing, ties and autocorrelation considered
	Z     float64 // standardized, with the correction for continuity
	P     float64 // two-sided
	Exact bool    // P is counted, not the normal approximation
	// Inflation is what the readings' dependence on their neighbours multiplies the variance by;
	// 1 where none is significant.
	Inflation float64
}

// MannKendall answers whether a measure drifts over a season: the readings y are in order of
// time. Up to 10 readings without ties the chance is exact; beyond, normal with corrections for
// ties and continuity. Where ranks of the detrended readings depend significantly (5 %) on
// the ones before, the variance is corrected for the first lags of which that is so; negative
// dependence is not believed, since it would only make the test bolder. NaN and infinities are no readings; with fewer than three
// nothing is known: P 1.
//
// Mann, Econometrica 13 (1945); Kendall, Rank Correlation Methods (1975); Hamed and Rao,
// J. Hydrology 204 (1998).
func MannKendall(y []float64) Monotone {
	y = finite(y)
	n := len(y)
	m := Monotone{P: 1, Inflation: 1}
	if n < 3 {
		return m
	}
	for i := range y {
		for _, later := range y[i+1:] {
			m.S += float64(sign(later - y[i]))
		}
	}
	ties := tieSum(y)
	m.Var = (kendallTerm(n) - ties) / 18
	if n <= exactKendallUpTo {
		if ties == 0 {
			m.Exact, m.P = true, min(1, 2*kendallTail(n, int(math.Abs(m.S))))
		}
	} else {
		m.Inflation = hamedRao(y)
		m.Var *= m.Inflation
	}
	if m.Var > 0 && m.S != 0 {
		m.Z = (m.S - math.Copysign(1, m.S)) / math.Sqrt(m.Var)
	}
	if !m.Exact {
		m.P = math.Min(1, 2*distuv.UnitNormal.Survival(math.Abs(m.Z)))
	}
	return m
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

func kendallTerm(n int) float64 { return float64(n * (n - 1) * (2*n + 5)) }

// tieSum is the sum of t(t-1)(2t+5) over groups of t equal values.
func tieSum(y []float64) float64 {
	s := slices.Sorted(slices.Values(y))
	sum := 0.0
	for i := 0; i < len(s); {
		j := i + 1
		for j < len(s) && s[j] == s[i] {
			j++
		}
		if j > i+1 {
			sum += kendallTerm(j - i)
		}
		i = j
	}
	return sum
}

// kendallTail is the chance of S at or above s among n readings without ties in random order.
func kendallTail(n, s int) float64 {
	// ways[k] is how many orders of the readings so far have k inversions.
	ways := []float64{1}
	for m := 2; m <= n; m++ {
		next := make([]float64, len(ways)+m-1)
		for k, w := range ways {
			for add := range m {
				next[k+add] += w
			}
		}
		ways = next
	}
	var all, tail float64
	for k, w := range ways {
		all += w
		if n*(n-1)/2-2*k >= s {
			tail += w
		}
	}
	return tail / all
}

// hamedRao is by what the variance of S grows because readings depend on earlier ones.
func hamedRao(y []float64) float64 {
	n := len(y)
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i)
	}
	slope, _, _ := TheilSen(x, y, 0.95)
	rest := make([]float64, n)
	for i := range y {
		rest[i] = y[i] - slope*x[i]
	}
	ranks := Ranks(rest)
	mean := float64(n+1) / 2
	own := 0.0
	for _, r := range ranks {
		own += (r - mean) * (r - mean)
	}
	if own == 0 {
		return 1
	}
	limit := distuv.UnitNormal.Quantile(0.975) / math.Sqrt(float64(n))
	sum := 0.0
	for lag := 1; lag < n-2; lag++ {
		both := 0.0
		for i := lag; i < n; i++ {
			both += (ranks[i] - mean) * (ranks[i-lag] - mean)
		}
		r := both / own
		if math.Abs(r) <= limit {
			break // of many lags beyond, one in twenty would pass by chance
		}
		left := float64(n - lag)
		sum += left * (left - 1) * (left - 2) * r
	}
	return math.Max(1, 1+2*sum/(float64(n)*float64(n-1)*float64(n-2)))
}

// Ranks are the ranks of y from 1, equal values sharing the middle of theirs. No reading is NaN.
func Ranks(y []float64) []float64 {
	order := make([]int, len(y))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return sign(y[a] - y[b]) })
	out := make([]float64, len(y))
	for i := 0; i < len(order); {
		j := i + 1
		for j < len(order) && y[order[j]] == y[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			out[order[k]] = float64(i+j+1) / 2
		}
		i = j
	}
	return out
}

// TheilSen answers how fast a measure drifts: the median of the slopes of all pairs, and an
// interval that covers the true slope with that chance (0.95). x and y have equal length; x need
// not be sorted, and pairs of equal x have no slope. The order statistics are picked by the
// normal approximation and rounded outwards, so that with few readings it covers rather too often.
// NaN and infinities are no readings. Without two different x all three are NaN; with too few
// readings to be that sure the interval is infinite.
//
// Sen, J. American Statistical Association 63 (1968).
func TheilSen(x, y []float64, level float64) (slope, low, high float64) {
	var slopes []float64
	var xs, ys []float64
	for i := range x {
		if !isFinite(x[i]) || !isFinite(y[i]) {
			continue
		}
		for j := range xs {
			if x[i] != xs[j] {
				slopes = append(slopes, (y[i]-ys[j])/(x[i]-xs[j]))
			}
		}
		xs, ys = append(xs, x[i]), append(ys, y[i])
	}
	if len(slopes) == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	slices.Sort(slopes)
	slope = (slopes[(len(slopes)-1)/2] + slopes[len(slopes)/2]) / 2
	pairs := float64(len(slopes))
	variance := (kendallTerm(len(xs)) - tieSum(xs) - tieSum(ys)) / 18
	wide := distuv.UnitNormal.Quantile(1-(1-level)/2) * math.Sqrt(variance) // S lies within ± this
	from, to := int(math.RoundToEven((pairs-wide)/2))-1, int(math.RoundToEven((pairs+wide)/2))
	low, high = math.Inf(-1), math.Inf(1)
	if from >= 0 {
		low = slopes[from]
	}
	if to < len(slopes) {
		high = slopes[to]
	}
	return slope, low, high
}

// Laplace answers whether events become rarer: the standardized mean of their times, which are
// counted from the beginning of the watch to its end at until. Below 0 the events lie early, so
// they become rarer; P is two-sided. Without events U is 0 and P 1.
//
// NIST/SEMATECH e-Handbook of Statistical Methods 8.2.3.4.
func Laplace(times []float64, until float64) (u, p float64) {
	if len(times) == 0 || !(until > 0) {
		return 0, 1
	}
	sum := 0.0
	for _, t := range times {
		sum += t - until/2
	}
	u = sum * math.Sqrt(12/float64(len(times))) / until
	return u, 2 * distuv.UnitNormal.Survival(math.Abs(u))
}
