package cost

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// By hand: a swing of 0.34 Hz with damping 0.7 falls to a tenth in ln 10 / (0.7 2 pi 0.34) =
// 1.540 s; two pieces a cycle of 10 s at 3 points.
func TestCostOfAnAttempt(t *testing.T) {
	in := Input{Usual: schemas.Usual{CycleS: schemas.Some(10)}, Points: map[string]float64{"driver_piece": 3}}
	b := schemas.Balance{StartS: 132, EndS: 150, Outcome: "ran_out", NaturalHz: schemas.Some(0.34), Period: "driver", ClimbS: schemas.Some(1)}
	seconds, points := in.OfBalance(b)
	require.NotNil(t, seconds)
	require.NotNil(t, points)
	assert.InDelta(t, 17-1.5398, *seconds, 1e-3)
	assert.InDelta(t, 1.546*3, *points, 1e-3)

	b.SettleS, b.Outcome = schemas.Some(2), "level"
	seconds, _ = in.OfBalance(b)
	assert.InDelta(t, 0, *seconds, 0, "sooner than that costs nothing")

	b.Period = "autonomous"
	seconds, points = in.OfBalance(b)
	assert.NotNil(t, seconds)
	assert.Nil(t, points, "nothing says what a piece is worth then")

	b.Outcome = "left"
	seconds, _ = in.OfBalance(b)
	assert.Nil(t, seconds)
	b.Outcome, b.NaturalHz = "level", nil
	seconds, _ = in.OfBalance(b)
	assert.Nil(t, seconds)
}
