package findings

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// A slow cycle says what was seen to cost its time, how sure it is, and what that was worth.
func TestSlowCycleTellsItsEvents(t *testing.T) {
	why, lost, usual := "carry", 8.0, 10.0
	c := schemas.Cycle{
		Kind: "score", Period: "driver", StartS: 110, EndS: 128, DurationS: 18, Complete: true, Slow: true, Why: &why,
		ExcessS: &lost, P: schemas.Some(0.001), Confidence: schemas.Some(0.97),
		Events: []schemas.CycleEvent{
			{What: "blocked", Phase: "carry", StartS: 115, EndS: 119.5},
			{What: "missed_pickup", Phase: "collect", StartS: 112, EndS: 114, Times: 2},
			{What: "jam", Phase: "carry", StartS: 115, EndS: 116},
		},
	}
	in := Input{
		Profile: &profile.Profile{
			Game:   &profile.Game{Points: map[string]float64{"driver_piece": 3}},
			Cycles: &profile.Cycles{Score: &profile.Ref{Signal: "game/score"}, Pose: &profile.Pose{X: &profile.Ref{Signal: "pose/x"}}},
		},
		Report: &schemas.Report{
			Match: schemas.Match{StartS: 100, EndS: 250}, Cycles: []schemas.Cycle{c},
			Usual: schemas.Usual{CycleS: &usual},
		},
	}
	found := slowCycles(in)
	require.Len(t, found, 1)
	f := found[0].Finding
	assert.Equal(t, 0.97, f.Confidence)
	assert.Contains(t, f.Because, "stood for 4.5 s from 15.0 s though it was driven: something held it.")
	assert.Contains(t, f.Because, "backed off from the piece twice")
	assert.Contains(t, f.Because, "That cost about 2.4 points.", "8 s of usual cycles of 10 s, 3 points each")
	assert.Len(t, f.Evidence, 3, "the score, and the pose of the two")
}
