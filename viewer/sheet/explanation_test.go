package sheet

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func some(v float64) *float64 { return &v }

// Whatever is handed in is laid out within the width, and what is unknown is left out.
func TestExplanationText(t *testing.T) {
	e := &schemas.Explanation{
		Match: "q14", Robot: "heron", MatchStartS: 10,
		Finding: schemas.Finding{ID: "jam-lift-1", Kind: "jam", Severity: "fix", Title: "A loaf jammed in the lift for 2.0 s.", Confidence: 0.9},
		Events: []schemas.Reasoning{{
			Title: "The stand in the lift", Rule: strings.Repeat("a rule of many words ", 10), Observed: []string{"It stood."},
			Seen:       []schemas.Seen{{Signal: "path/lift/current", Role: "lift current", Samples: 1, StartS: 50, EndS: 52}},
			Considered: []schemas.Considered{{AtS: 50, When: "the beam of throat became clear", What: "a piece went on", Share: 0.99999}, {AtS: 50, When: "the beam of throat became clear", What: "a piece came back", Share: 0.00001}},
			Law:        &schemas.Law{What: "in front of the beam of lift", UsualS: 0.5, In80S: 0.6, In95S: 0.8, Passes: 9, Prior: "a guess", TookS: 2},
			Weighed:    []schemas.Argument{{What: "driven 2.00 s where 0.50 s is usual", Means: "the time: 8103 times likelier", LogOdds: 9}, {What: "the beam flickers", Means: "not to be trusted", LogOdds: -3}},
			LogOdds:    some(6), Probability: some(0.9975),
			Numbers:      []schemas.Number{{Name: "lowest supply", Value: some(9.62), Unit: "V", Usual: some(9.8)}, {Name: "nobody knows", Unit: "A"}},
			Alternatives: []schemas.Alternative{{What: "slow, but moving", Because: "once in 250", Against: some(5.5)}},
			Change:       []string{"Another beam."},
		}},
	}
	var out bytes.Buffer
	require.NoError(t, ExplanationText(&out, e, 60, false))
	for _, line := range strings.Split(out.String(), "\n") {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), 60, line)
	}
	flat := strings.Join(strings.Fields(out.String()), " ")
	for _, want := range []string{
		"jam-lift-1", "path/lift/current (lift current): 1 sample from 40.00 s to 42.00 s.", // match time
		"At 40.00 s the beam of throat became clear: >.9999 a piece went on <.0001 a piece came back",
		"This one was not seen to go on in 2.00 s of driving.", "+9.0 Driven 2.00 s", "-3.0 The beam flickers.",
		"in all: a probability of 0.9975, told as 0.99 at most", "Lowest supply: 9.62 V (usual 9.80).",
		"Slow, but moving: once in 250. (+5.5)", "Another beam.", "Scoring lost: unknown",
	} {
		assert.Contains(t, flat, want)
	}
	assert.NotContains(t, flat, "nobody knows")
	assert.Error(t, ExplanationText(&out, nil, 60, false))
}

func TestComparisonText(t *testing.T) {
	c := &schemas.Comparison{
		Match: "q14", Robot: "heron", MatchStartS: 10, Piece: 8, Stage: "throat", EnterS: 60, Passes: make([]schemas.ComparedPass, 7),
		Signals: []schemas.ComparedSignal{
			{Signal: "path/gate/speed", Unit: "rad/s", Leaves: []schemas.Leave{{StartS: 2, EndS: 3, Side: "below", By: 4}}},
			{Signal: "path/lift/current", Unit: "A", Value: schemas.Gappy{math.NaN()}, Leaves: []schemas.Leave{{StartS: 0.5, EndS: 1, Side: "above", By: 30.5}, {StartS: 2, EndS: 3, Side: "above", By: 1}}},
			{Signal: "path/mouth/beam"},
		},
	}
	show := func() string {
		var out bytes.Buffer
		require.NoError(t, ComparisonText(&out, c, 80, false))
		return strings.Join(strings.Fields(out.String()), " ")
	}
	got := show()
	assert.Contains(t, got, "piece 8 against 7 good passes")
	assert.Contains(t, got, "50.50 to 51.00 s path/lift/current above the band by up to 30.50 A, and 1 more later. 52.00 to 53.00 s path/gate/speed", "in order of time")
	assert.NotContains(t, got, "path/mouth/beam")
	c.Signals = nil
	assert.Contains(t, show(), "Nothing.")
	c.Passes = nil
	assert.Contains(t, show(), "Too few good passes for a band.")
}
