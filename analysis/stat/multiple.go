package stat

import (
	"cmp"
	"slices"
)

// BenjaminiHochberg is each p-value adjusted for having been one of len(p): calling those
// at or under q keeps the expected share of false calls among all calls at or under q.
// The result is in the order of p, which is not changed. Benjamini and Hochberg,
// "Controlling the false discovery rate", J. R. Statist. Soc. B 57 (1995).
func BenjaminiHochberg(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[b], p[a]) })
	out := make([]float64, len(p))
	least := 1.0
	for i, at := range order { // from the largest p down
		rank := len(p) - i
		least = min(least, p[at]*float64(len(p))/float64(rank))
		out[at] = least
	}
	return out
}
