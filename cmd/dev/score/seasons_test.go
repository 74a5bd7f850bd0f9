package score

import (
	"bytes"
	"context"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/season"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

// madeUp is a season whose cycles get three seconds faster at match 15, and whose voltage steps as well
// when voltageSteps.
func madeUp(voltageSteps bool) []season.Match {
	rng := rand.New(rand.NewPCG(1, 0))
	var out []season.Match
	for i := range 40 {
		cycle, volts := 12+0.5*rng.NormFloat64(), 8+0.2*rng.NormFloat64()
		if i >= 15 {
			cycle -= 3
		}
		if voltageSteps && i >= 20 {
			volts--
		}
		out = append(out, season.Match{CycleS: &cycle, LowestV: &volts})
	}
	return out
}

func TestScoreOfASeason(t *testing.T) {
	size := -3.0
	faster := SeasonTruth{Change: sim.Change{Measure: "cycle_s", Match: 15}, Size: &size}
	s := scoreSeason(&SeasonCase{Matches: madeUp(false), Changes: []SeasonTruth{faster}})
	assert.Equal(t, Sum{1, 1}, s.Sums["steps found within two matches"])
	assert.Equal(t, Sum{1, 1}, s.Sums["cycle time: step found within two matches"])
	assert.Equal(t, Sum{1, 1}, s.Sums["interval of a step holds truth"])
	assert.Equal(t, Sum{1, 1}, s.Sums["before and since holds truth"])
	assert.Equal(t, Sum{0, 1}, s.Sums["false changes a season"])
	assert.Equal(t, []float64{0}, s.Values["place of a step found, off by"])
	assert.Zero(t, s.lost())

	s = scoreSeason(&SeasonCase{Matches: madeUp(true), Changes: []SeasonTruth{faster}})
	assert.Equal(t, Sum{1, 1}, s.Sums["false changes a season"], "nobody changed the voltage")
	faster.Touches = []string{"lowest_v"}
	s = scoreSeason(&SeasonCase{Matches: madeUp(true), Changes: []SeasonTruth{faster}})
	assert.Equal(t, Sum{0, 1}, s.Sums["false changes a season"], "it moved with it")
	assert.Equal(t, Sum{1, 1}, s.Sums["other measures that moved with it"])

	for name, wrong := range map[string]SeasonTruth{
		"too far":           {Change: sim.Change{Measure: "cycle_s", Match: 25}},
		"the other way":     {Change: sim.Change{Measure: "cycle_s", Match: 15, Up: true}},
		"of something else": {Change: sim.Change{Measure: "lowest_v", Match: 15}},
	} {
		s = scoreSeason(&SeasonCase{Matches: madeUp(false), Changes: []SeasonTruth{wrong}})
		assert.Equal(t, Sum{0, 1}, s.Sums["steps found within two matches"], name)
	}
	off := -1.0
	faster.Size = &off
	s = scoreSeason(&SeasonCase{Matches: madeUp(false), Changes: []SeasonTruth{faster}})
	assert.Equal(t, Sum{0, 1}, s.Sums["interval of a step holds truth"])
	steady := SeasonTruth{Change: sim.Change{Measure: "cycle_s", Drifts: true}}
	s = scoreSeason(&SeasonCase{Matches: madeUp(false), Changes: []SeasonTruth{steady}})
	assert.Equal(t, Sum{1, 1}, s.Sums["drifts found"], "a step the right way says that it got better")
	s = scoreSeason(&SeasonCase{Matches: madeUp(false), Changes: []SeasonTruth{{Change: sim.Change{Measure: "jam_rate/lift"}}}})
	assert.Contains(t, s.Losses, Loss{1, "no such measure", "jam_rate/lift has no reading"})
}

// Of a bank: the size is what the two kinds differ by, every match is drawn from its kind, and one
// seed is one season.
func TestSeasonsOfABank(t *testing.T) {
	before, since := madeUp(false)[:15], madeUp(false)[15:]
	size := sizeOf("cycle_s", before, since)
	require.InDelta(t, -3, *size, 0.3)
	require.Nil(t, sizeOf("jam_rate/lift", before, since))
	b := &bank{usual: since, stories: []story{{sim.Change{Measure: "cycle_s"}, before, since}}}
	changed := 0
	for seed := range uint64(20) {
		c, again := mustSeason(t, b, seed), mustSeason(t, b, seed)
		require.Equal(t, c, again)
		require.Len(t, c.Matches, 40)
		if len(c.Changes) == 1 {
			changed++
			at := c.Changes[0].Match
			require.Greater(t, *c.Matches[at-1].CycleS, 10.5)
			require.Less(t, *c.Matches[at].CycleS, 10.5)
		}
	}
	require.NotZero(t, changed)
	require.Less(t, changed, 20, "in some nothing changes")
	r, err := RunSeasons(context.Background(), SeasonOptions{From: 1, Seeds: 0})
	require.NoError(t, err)
	var text bytes.Buffer
	require.NoError(t, SeasonsText(&text, r, 60))
	require.Contains(t, text.String(), "drawn from 60 played and analyzed")
}

func mustSeason(t *testing.T, b *bank, seed uint64) *SeasonCase {
	t.Helper()
	c, err := b.season(seed)
	require.NoError(t, err)
	return c
}
