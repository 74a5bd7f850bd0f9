package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The mathematics scores of 37 countries in PISA 2018 (OECD) with their standard errors, as they
// come with the package csranks of Mogstad, Romano, Shaikh and Wilhelm, and the simultaneous 95 %
// sets of their ranks, read off the authors' own figure of this example. Theirs are resampled, with
// a threshold a little lower than Holm's: ours may be wider by a few ranks, hardly ever narrower.
func TestPlacesOfPISA(t *testing.T) {
	rows := table(t, "pisa2018_math.csv")
	score, se := numbers(t, rows["score"]), numbers(t, rows["se"])
	best, worst := numbers(t, rows["best"]), numbers(t, rows["worst"])
	means := make([]Mean, len(score))
	for i := range score {
		means[i] = Mean{score[i], se[i], math.Inf(1)}
	}
	places, surely := Places(len(means), func(i, j int) float64 { return means[i].Above(means[j]) }, 0.95)
	same, wider := 0, 0.0
	for i, p := range places {
		lower, upper := best[i]-float64(p.Best), float64(p.Worst)-worst[i]
		for _, more := range []float64{lower, upper} {
			assert.GreaterOrEqual(t, more, -1.0, "country %d: %v", i, p)
			assert.LessOrEqual(t, more, 4.0, "country %d: %v", i, p)
			wider += more
			if more == 0 {
				same++
			}
		}
		for j := range places {
			require.False(t, surely[i][j] && surely[j][i])
			if surely[i][j] {
				require.Greater(t, score[i], score[j])
			}
		}
	}
	assert.GreaterOrEqual(t, same, len(places), "half of all ends are the authors'")
	assert.Less(t, wider/float64(2*len(places)), 1.0, "ranks wider at an end, on average")
	assert.Equal(t, Place{37, 37}, places[5], "Colombia is last")
}

func TestPlacesEdges(t *testing.T) {
	never := func(int, int) float64 { return math.NaN() }
	places, _ := Places(3, never, 0.95)
	assert.Equal(t, []Place{{1, 3}, {1, 3}, {1, 3}}, places, "nothing is known")
	places, _ = Places(1, never, 0.95)
	assert.Equal(t, []Place{{1, 1}}, places)
	places, _ = Places(0, never, 0.95)
	assert.Empty(t, places)
	// Of two, each claim has half of the twentieth.
	for p, want := range map[float64]Place{0.025: {1, 1}, math.Nextafter(0.0251, 1): {1, 2}} {
		places, _ = Places(2, func(i, _ int) float64 {
			if i == 0 {
				return p
			}
			return 1 - p
		}, 0.95)
		assert.Equal(t, want, places[0], p)
	}
	// Holm goes on with those that are left: 0.0095 is over 0.05/6, and under 0.05/4 when two stand.
	order := []float64{1e-6, 1e-6, 0.0095}
	places, _ = Places(3, func(i, j int) float64 {
		if i > j {
			return 1
		}
		return order[i+j-1]
	}, 0.95)
	assert.Equal(t, []Place{{1, 1}, {2, 2}, {3, 3}}, places)
}

// Of equal ones hardly any is told apart from another, and the ranks of unequal ones all lie in
// their ranges: at least 95 times in 100, by simulation with a fixed seed. The bounds leave four
// standard errors.
func TestPlacesHoldTogether(t *testing.T) {
	const runs = 1000
	least := 0.95 - 4*math.Sqrt(0.95*0.05/runs)
	for _, c := range []struct {
		name string
		true []float64
	}{
		{"equal", make([]float64, 8)},
		{"pairs", []float64{0, 0, 2, 2, 4, 4, 9, 9}},
		{"ladder", []float64{0, 1, 2, 3, 4, 5, 6, 7}},
	} {
		rng := rand.New(rand.NewPCG(3, uint64(len(c.name))))
		held := 0
		for range runs {
			means := make([]Mean, len(c.true))
			for i, v := range c.true {
				x := make([]float64, 3+i)
				for k := range x {
					x[k] = v + rng.NormFloat64()*(1+0.3*float64(i%3))
				}
				means[i] = MeanOf(x)
			}
			_, surely := Places(len(means), func(i, j int) float64 { return means[i].Above(means[j]) }, 0.95)
			right := true
			for i := range surely {
				for j := range surely {
					right = right && !(surely[i][j] && c.true[i] <= c.true[j])
				}
			}
			if right {
				held++
			}
		}
		t.Logf("%s: held in %d of %d", c.name, held, runs)
		assert.GreaterOrEqual(t, float64(held)/runs, least, c.name)
	}
}

// Student's sleep data (Biometrika 6, 1908), as R 4 prints it: t.test(extra ~ 1) has the interval
// 0.5955845 to 2.4844155, and t.test(extra ~ group), which is Welch's, p 0.0793941402 by R 4.2.2.
func TestMeanOfSleep(t *testing.T) {
	first := []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2}
	second := []float64{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}
	low, high := MeanOf(append(append([]float64{}, first...), second...)).Interval(0.95)
	assert.InDelta(t, 0.5955845, low, 5e-8)
	assert.InDelta(t, 2.4844155, high, 5e-8)
	a, b := MeanOf(first), MeanOf(second)
	within(t, 1e-8, 0.0793941402, 2*b.Above(a), "Welch")
	assert.InDelta(t, 1, a.Above(b)+b.Above(a), 1e-12)
}

func TestMeanOfLittle(t *testing.T) {
	one := MeanOf([]float64{5})
	low, high := one.Interval(0.95)
	assert.Equal(t, 5.0, one.Value)
	assert.True(t, math.IsInf(low, -1) && math.IsInf(high, 1))
	assert.True(t, math.IsNaN(one.Above(MeanOf([]float64{1, 2, 3}))))
	alike := MeanOf([]float64{2, 2, 2})
	assert.True(t, math.IsNaN(alike.Above(MeanOf([]float64{1, 1, 1}))), "without any spread nothing is sure")
}
