package findings

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// A cycle that was slow to place says how the robot lined up, and which approach is quicker.
func TestSlowPlacingTellsHowTheRobotLinedUp(t *testing.T) {
	why, corrections := "place", 3
	c := schemas.Cycle{
		Kind: "score", Period: "driver", StartS: 110, EndS: 128, DurationS: 18, Complete: true, Slow: true, Why: &why,
		ExcessS: schemas.Some(6), Confidence: schemas.Some(0.97), Phases: schemas.Phases{PlaceS: schemas.Some(9)},
		Align: &schemas.Align{ArrivedM: schemas.Some(0.31), Corrections: &corrections, PlacedM: schemas.Some(0.12)},
	}
	placing := schemas.Placing{Cycles: 9, ArrivedM: schemas.Some(0.02), Corrections: schemas.Some(0.4)}
	in := Input{
		Profile: &profile.Profile{Cycles: &profile.Cycles{
			Score: &profile.Ref{Signal: "game/score"}, Align: &profile.Align{Error: &profile.Ref{Signal: "vision/error"}, Good: 0.05},
		}},
		Report: &schemas.Report{Match: schemas.Match{StartS: 100, EndS: 250}, Cycles: []schemas.Cycle{c}, Placing: &placing},
	}
	because := func() string {
		found := slowCycles(in)
		require.Len(t, found, 1)
		return found[0].Because
	}
	assert.Contains(t, because(), "It arrived 0.31 m off its aiming point and corrected three times, usually 0.02 m and 0.4.")
	assert.Contains(t, because(), "When the piece left it was still 0.12 m off.")
	assert.NotContains(t, because(), "assisted", "nothing tells")

	placing.Assisted, placing.HandDriven = 6, 5
	placing.DifferenceS, placing.LowS, placing.HighS = schemas.Some(-0.8), schemas.Some(-1.4), schemas.Some(0.2)
	assert.Contains(t, because(), "cannot be told yet (assisted from 1.4 s quicker to 0.2 s slower, by 6 assisted and 5 hand-driven approaches).")
	placing.HighS, placing.Quicker = schemas.Some(-0.3), schemas.QuickerAssisted
	assert.Contains(t, because(), "The assisted approach was 0.8 s quicker than the hand-driven one (0.3 to 1.4 s,")
	placing.DifferenceS, placing.LowS, placing.HighS, placing.Quicker = schemas.Some(0.8), schemas.Some(0.3), schemas.Some(1.4), schemas.QuickerByHand
	assert.Contains(t, because(), "The hand-driven approach was 0.8 s quicker than the assisted one (0.3 to 1.4 s,")

	in.Report.Cycles[0].Align = nil
	assert.NotContains(t, because(), "aiming point")
}
