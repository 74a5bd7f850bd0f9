package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Weil's litters of rats, table 1 of Rao and Scott, Biometrics 48 (1992): of how many born how many
// lived. The design effects are those the documentation of R's package PF prints for them (rsb).
func TestDesignEffectOfWeil(t *testing.T) {
	for _, c := range []struct {
		k, n []float64
		want float64
	}{
		{[]float64{13, 12, 9, 9, 8, 8, 12, 11, 9, 9, 8, 11, 4, 5, 7, 7}, []float64{13, 12, 9, 9, 8, 8, 13, 12, 10, 10, 9, 13, 5, 7, 10, 10}, 1.232495},
		{[]float64{12, 11, 10, 9, 10, 9, 9, 8, 8, 4, 7, 4, 5, 3, 3, 0}, []float64{12, 11, 10, 9, 11, 10, 10, 9, 9, 5, 9, 7, 10, 6, 10, 7}, 3.952861},
	} {
		assert.InDelta(t, c.want, DesignEffect(c.k, c.n), 5e-7)
	}
	assert.True(t, math.IsNaN(DesignEffect([]float64{1}, []float64{3})), "one cluster")
	assert.True(t, math.IsNaN(DesignEffect([]float64{0, 0}, []float64{3, 4})), "no event")
	assert.True(t, math.IsNaN(DesignEffect([]float64{3, 4}, []float64{3, 4})), "nothing but events")
	assert.True(t, math.IsNaN(DesignEffect(nil, nil)))
}

// The chance that goes with Newcombe's interval is the level at which it begins at 0. The
// cases are those of Newcombe, Statistics in Medicine 17:873-890 (1998), table II.
func TestEventsAboveIsNewcombes(t *testing.T) {
	rows := table(t, "binomial_diff_ci.csv")
	for i := range rows["a"] {
		a, m := whole(t, rows["a"][i]), whole(t, rows["m"][i])
		b, n := whole(t, rows["b"][i]), whole(t, rows["n"][i])
		x, y := Events{float64(a), float64(m)}, Events{float64(b), float64(n)}
		p := x.Above(y)
		assert.InDelta(t, 1, p+y.Above(x), 1e-9)
		if p >= 0.5 {
			continue
		}
		low, _ := NewcombeDifference(a, m, b, n, 1-2*p)
		assert.InDelta(t, 0, low, 1e-6, "%d/%d above %d/%d", a, m, b, n)
		assert.Greater(t, x.Thinned(2).Above(y.Thinned(2)), p, "what comes in bunches says less")
	}
	assert.True(t, math.IsNaN(Events{}.Above(Events{1, 2})))
	assert.Equal(t, 0.5, Events{0, 10}.Above(Events{0, 99}))
	low, high := Events{3, 20}.Thinned(2).Interval(0.95)
	l, h := Wilson(3, 20, 0.95)
	assert.True(t, low < l && high > h)
}
