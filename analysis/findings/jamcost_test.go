package findings

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func TestWhatAJamCostAndWhy(t *testing.T) {
	jam := schemas.Jam{
		Stage: "gate", StartS: 50, EndS: 57, Cleared: true, How: "moved_on", Confidence: 0.9,
		CostS: some(13.5), CostLowS: some(12.2), CostHighS: some(14.1), CostPoints: some(3.4),
		Before: []schemas.Number{
			{Name: "lowest supply in the half second before", Value: some(10), Unit: "V", Usual: some(9.9)},
			{Name: "roller speed in the half second before", Value: some(102), Unit: "%", Usual: some(100)},
		},
	}
	because := func(change func(*schemas.Jam)) schemas.Finding {
		j := jam
		change(&j)
		found, _ := build(t, func(r *schemas.Report) { r.Jams = []schemas.Jam{j} })
		require.Len(t, found, 1)
		return found[0]
	}
	f := because(func(*schemas.Jam) {})
	assert.InDelta(t, 13.5, *f.CostS, 1e-9)
	assert.Contains(t, f.Because, "It cost 13.5 s of scoring (12.2 to 14.1), about 3.4 points.")
	assert.Contains(t, f.Because, "Just before, all was as usual: the supply at 10.0 V (usual 9.9 V) and the roller at 102 % of its usual speed.")
	assert.Contains(t, f.Numbers, jam.Before[0])

	assert.Contains(t, because(func(j *schemas.Jam) { j.CostLowS, j.CostHighS, j.CostPoints = nil, nil, nil }).Because, "It cost about 13.5 s of scoring.")
	f = because(func(j *schemas.Jam) { j.CostS, j.CostPoints = nil, nil })
	assert.Nil(t, f.CostS)
	assert.NotContains(t, f.Because, "cost")

	sag := schemas.Link{Kind: schemas.LinkSag, Role: "cause", Text: "Just before, the supply fell to 7.9 V (usual there 11.2 V) and the roller turned at 71 % of its usual speed."}
	f = because(func(j *schemas.Jam) {
		j.Links = []schemas.Link{sag}
		j.Common = []schemas.Common{{Text: "Before all 3 jams of the gate the supply was lower than in 9 of 9 good passes (7.9 V against 11.2 V); chance alone does that once in 55."}}
	})
	assert.Contains(t, f.Because, sag.Text)
	assert.Contains(t, f.Because, "lower than in 9 of 9 good passes")
	assert.NotContains(t, f.Because, "as usual")
}

// A jam and a slow cycle that is slow for another reason as well do not count the same
// seconds twice.
func TestASlowCycleWithAJamInIt(t *testing.T) {
	why := "collect"
	found, _ := build(t, func(r *schemas.Report) {
		r.Usual = schemas.Usual{CycleS: some(10)}
		r.Cycles = []schemas.Cycle{{Kind: "score", Period: "driver", StartS: 40, EndS: 60, DurationS: 20, Complete: true, Slow: true, Why: &why, ExcessS: some(10)}}
		r.Jams = []schemas.Jam{{Stage: "gate", StartS: 45, EndS: 47, Cleared: true, Confidence: 0.9, CostS: some(2)}}
	})
	require.Len(t, found, 2)
	for _, f := range found {
		switch f.Kind {
		case "slow_cycle":
			assert.InDelta(t, 8, *f.CostS, 1e-9)
			assert.Contains(t, f.Because, "A jam stood 2.0 s of it; that part is told with the jam.")
		case "jam":
			assert.InDelta(t, 2, *f.CostS, 1e-9)
		}
	}
}

func TestTies(t *testing.T) {
	ties := []string{"fouls", "platform", "autonomous"}
	report := schemas.Report{Match: schemas.Match{
		Periods: []schemas.Period{{Name: "autonomous", StartS: 10, EndS: 30}, {Name: "driver", StartS: 30, EndS: 150}},
		Game:    schemas.Game{Platform: "peel", Piece: "loaf", Pieces: "loaves"},
	}}
	in := Input{Report: &report}
	finding := func(kind string, start, cost float64) schemas.Finding {
		return schemas.Finding{Kind: kind, CostS: some(cost), Spans: []schemas.Span{{StartS: start, EndS: start + 5}}}
	}
	for _, c := range []struct {
		finding schemas.Finding
		want    string // the first tie-breaker it touches
	}{
		{finding("balance", 130, 10), "platform"},
		{finding("jam", 15, 4), "autonomous"},
		{finding("jam", 15, 0), ""},
		{finding("jam", 60, 4), ""},
		{finding("autonomous", 10, 0), "autonomous"},
		{finding("sensor", 60, 0), ""},
	} {
		got := ""
		for _, tie := range ties {
			if in.touches(c.finding, tie) {
				got = tie
				break
			}
		}
		assert.Equal(t, c.want, got, c.finding.Kind)
	}
	assert.True(t, in.touches(finding("balance", 130, 10), "Peel"), "by the game's own word")
	assert.True(t, in.touches(finding("jam", 60, 4), "pieces"))
}

func TestSuspectedJamsSayWhatSpeaksForAndAgainst(t *testing.T) {
	found, _ := build(t, func(r *schemas.Report) {
		r.SuspectedJams = []schemas.Jam{{Stage: "gate", StartS: 50, EndS: 51, Cleared: true, Confidence: 0.3, Weighed: []schemas.Weighed{
			{What: "one piece in 50 jams at a stage", LogOdds: -3.9}, {What: "driven 0.90 s where 0.30 s is usual", LogOdds: 3.1}, {What: "a piece stood at the next beam", LogOdds: -0.1},
		}}}
	})
	assert.Contains(t, found[0].Because, "For a jam: driven 0.90 s where 0.30 s is usual. Against: one piece in 50 jams at a stage.")
}
