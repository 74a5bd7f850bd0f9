package stat

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// Source: Hollander and Wolfe, Nonparametric Statistical Methods (1973), p. 69,
// permeability of the chorioamnion; values by R 4.2.2, wilcox.test.
func TestRankSumOfHollanderAndWolfe(t *testing.T) {
	d := table(t, "hollander_wolfe.csv")
	var x, y []float64
	for i, v := range numbers(t, d["value"]) {
		if d["group"][i] == "x" {
			x = append(x, v)
		} else {
			y = append(y, v)
		}
	}
	r := MannWhitney(x, y)
	assert.Equal(t, 35.0, r.U)
	assert.True(t, r.Exact)
	within(t, 1e-8, .127206127, r.PMore, "one-sided")
	within(t, 1e-8, .254412254, r.P, "two-sided")
	shift, low, high := HodgesLehmann(x, y, 0.95)
	assert.InDelta(t, 0.305, shift, 1e-12)
	assert.InDelta(t, -0.15, low, 1e-12)
	assert.InDelta(t, 0.76, high, 1e-12)
}

// Source: R exactRankTests 0.8-35, wilcox.exact, and R 4.2.2 wilcox.test for the normal
// approximation with correction for ties and continuity.
func TestRankSumWithTies(t *testing.T) {
	x, y := []float64{1, 2, 2, 3, 4, 5}, []float64{2, 3, 5, 6, 7, 7}
	r := MannWhitney(x, y)
	assert.Equal(t, 7.0, r.U)
	within(t, 1e-9, .0909090909, r.P, "exact")
	normal := rankedByNormal(r.U, len(x), len(y), tiesOf(x, y))
	within(t, 1e-9, .0886978146, normal.P, "normal")
}

func tiesOf(x, y []float64) float64 {
	_, _, ties := doubledRanks(x, y)
	return ties
}

// Every way to draw x from the pool, counted one by one.
func TestRankSumAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		draw := rapid.SliceOfN(rapid.IntRange(0, 8), 1, 6)
		var x, y, pool []float64
		for _, v := range draw.Draw(rt, "x") {
			x, pool = append(x, float64(v)), append(pool, float64(v))
		}
		for _, v := range draw.Draw(rt, "y") {
			y, pool = append(y, float64(v)), append(pool, float64(v))
		}
		u := func(set uint) (u float64) {
			for i, a := range pool {
				for j, b := range pool {
					switch inX := set>>i&1 == 1 && set>>j&1 == 0; {
					case inX && a > b:
						u++
					case inX && a == b:
						u += 0.5
					}
				}
			}
			return u
		}
		mine := u(1<<len(x) - 1)
		var all, more, less float64
		for set := range uint(1) << len(pool) {
			if bits.OnesCount(set) != len(x) {
				continue
			}
			all++
			if u(set) >= mine {
				more++
			}
			if u(set) <= mine {
				less++
			}
		}
		r := MannWhitney(x, y)
		if r.U != mine || math.Abs(r.PMore-more/all) > 1e-12 || math.Abs(r.P-min(1, 2*min(more, less)/all)) > 1e-12 {
			rt.Fatalf("%+v, want U %g, more %g of %g, less %g", r, mine, more, all, less)
		}
	})
}

// Just beyond the exact range the approximation agrees with the count.
func TestRankSumChangesOverSmoothly(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, shift := range []float64{0, 0.4, 0.8} {
		x, y := make([]float64, exactUpTo/2), make([]float64, exactUpTo/2)
		for i := range x {
			x[i], y[i] = r.NormFloat64()+shift, r.NormFloat64()
		}
		exact := MannWhitney(x, y)
		assert.True(t, exact.Exact)
		normal := rankedByNormal(exact.U, len(x), len(y), 0)
		assert.InDelta(t, exact.P, normal.P, 0.004)
		assert.InDelta(t, exact.PMore, normal.PMore, 0.002)
		assert.False(t, MannWhitney(append(x, 0), y).Exact)
		n := len(x)
		sd := math.Sqrt(float64(n*n) * float64(2*n+1) / 12)
		assert.InDelta(t, float64(n*n)/2-distuv.UnitNormal.Quantile(0.975)*sd, orderFor(n, n, 0.025), 1.5)
	}
}

func TestTwoSamplesOfLittleOrNothing(t *testing.T) {
	nan := math.NaN()
	assert.Equal(t, Ranked{P: 1, PMore: 1}, MannWhitney(nil, []float64{1}))
	assert.Equal(t, Ranked{P: 1, PMore: 1}, MannWhitney([]float64{1}, []float64{nan, math.Inf(1)}))
	alike := make([]float64, 100)
	assert.Equal(t, 1.0, MannWhitney(alike, alike).P)
	assert.Equal(t, 1.0, MannWhitney([]float64{2, 2}, []float64{2, 2}).P)

	shift, low, high := HodgesLehmann(nil, []float64{1}, 0.95)
	assert.True(t, math.IsNaN(shift) && math.IsNaN(low) && math.IsNaN(high))
	shift, low, high = HodgesLehmann([]float64{3, nan, 5}, []float64{1}, 0.95)
	assert.Equal(t, 3.0, shift)
	assert.True(t, math.IsInf(low, -1) && math.IsInf(high, 1), "three readings are not 95 % sure of anything")
	_, low, high = HodgesLehmann([]float64{5, 6, 7}, []float64{1, 2, 3}, 0.95)
	assert.True(t, math.IsInf(low, -1) && math.IsInf(high, 1), "three against three neither: 1 of 20 is the surest they can be")
	_, low, high = HodgesLehmann([]float64{5, 6, 7}, []float64{1, 2, 3}, 0.9)
	assert.Equal(t, 2.0, low, "1 of 20 on either side is 90 %")
	assert.Equal(t, 6.0, high)
	_, low, high = HodgesLehmann([]float64{5, 6, 7, 8}, []float64{1, 2, 3, 4}, 0.95)
	assert.Equal(t, 1.0, low)
	assert.Equal(t, 7.0, high)
}

// A shift of x shifts estimate and interval; turned round they turn; all differences,
// sorted, hold them where they should be.
func TestHodgesLehmannEquivariance(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		draw := rapid.SliceOfN(rapid.Map(rapid.IntRange(-40, 40), func(v int) float64 { return float64(v) / 4 }), 1, 40)
		x, y := draw.Draw(rt, "x"), draw.Draw(rt, "y")
		by := float64(rapid.IntRange(-100, 100).Draw(rt, "by"))
		shift, low, high := HodgesLehmann(x, y, 0.9)
		moved := make([]float64, len(x))
		for i, v := range x {
			moved[i] = v + by
		}
		s, l, h := HodgesLehmann(moved, y, 0.9)
		if s != shift+by || l != low+by || h != high+by {
			rt.Fatalf("%g %g %g, moved by %g %g %g %g", shift, low, high, by, s, l, h)
		}
		s, l, h = HodgesLehmann(y, x, 0.9)
		if s != -shift || l != -high || h != -low {
			rt.Fatalf("%g %g %g, turned %g %g %g", shift, low, high, s, l, h)
		}
		var all []float64
		for _, a := range x {
			for _, b := range y {
				all = append(all, a-b)
			}
		}
		if shift != Median(all) {
			rt.Fatalf("%g, median of all differences %g", shift, Median(all))
		}
		slices.Sort(all)
		if k := orderFor(len(x), len(y), 0.05); k > 0 && (low != all[k-1] || high != all[len(all)-k]) {
			rt.Fatalf("%g %g, order statistics %g %g", low, high, all[k-1], all[len(all)-k])
		}
	})
}

func BenchmarkHodgesLehmann(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	x, y := make([]float64, 10000), make([]float64, 10000)
	for i := range x {
		x[i], y[i] = r.NormFloat64(), r.NormFloat64()
	}
	for b.Loop() {
		HodgesLehmann(x, y, 0.95)
	}
}

func BenchmarkMannWhitney(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	x := make([]float64, 5000)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	b.Run("exact", func(b *testing.B) {
		for b.Loop() {
			MannWhitney(x[:30], x[30:60])
		}
	})
	b.Run("normal", func(b *testing.B) {
		for b.Loop() {
			MannWhitney(x[:2500], x[2500:])
		}
	})
}
