package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Hollander and Wolfe, Nonparametric Statistical Methods, Table 3.1 (depression scale factor
// of nine patients before and after), Examples 3.1 to 3.4: the estimate is -0.46 and the
// interval of 96.1 % (-0.786, -0.010). Data and results from memory.
func TestCentreOfHollanderAndWolfe(t *testing.T) {
	before := []float64{1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30}
	after := []float64{0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29}
	d := make([]float64, len(before))
	for i := range d {
		d[i] = after[i] - before[i]
	}
	centre, low, high := Centre(d, 0.95)
	assert.InDelta(t, -0.46, centre, 1e-12)
	assert.InDelta(t, -0.786, low, 1e-12)
	assert.InDelta(t, -0.010, high, 1e-12)
}

// The critical values of Wilcoxon's signed-rank sum at 5 % on both sides, as statistics
// books print them (from memory): a sum up to the value is significant.
func TestSignedRankOrderOfTheTables(t *testing.T) {
	for n, critical := range map[int]int{6: 0, 7: 2, 8: 3, 9: 5, 10: 8, 12: 13, 15: 25, 20: 52, 25: 89} {
		assert.Equal(t, critical+1, signedRankOrder(n, 0.025), "n = %d", n)
	}
	assert.Zero(t, signedRankOrder(5, 0.025), "five cannot be that sure")
}

func TestSignedRankOrderChangesOverSmoothly(t *testing.T) {
	exact, approximate := signedRankOrder(exactUpTo, 0.025), signedRankOrder(exactUpTo+1, 0.025)
	assert.InDelta(t, exact, approximate, 35, "one difference more adds about 61/2 to the middle")
	assert.Greater(t, approximate, exact)
}

func TestCentreOfLittleOrNothing(t *testing.T) {
	centre, low, high := Centre(nil, 0.95)
	assert.True(t, math.IsNaN(centre) && math.IsNaN(low) && math.IsNaN(high))
	centre, low, high = Centre([]float64{1, 2, math.NaN(), math.Inf(1), 3}, 0.95)
	assert.Equal(t, 2.0, centre)
	assert.True(t, math.IsInf(low, -1) && math.IsInf(high, 1))
}

func TestCentreMovesWithTheData(t *testing.T) {
	d := []float64{0.3, -1.2, 4.1, 2.2, 0.9, 1.7, -0.4, 2.5}
	moved := make([]float64, len(d))
	for i, v := range d {
		moved[i] = 10 - 3*v
	}
	c, low, high := Centre(d, 0.95)
	c2, low2, high2 := Centre(moved, 0.95)
	assert.InDelta(t, 10-3*c, c2, 1e-12)
	assert.InDelta(t, 10-3*high, low2, 1e-12)
	assert.InDelta(t, 10-3*low, high2, 1e-12)
}
