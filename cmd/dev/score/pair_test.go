package score

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// bestByTrying tries every order-keeping pairing of what is left from i and j on.
func bestByTrying(i, j, n, m int, fits func(i, j int) (float64, bool)) (pairs int, cost float64) {
	if i == n || j == m {
		return 0, 0
	}
	pairs, cost = bestByTrying(i+1, j, n, m, fits) // i stays alone
	for k := j; k < m; k++ {
		c, ok := fits(i, k)
		if !ok {
			continue
		}
		p, rest := bestByTrying(i+1, k+1, n, m, fits)
		if p+1 > pairs || p+1 == pairs && c+rest < cost {
			pairs, cost = p+1, c+rest
		}
	}
	return pairs, cost
}

func TestPairingIsTheBestThereIs(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		n, m := r.IntN(6), r.IntN(6)
		costs := make([]float64, n*m)
		for i := range costs {
			costs[i] = r.Float64()
		}
		fits := func(i, j int) (float64, bool) { c := costs[i*m+j]; return c, c < 0.6 }
		p := inOrder(n, m, fits)
		want, cost := bestByTrying(0, 0, n, m, fits)
		got := 0.0
		for k, x := range p.pairs {
			c, ok := fits(x[0], x[1])
			require.True(t, ok)
			got += c
			if k > 0 {
				require.Less(t, p.pairs[k-1][0], x[0])
				require.Less(t, p.pairs[k-1][1], x[1])
			}
		}
		require.Len(t, p.pairs, want)
		require.InDelta(t, cost, got, 1e-12)
		require.Equal(t, n, len(p.pairs)+len(p.missed))
		require.Equal(t, m, len(p.pairs)+len(p.extra))
	}
}

func TestOverlapOrNear(t *testing.T) {
	for _, c := range []struct {
		name           string
		a0, a1, b0, b1 float64
		want           bool
	}{
		{"inside", 1, 9, 3, 4, true},
		{"touching ends are no overlap", 1, 2, 2, 3, false},
		{"apart, starts at the limit", 1, 1.1, 1.5, 2, true},
		{"apart, a hair beyond it", 1, 1.1, math.Nextafter(1.5, 2), 2, false},
	} {
		_, got := overlapOrNear(c.a0, c.a1, c.b0, c.b1, 0.5)
		assert.Equal(t, c.want, got, c.name)
	}
}
