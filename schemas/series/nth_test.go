package series

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestTheNthIsThatOfSorting(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for n := 1; n < 3000; n = n*5/4 + 1 {
		for _, distinct := range []int64{1, 2, 50, 1 << 40} {
			d := make([]int64, n)
			for i := range d {
				d[i] = random.Int64N(distinct) - distinct/2
			}
			sorted := slices.Sorted(slices.Values(d))
			for _, at := range []int{0, n / 2, n - 1, random.IntN(n)} {
				assert.Equal(t, sorted[at], nth(slices.Clone(d), at))
				assert.Equal(t, sorted[at], nth(slices.Clone(sorted), at))
			}
		}
	}
}
