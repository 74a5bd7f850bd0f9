package stat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// Rows long enough to be narrowed by a sample: the value in place is the sorted row's, and what
// is before and behind it belongs there.
func TestOrderPutsAValueWhereSortingPutsIt(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	walk := 0.0
	shapes := map[string]func(i int) float64{
		"noise":        func(int) float64 { return r.NormFloat64() },
		"steps":        func(int) float64 { return math.Round(4 * r.NormFloat64()) },
		"equal":        func(int) float64 { return 3 },
		"mostly equal": func(int) float64 { return math.Max(0, r.NormFloat64()-2) },
		"rising":       func(i int) float64 { return float64(i) },
		"falling":      func(i int) float64 { return -float64(i) },
		"swing":        func(i int) float64 { return math.Sin(float64(i) / 50) },
		"walk":         func(int) float64 { walk += r.NormFloat64(); return walk },
		"infinite":     func(int) float64 { return math.Inf(r.IntN(3) - 1) },
		"gaps": func(int) float64 {
			if r.IntN(3) == 0 {
				return math.NaN()
			}
			return r.NormFloat64()
		},
	}
	for name, value := range shapes {
		for _, n := range []int{599, 600, 601, 602, 5000, 50000} {
			x := make([]float64, n)
			for i := range x {
				x[i] = value(i)
			}
			want := slices.Sorted(slices.Values(x))
			for _, k := range []int{0, 1, n / 10, n/2 - 1, n / 2, n - n/10, n - 1} {
				s := slices.Clone(x)
				order(s, k)
				at := fmt.Sprintf("%s, %d of %d", name, k, n)
				require.Equal(t, math.Float64bits(want[k]+0), math.Float64bits(s[k]+0), at)
				if math.IsNaN(s[k]) {
					continue
				}
				require.False(t, slices.ContainsFunc(s[:k], func(v float64) bool { return v > s[k] }), at)
				require.False(t, slices.ContainsFunc(s[k:], func(v float64) bool { return !(v >= s[k]) }), at)
				slices.Sort(s)
				for i := range s { // nothing was lost
					require.True(t, s[i] == want[i] || math.IsNaN(s[i]) && math.IsNaN(want[i]), at)
				}
			}
		}
	}
}
