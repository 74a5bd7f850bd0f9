package cycles

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// The density is the convolution of its two laws, by numerical integration.
func TestModifiedIsAConvolution(t *testing.T) {
	for _, c := range []struct{ x, sigma, mean float64 }{{0, 1, 3}, {-2, 0.8, 6}, {4, 0.5, 0.4}, {9, 2, 5}} {
		n, e := distuv.Normal{Sigma: c.sigma}, distuv.Exponential{Rate: 1 / c.mean}
		want := quad.Fixed(func(u float64) float64 { return n.Prob(c.x-u) * e.Prob(u) }, max(0, c.x-9*c.sigma), max(0, c.x+9*c.sigma), 400, nil, 0)
		assert.InEpsilon(t, want, modified(c.x, c.sigma, c.mean), 1e-6, "%+v", c)
	}
	assert.Zero(t, modified(-100, 1, 3))
}

// Half of the trips lost 6 s and more, by hand: the usual ones are the others, and scatter as
// little as they do.
func TestTroubleIsNoScatter(t *testing.T) {
	cfg := DefaultConfig()
	clean := []float64{0.1, -0.2, 0.3, 0, -0.1}
	_, alone := bodies(clean, 5, cfg.SightSigmaS, cfg.SightWeight, cfg)
	_, half := bodies(slices.Concat(clean, []float64{6, 9.5, 7.2, 14}), 5, cfg.SightSigmaS, cfg.SightWeight, cfg)
	assert.InDelta(t, 0, alone.mean, 0.2)
	assert.InDelta(t, 0, half.mean, 0.3)
	assert.Less(t, math.Sqrt(half.spread), 1.2)
	assert.InDelta(t, 5, half.n, 0.7)
	assert.Less(t, math.Sqrt(half.variance), 0.6)

	_, odd := bodies(slices.Concat(clean, []float64{-8}), 5, cfg.SightSigmaS, cfg.SightWeight, cfg)
	assert.InDelta(t, 0, odd.mean, 0.3, "one that is odd says nothing of the others")
}

// Where most were troubled, or few, is told; what may be of one more sums up to one, and is wider where
// less is known.
func TestHowManyAreTroubled(t *testing.T) {
	cfg := DefaultConfig()
	clean := []float64{0.1, -0.2, 0.3, 0, -0.1, 0.2}
	_, none := bodies(clean, 5, 0.8, 4, cfg)
	_, few := bodies(slices.Concat(clean, []float64{7}), 5, 0.8, 4, cfg)
	_, many := bodies(slices.Concat(clean[:3], []float64{7, 5, 9, 12, 6}), 5, 0.8, 4, cfg)
	assert.Less(t, none.trouble, few.trouble)
	assert.Less(t, few.trouble, many.trouble)
	assert.Less(t, none.trouble, cfg.TroubleShare)
	assert.Greater(t, none.most, 0.99)
	assert.Greater(t, few.most, 0.99)
	assert.Less(t, many.most, 0.2)
	for _, b := range []body{none, few, many} {
		assert.InDelta(t, 1, quad.Fixed(func(x float64) float64 { return b.density(x, 0) }, -40, 40, 4000, nil, 0), 1e-6)
		assert.InDelta(t, 1, quad.Fixed(func(x float64) float64 { return b.scatter(x, 1) }, -60, 60, 4000, nil, 0), 1e-6)
		assert.Less(t, b.density(b.mean, 2), b.density(b.mean, 0))
	}
	assert.Less(t, many.density(many.mean, 0), none.density(none.mean, 0))
}

// A reading does not speak for itself; order and place of the zero are no matter.
func TestBodiesWithoutOne(t *testing.T) {
	cfg := DefaultConfig()
	rng := rand.New(rand.NewPCG(3, 9))
	for range 20 {
		var some []float64
		for range 7 + rng.IntN(6) {
			v := rng.NormFloat64()
			if rng.IntN(3) == 0 {
				v += 5 * rng.ExpFloat64()
			}
			some = append(some, v)
		}
		each, all := bodies(some, 5, 0.8, 4, cfg)
		require.Len(t, each, len(some))
		for i, without := range each {
			_, want := bodies(slices.Delete(slices.Clone(some), i, i+1), 5, 0.8, 4, cfg)
			assert.InDelta(t, want.mean, without.mean, 0.1, "but for where the grid lies")
			assert.InEpsilon(t, want.spread, without.spread, 0.1)
		}
		moved := slices.Clone(some)
		for i := range moved {
			moved[i] += 100
		}
		slices.Reverse(moved)
		_, same := bodies(moved, 5, 0.8, 4, cfg)
		assert.InDelta(t, all.mean+100, same.mean, 1e-6)
		assert.InDelta(t, all.spread, same.spread, 1e-6)
	}
	each, _ := bodies([]float64{4}, 5, 0.8, 4, cfg)
	require.Len(t, each, 1)
	assert.InDelta(t, 0.64, each[0].spread, 1e-12, "nothing else was seen")
	assert.InDelta(t, 0.64, each[0].variance, 1e-12)
	none, all := bodies(nil, 5, 0.8, 4, cfg)
	assert.Empty(t, none)
	assert.InDelta(t, 0.64, all.spread, 1e-12)
}

// Drawn readings with the truth known: the mean of the usual ones lies where it is said to.
func TestBodyIsAsSureAsItSays(t *testing.T) {
	cfg := DefaultConfig()
	rng := rand.New(rand.NewPCG(7, 7))
	const matches = 300
	inside, squared := 0, 0.0
	for range matches {
		var some []float64
		for range 9 {
			v := 0.8 * rng.NormFloat64()
			if rng.Float64() < 0.3 {
				v += 6 * rng.ExpFloat64()
			}
			some = append(some, v)
		}
		_, b := bodies(some, 6, cfg.SightSigmaS, cfg.SightWeight, cfg)
		if math.Abs(b.mean) <= 1.96*math.Sqrt(b.variance) {
			inside++
		}
		squared += b.mean * b.mean / matches
	}
	t.Logf("%d of %d intervals hold the mean, which is off by %.2f", inside, matches, math.Sqrt(squared))
	assert.InDelta(t, 0.95, float64(inside)/matches, 0.05)
	assert.Less(t, math.Sqrt(squared), 0.45)
}
