package stat

import (
	"cmp"
	"math"
	"slices"
)

// RankSum compares two samples by the rank-sum test of Wilcoxon, Mann and Whitney and
// returns the exact one-sided probabilities, over all ways to deal the pooled values out to
// samples of these sizes, of a rank sum of x at most (less) and at least (greater) the one
// seen. Equal values share the mean of their ranks and are dealt out like others, so that
// the probabilities stay exact. Small less says that x tends to be smaller than y.
//
// Both are NaN when a sample is empty. NaN must not be among the values. The work grows as
// len(x) times the square of the whole number of values. Method: Streitberg and Roehmel,
// "Exact distributions for permutation and rank tests", Statistical Software Newsletter 12
// (1986), 10-17.
func RankSum(x, y []float64) (less, greater float64) {
	if len(x) == 0 || len(y) == 0 {
		return math.NaN(), math.NaN()
	}
	pool := slices.Concat(x, y)
	ranks := doubledRanks(pool)
	seen, most := 0, 0
	for i, r := range ranks {
		if i < len(x) {
			seen += r
		}
		most += r
	}
	// chance[k][s]: share of the ways to have k values of x with doubled rank sum s, among
	// those to deal the values so far. Dealing value i to x when k of the len(x) places are
	// left open has probability (places left)/(values left).
	n := len(pool)
	chance := make([][]float64, len(x)+1)
	for k := range chance {
		chance[k] = make([]float64, most+1)
	}
	chance[0][0] = 1
	for i, r := range ranks {
		left := float64(n - i)
		for k := min(i, len(x)); k >= 0; k-- {
			open := float64(len(x) - k)
			for s := most; s >= 0; s-- {
				p := chance[k][s]
				if p == 0 {
					continue
				}
				if open > 0 {
					chance[k+1][s+r] += p * open / left
				}
				chance[k][s] = p * (left - open) / left
			}
		}
	}
	for s, p := range chance[len(x)] {
		if s <= seen {
			less += p
		}
		if s >= seen {
			greater += p
		}
	}
	return min(less, 1), min(greater, 1)
}

// doubledRanks are twice the ranks from 1, equal values sharing their mean rank.
func doubledRanks(v []float64) []int {
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(v[a], v[b]) })
	out := make([]int, len(v))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && v[order[j]] == v[order[i]] {
			j++
		}
		for _, k := range order[i:j] {
			out[k] = i + 1 + j // (i+1) + j over 2 is the mean rank
		}
		i = j
	}
	return out
}
