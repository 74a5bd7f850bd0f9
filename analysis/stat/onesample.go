package stat

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Centre answers by how much two things measured together differ (two motors in the same
// moments): the Hodges-Lehmann estimate of their differences d, which is the median of the
// means of all pairs of d (each with itself too), and the interval at the given level (0.95)
// that Wilcoxon's signed-rank test would not refuse. No outlier moves either by much. Up to
// 60 differences the interval is exact for differences that spread evenly about their centre;
// beyond, the normal approximation picks the order statistics (Hollander and Wolfe,
// Nonparametric Statistical Methods, 3.2 and 3.3).
//
// NaN and infinities are no readings. Without any, all three are NaN; with too few to be that
// sure (fewer than six, for 0.95) the interval is infinite. O(n² log n).
func Centre(d []float64, level float64) (centre, low, high float64) {
	d = finite(d)
	n := len(d)
	if n == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	means := make([]float64, 0, n*(n+1)/2)
	for i, a := range d {
		for _, b := range d[i:] {
			means = append(means, a/2+b/2)
		}
	}
	slices.Sort(means)
	m := len(means)
	centre = (means[(m-1)/2] + means[m/2]) / 2
	k := signedRankOrder(n, (1-level)/2)
	if k < 1 {
		return centre, math.Inf(-1), math.Inf(1)
	}
	return centre, means[k-1], means[m-k]
}

// signedRankOrder is the largest k for which a signed-rank sum below k has at most the
// chance tail; 0 for none.
func signedRankOrder(n int, tail float64) int {
	m := n * (n + 1) / 2
	if n > exactUpTo {
		sd := math.Sqrt(float64(n) * float64(n+1) * float64(2*n+1) / 24)
		return max(0, int(math.Floor(float64(m)/2-distuv.UnitNormal.Quantile(1-tail)*sd)))
	}
	ways := make([]float64, m+1) // sets of the ranks 1 to n by their sum
	ways[0] = 1
	for rank := 1; rank <= n; rank++ {
		for sum := m; sum >= rank; sum-- {
			ways[sum] += ways[sum-rank]
		}
	}
	all, below := math.Pow(2, float64(n)), 0.0
	for k := 0; ; k++ {
		below += ways[k]
		if below > tail*all*(1+1e-9) {
			return k
		}
	}
}
