package sim

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A day that changes nothing is the same match; two matches of one robot have its parts in common,
// and each battery is its own.
func TestADayThatChangesNothing(t *testing.T) {
	plain, _, err := worldOf(Options{Scenario: "clean", Seed: 3})
	require.NoError(t, err)
	same, _, err := worldOf(Options{Scenario: "clean", Seed: 3, Day: &Day{}})
	require.NoError(t, err)
	assert.Equal(t, plain.path.belts, same.path.belts)
	assert.Equal(t, *plain.battery, *same.battery)

	world := func(seed uint64, battery string) *world {
		w, _, err := worldOf(Options{Scenario: "clean", Seed: seed, Battery: battery, Day: &Day{Robot: 9, Degrees: 25}})
		require.NoError(t, err)
		return w
	}
	a, b, other := world(3, "B1"), world(4, "B1"), world(4, "B2")
	assert.Equal(t, a.path.belts[2].friction, b.path.belts[2].friction)
	assert.InDelta(t, a.battery.series(), b.battery.series(), 1e-4, "one battery, as full as it was charged")
	assert.NotEqual(t, a.battery.charge, b.battery.charge)
	assert.Greater(t, abs(a.battery.series()-other.battery.series()), 1e-4)
	assert.NotEqual(t, plain.path.belts[2].friction, a.path.belts[2].friction, "another robot")
}

func abs(v float64) float64 { return max(v, -v) }

func TestADayDoesWhatItSays(t *testing.T) {
	play := func(d Day, ohm float64) *Match {
		m, err := RunOptions(Options{Scenario: "clean", Seed: 5, Day: &d, ResistanceOhm: ohm})
		require.NoError(t, err)
		return m
	}
	usual, jammed := play(Day{Robot: 9}, 0), play(Day{Robot: 9, Jams: map[string]float64{"pocket": 0.7}}, 0)
	assert.Empty(t, usual.Truth.Jams)
	require.Greater(t, len(jammed.Truth.Jams), 2)
	for _, j := range jammed.Truth.Jams {
		assert.Equal(t, "pocket", j.Stage)
	}
	sum := func(m *Match) (count int) {
		for _, c := range m.Truth.Cycles {
			if c.Complete {
				count++
			}
		}
		return count
	}
	assert.Less(t, sum(play(Day{Robot: 9, Hands: 0.5}, 0)), sum(usual), "slower hands score less")
	aged := play(Day{Robot: 9}, 0.05)
	assert.InDelta(t, 0.05, *aged.Truth.Battery.ResistanceOhm, 0.002)
	rubs, _, err := worldOf(Options{Scenario: "clean", Seed: 5, Day: &Day{Robot: 9, Rub: map[string]float64{"lift": 2}}})
	require.NoError(t, err)
	smooth, _, err := worldOf(Options{Scenario: "clean", Seed: 5, Day: &Day{Robot: 9}})
	require.NoError(t, err)
	assert.InDelta(t, 2*smooth.path.belts[2].friction, rubs.path.belts[2].friction, 1e-12)
	assert.Equal(t, smooth.path.belts[1].friction, rubs.path.belts[1].friction)
}

func TestSeasonsAreWhatTheirTruthSays(t *testing.T) {
	stories := map[string]int{}
	for seed := range uint64(60) {
		s := NewSeason(seed + 1)
		require.Len(t, s.Matches, seasonMatches)
		names, order := map[string]bool{}, []string{}
		for _, m := range s.Matches {
			names[m.Event+m.MatchName] = true
			order = append(order, m.At)
		}
		require.Len(t, names, seasonMatches)
		require.True(t, slices.IsSorted(order))
		for _, c := range s.Changes {
			stories[c.What[:5]]++
			switch {
			case c.Measure == "resistance_ohm/B3":
				last := 0.0
				require.InEpsilon(t, c.PerMatch, (s.Matches[38].ResistanceOhm-s.Matches[34].ResistanceOhm)/4, 0.06, "but for the temperature")
				for i, m := range s.Matches {
					if m.Battery != "B3" {
						require.Zero(t, m.ResistanceOhm)
						continue
					}
					if i > c.Match {
						require.Greater(t, m.ResistanceOhm, last)
					}
					last = m.ResistanceOhm
				}
			case c.Measure == "balance_settle_s":
				require.NotEqual(t, *s.Matches[c.Match-1].Gains, *s.Matches[c.Match].Gains)
			case c.Measure == "cycle_s":
				require.Less(t, s.Matches[max(0, c.Match-1)].Day.Hands, s.Matches[max(1, c.Match)].Day.Hands)
			case c.Drifts:
				require.Contains(t, c.Measure, "free_current_a/")
			default:
				stage := c.Measure[len("jam_rate/"):]
				require.Greater(t, s.Matches[c.Match].Day.Jams[stage], 10*s.Matches[c.Match-1].Day.Jams[stage])
			}
		}
	}
	require.GreaterOrEqual(t, len(stories), 4, "each of them happens: %v", stories)
	require.Equal(t, fmt.Sprint(NewSeason(7).Changes), fmt.Sprint(NewSeason(7).Changes))
}

// In the demo everything changes; the crew wrote some of it down, and two belts are tried in turns.
func TestDemoSeason(t *testing.T) {
	s := DemoSeason()
	measures := []string{}
	for _, c := range s.Changes {
		measures = append(measures, c.Measure)
	}
	for _, want := range []string{"cycle_s", "balance_settle_s", "resistance_ohm/B3"} {
		require.Contains(t, measures, want)
	}
	practice, turns := 0, 0
	for i, m := range s.Matches {
		if m.Event == "barn-practice" {
			practice++
			if ribbed := m.Day.Rub["mouth"] > 1; ribbed != (s.Matches[i-1].Day.Rub["mouth"] > 1) {
				turns++
			}
		}
	}
	require.Equal(t, seasonMatches+practice, len(s.Matches))
	require.Equal(t, 5, turns)
	for _, e := range s.Log {
		require.NotContains(t, e.Text, "B3", "nobody wrote down that it dies")
	}
}
