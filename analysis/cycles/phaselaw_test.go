package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// phased are judged cycles with these return and carry phases, s.
func phased(back, carry []float64) []*cycle {
	var out []*cycle
	for i := range back {
		c := row(schemas.CycleScore, schemas.PeriodDriver, 0, schemas.Micros(back[i]+carry[i]), 0, 1, true)
		c.Phases.ReturnS, c.Phases.CarryS = schemas.Some(back[i]), schemas.Some(carry[i])
		out = append(out, &c)
	}
	return out
}

// With no prior knowledge of spreads the chance is that of the textbook's prediction interval:
// another of 10 s after the return phases 3, 4, 5, 6 and 7 s lies (log 10 - m) / (s sqrt(1 + 1/5)) =
// 2.00826 of Student's t with 4 degrees of freedom out, m and s of the logarithms. The tail beyond is 0.05751, by
// summing the density apart from this code.
func TestPhaseChancesAreThePrediction(t *testing.T) {
	cfg := DefaultConfig()
	cfg.UsualWeight = 0
	mine := phased([]float64{3, 4, 5, 6, 7, 10}, []float64{5, 5, 5, 5, 5, 5})
	phaseChances(mine, mine, nil, cfg)
	require.NotNil(t, mine[5].PhaseP.Return)
	assert.InDelta(t, 0.05751, *mine[5].PhaseP.Return, 1e-5)
	assert.Nil(t, mine[5].PhaseP.Collect, "never seen")
	assert.Nil(t, mine[5].PhaseP.Place)
}

// A phase that is as long now and then is not to blame; the one that stands out is.
func TestAPhaseInsideItsOwnSpreadIsNotToBlame(t *testing.T) {
	cfg := DefaultConfig()
	mine := phased([]float64{3, 9, 3, 8, 4, 9, 3, 9}, []float64{5, 5.1, 4.9, 5, 5.2, 4.8, 5, 9})
	phaseChances(mine, mine, nil, cfg)
	last := mine[7]
	last.ExcessS = schemas.Some(9.0)
	assert.Greater(t, *last.PhaseP.Return, cfg.BlameP)
	assert.Less(t, *last.PhaseP.Carry, cfg.BlameP)
	require.NotNil(t, why(last, mine, nil, cfg))
	assert.Equal(t, WhyCarry, *why(last, mine, nil, cfg))
}

// Too few to tell, or a phase that took no time, says nothing.
func TestPhaseChancesWithFewTrips(t *testing.T) {
	mine := phased([]float64{3, 4, 12}, []float64{0, 0, 0})
	phaseChances(mine, mine, nil, DefaultConfig())
	assert.Nil(t, mine[2].PhaseP.Return, "two others")
	phaseChances(mine, mine, [][]past{{{Cycle: mine[0].Cycle}}}, DefaultConfig())
	assert.NotNil(t, mine[2].PhaseP.Return, "and one of an earlier match")
	assert.Nil(t, mine[2].PhaseP.Carry)
}
