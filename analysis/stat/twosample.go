package stat

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// exactUpTo is how many readings of both samples together are compared exactly. Beyond, the
// normal approximation is good to three digits; R's own limit is 50 of each.
const exactUpTo = 60

// Ranked is how two samples compare by ranks.
type Ranked struct {
	U     float64 // pairs in which x is the larger one, ties half
	P     float64 // two-sided: the chance of a U as far from its middle when both are alike
	PMore float64 // one-sided: of a U as large, when both are alike
	Exact bool    // counted over all ways to draw x from the pool, ties as they are
}

// MannWhitney answers whether the matches before and after a change differ: the rank-sum
// test of samples x and y, in any order, with mid-ranks for ties. Up to 60 readings the
// chances are exact, ties or none; beyond, normal with tie and continuity correction. The
// two-sided one is twice the smaller one-sided. NaN and infinities are no readings. With an
// empty sample nothing is known: U 0, both chances 1.
//
// Mann and Whitney, Ann. Math. Statist. 18 (1947); counting with ties by the shift
// algorithm of Streitberg and Röhmel, EDV in Medizin und Biologie 18 (1987).
func MannWhitney(x, y []float64) Ranked {
	x, y = finite(x), finite(y)
	m, n := len(x), len(y)
	if m == 0 || n == 0 {
		return Ranked{P: 1, PMore: 1}
	}
	ranks, sumX, ties := doubledRanks(x, y)
	r := Ranked{U: float64(sumX-m*(m+1)) / 2}
	if m+n <= exactUpTo {
		ways := drawn(ranks, m)
		var all, less, more float64
		for sum, w := range ways {
			all += w
			if sum <= sumX {
				less += w
			}
			if sum >= sumX {
				more += w
			}
		}
		r.Exact, r.PMore, r.P = true, more/all, min(1, 2*min(less, more)/all)
		return r
	}
	return rankedByNormal(r.U, m, n, ties)
}

// rankedByNormal is the comparison by the normal approximation; ties is the sum of t³ - t
// over groups of t equal values.
func rankedByNormal(u float64, m, n int, ties float64) Ranked {
	total, pairs := float64(m+n), float64(m*n)
	sd := math.Sqrt(pairs / 12 * (total + 1 - ties/(total*(total-1))))
	if !(sd > 0) { // all are equal
		return Ranked{U: u, P: 1, PMore: 1}
	}
	off := u - pairs/2
	return Ranked{
		U:     u,
		P:     min(1, 2*distuv.UnitNormal.Survival((math.Abs(off)-0.5)/sd)),
		PMore: distuv.UnitNormal.Survival((off - 0.5) / sd),
	}
}

// doubledRanks are twice the mid-ranks of the pool of x and y, ascending, the sum of those
// of x, and the sum of t³ - t over groups of t equal values.
func doubledRanks(x, y []float64) (ranks []int, sumX int, ties float64) {
	type member struct {
		v   float64
		ofX bool
	}
	pool := make([]member, 0, len(x)+len(y))
	for _, v := range x {
		pool = append(pool, member{v, true})
	}
	for _, v := range y {
		pool = append(pool, member{v, false})
	}
	slices.SortFunc(pool, func(a, b member) int {
		switch {
		case a.v < b.v:
			return -1
		case a.v > b.v:
			return 1
		}
		return 0
	})
	ranks = make([]int, len(pool))
	for i := 0; i < len(pool); {
		j := i
		for j < len(pool) && pool[j].v == pool[i].v {
			j++
		}
		for k := i; k < j; k++ {
			ranks[k] = i + 1 + j // twice the mean of the ranks i+1 to j
			if pool[k].ofX {
				sumX += ranks[k]
			}
		}
		t := float64(j - i)
		ties += t*t*t - t
		i = j
	}
	return ranks, sumX, ties
}

// drawn counts in how many ways m of the ranks add up to each sum; whole numbers below
// 2^53 up to 56 ranks, and good to a few roundings for some more.
func drawn(ranks []int, m int) []float64 {
	most := 0
	for _, r := range ranks[len(ranks)-m:] {
		most += r
	}
	ways := make([][]float64, m+1)
	for k := range ways {
		ways[k] = make([]float64, most+1)
	}
	ways[0][0] = 1
	for _, r := range ranks {
		for k := m; k > 0; k-- {
			from, to := ways[k-1], ways[k]
			for s := most; s >= r; s-- {
				to[s] += from[s-r]
			}
		}
	}
	return ways[m]
}

// HodgesLehmann answers by how much the matches since a change differ from those before,
// with an interval that no outlier widens: the median of all differences x[i] - y[j], and
// the interval at the given level (0.95) of the shift that the rank-sum test would not
// refuse. Up to 60 readings without ties it covers the shift at least as often as level
// says; with ties still, for it takes ties as none; beyond 60 the normal approximation picks the
// order statistics (Hollander and Wolfe, Nonparametric Statistical Methods, 4.2 and 4.3).
//
// NaN and infinities are no readings. With an empty sample all three are NaN; with too few
// readings to be that sure (fewer than four of each, for 0.95) the interval is infinite.
// O((m + n) log (m + n)), by selection.
func HodgesLehmann(x, y []float64, level float64) (shift, low, high float64) {
	x, y = finite(x), finite(y)
	m, n := len(x), len(y)
	if m == 0 || n == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	slices.Sort(x)
	slices.Sort(y)
	difference := func(i, j int) float64 { return x[i] - y[n-1-j] }
	kth := func(k int) float64 { return smallest(m, n, difference, k) }
	shift = kth((m*n + 1) / 2)
	if m*n%2 == 0 {
		shift = (shift + kth(m*n/2+1)) / 2
	}
	k := orderFor(m, n, (1-level)/2)
	if k < 1 {
		return shift, math.Inf(-1), math.Inf(1)
	}
	return shift, kth(k), kth(m*n + 1 - k)
}

// orderFor is the largest k for which a U below k has at most the chance tail; 0 for none.
func orderFor(m, n int, tail float64) int {
	if m+n > exactUpTo {
		sd := math.Sqrt(float64(m*n) * float64(m+n+1) / 12)
		return max(0, int(math.Floor(float64(m*n)/2-distuv.UnitNormal.Quantile(1-tail)*sd)))
	}
	ranks := make([]int, m+n)
	for i := range ranks {
		ranks[i] = i + 1
	}
	ways := drawn(ranks, m)
	var all, below float64
	for _, w := range ways {
		all += w
	}
	for k := 0; ; k++ {
		below += ways[m*(m+1)/2+k]
		if below > tail*all*(1+1e-9) { // a chance of exactly tail is allowed, however it was rounded
			return k
		}
	}
}
