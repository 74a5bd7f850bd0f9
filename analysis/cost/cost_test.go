package cost

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// What a jam costs is defined in schemas/README.md; the cases are worked out by hand.

func some(v float64) *float64 { return &v }

func cycle(start, length float64, excess *float64, why string) schemas.Cycle {
	c := schemas.Cycle{Kind: "score", Period: "driver", StartS: start, EndS: start + length, DurationS: length, Complete: excess != nil, ExcessS: excess}
	if why != "" {
		c.Why, c.Slow = &why, true
	}
	return c
}

func match(jams ...schemas.Jam) Input {
	return Input{
		Jams:    jams,
		Periods: []schemas.Period{{Name: "autonomous", StartS: 0, EndS: 20}, {Name: "driver", StartS: 22, EndS: 142}},
		Usual:   schemas.Usual{CycleS: some(12), LowS: some(11), HighS: some(14), Source: "matches"},
		Cycles: []schemas.Cycle{
			cycle(22, 12, some(0), ""), cycle(34, 25, some(13), "jam"), cycle(59, 15, some(3), ""), cycle(74, 68, nil, ""),
		},
		Points: map[string]float64{"driver_piece": 3, "autonomous_piece": 5},
	}
}

func TestCostOfOneJam(t *testing.T) {
	for _, c := range []struct {
		name             string
		jam              schemas.Jam
		cost, low, high  float64
		known            bool
		points, pLow, pH float64
		how              string
	}{
		{"its cycle was slow by it", schemas.Jam{StartS: 40, EndS: 47, Cleared: true}, 13, 11, 14, true, 3.25, 2.75, 3.5, "the seconds its cycle took over the usual"},
		{"less than it stood", schemas.Jam{StartS: 60, EndS: 65, Cleared: true}, 3, 1, 4, true, 0.75, 0.25, 1, "the seconds over the usual cycle, no more than it stood"},
		{"no more than it stood", schemas.Jam{StartS: 60, EndS: 62, Cleared: true}, 2, 1, 2, true, 0.5, 0.25, 0.5, "the seconds over the usual cycle, no more than it stood"},
		{"its cycle was cut off", schemas.Jam{StartS: 80, EndS: 86, Cleared: true}, 6, 0, 0, false, 1.5, 0, 0, "the seconds it stood, as what its cycle lost is not known"},
		{"it stayed", schemas.Jam{StartS: 112, EndS: 150, OnsetLowS: some(111.8), OnsetHighS: some(112.5)}, 30, 29.5, 30.2, true, 7.5, 7.375, 7.55, "from its onset to the end of the match"},
		{"after the match", schemas.Jam{StartS: 143, EndS: 150, Cleared: true}, 0, 0, 0, true, 0, 0, 0, "it fell into no period"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := Of(match(c.jam))[0]
			assert.InDelta(t, c.cost, got.Seconds, 1e-9)
			assert.Equal(t, c.how, got.How)
			require.NotNil(t, got.Points)
			assert.InDelta(t, c.points, *got.Points, 1e-9)
			require.Equal(t, c.known, got.Known)
			if c.known {
				assert.InDelta(t, c.low, got.LowS, 1e-9)
				assert.InDelta(t, c.high, got.HighS, 1e-9)
				assert.InDelta(t, c.pLow, *got.PointsLow, 1e-9)
				assert.InDelta(t, c.pH, *got.PointsHigh, 1e-9)
			} else {
				assert.Nil(t, got.PointsLow)
			}
		})
	}
}

// A piece that stayed while others still went through costs only what was not scored.
func TestAStuckPieceThatOthersPass(t *testing.T) {
	in := match(schemas.Jam{StartS: 30, EndS: 150})
	// 112 s of the driver period are left; three complete cycles began after the onset or not:
	// those at 34 and 59 did, and made 12 s each.
	assert.InDelta(t, 112-24, Of(in)[0].Seconds, 1e-9)
}

func TestTwoJamsShareWhatTheyCost(t *testing.T) {
	together := Of(match(schemas.Jam{StartS: 40, EndS: 44, Cleared: true}, schemas.Jam{StartS: 50, EndS: 52, Cleared: true}))
	assert.InDelta(t, 13*4/6.0, together[0].Seconds, 1e-9)
	assert.InDelta(t, 13*2/6.0, together[1].Seconds, 1e-9)
	stuck := Of(match(schemas.Jam{StartS: 112, EndS: 150}, schemas.Jam{StartS: 122, EndS: 150}))
	assert.InDelta(t, 10+20/2.0, stuck[0].Seconds, 1e-9)
	assert.InDelta(t, 20/2.0, stuck[1].Seconds, 1e-9)
}

func TestCostWithoutCyclesOrPoints(t *testing.T) {
	in := match(schemas.Jam{StartS: 40, EndS: 47, Cleared: true}, schemas.Jam{StartS: 5, EndS: 8, Cleared: true})
	in.Cycles, in.Usual = nil, schemas.Usual{}
	got := Of(in)
	assert.InDelta(t, 7, got[0].Seconds, 1e-9)
	assert.InDelta(t, 3, got[1].Seconds, 1e-9)
	assert.False(t, got[0].Known)
	assert.Nil(t, got[0].Points, "no usual cycle: how many pieces that is, nobody knows")

	in = match(schemas.Jam{StartS: 40, EndS: 47, Cleared: true})
	in.Points = nil
	assert.Nil(t, Of(in)[0].Points)
}

// Without earlier matches the spread is that of this match's own undisturbed cycles: the
// slow one would hide itself.
func TestSpreadOfThisMatch(t *testing.T) {
	in := match(schemas.Jam{StartS: 40, EndS: 47, Cleared: true})
	in.Usual = schemas.Usual{CycleS: some(12), LowS: some(11), HighS: some(25), Source: "this match"}
	assert.False(t, Of(in)[0].Known, "two undisturbed cycles tell no spread")
	for _, e := range []float64{-1, -0.5, 0.5, 1} {
		in.Cycles = append(in.Cycles, cycle(100, 12+e, some(e), ""))
	}
	// Excesses -1, -0.5, 0, 0.5, 1, 3: their 10 % and 90 % points are -0.75 and 2.
	got := Of(in)[0]
	require.True(t, got.Known)
	assert.InDelta(t, 13-2, got.LowS, 1e-9)
	assert.InDelta(t, 13+0.75, got.HighS, 1e-9)
}

// By period: a piece in the autonomous period is worth its own points.
func TestPointsArePerPeriod(t *testing.T) {
	in := match(schemas.Jam{StartS: 14, EndS: 28, Cleared: true})
	in.Cycles = nil
	got := Of(in)[0]
	assert.InDelta(t, 12, got.Seconds, 1e-9, "two disabled seconds cost nothing")
	assert.InDelta(t, 6/12.0*5+6/12.0*3, *got.Points, 1e-9)
}
