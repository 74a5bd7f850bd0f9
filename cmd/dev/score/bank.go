package score

import (
	"context"
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"github.com/afterbell/afterbell/analysis/season"
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

// bank are matches of some kinds, played once, from which seasons are drawn.
type bank struct {
	usual   []season.Match
	stories []story
}

// story is a kind of change: the matches before it where they are not the usual ones, and since.
type story struct {
	change        sim.Change
	before, since []season.Match
}

// The stage that jams in drawn seasons, and its chance to hang a piece; chosen by us, of what played
// seasons have.
const (
	bankStage = "pocket"
	bankJams  = 0.24
)

// newBank plays the matches of each kind.
func newBank(ctx context.Context, o SeasonOptions) (*bank, error) {
	plays := func(kind uint64, change func(*sim.Options)) ([]season.Match, error) {
		var all []sim.Options
		for n := range uint64(o.Bank) {
			m := sim.NewSeason(kind<<32 + n).Matches[0] // for its hall and its spoilt trips
			m.Day.Robot = 1 << 50
			m.Day.Jams, m.Day.Rub, m.Day.Hands = maps.Clone(m.Day.Jams), nil, 1
			for stage := range m.Day.Jams {
				m.Day.Jams[stage] = 0.005
			}
			m.Battery, m.ResistanceOhm, m.Gains = "B1", 0, &sim.Gains{Tilt: 0.0075, Rate: 0.0045}
			change(&m)
			all = append(all, m)
		}
		rows, err := playAll(ctx, o.Workers, all)
		if o.Progress != nil {
			o.Progress(int(kind)*o.Bank, 4*o.Bank)
		}
		return rows, err
	}
	b := &bank{}
	var err error
	if b.usual, err = plays(1, func(*sim.Options) {}); err != nil {
		return nil, err
	}
	jams, err := plays(2, func(m *sim.Options) { m.Day.Jams[bankStage] = bankJams })
	if err != nil {
		return nil, err
	}
	swings, err := plays(3, func(m *sim.Options) { m.Gains = &sim.Gains{Tilt: 0.0105, Rate: 0.0010} })
	if err != nil {
		return nil, err
	}
	slow, err := plays(4, func(m *sim.Options) { m.Day.Hands = 0.64 })
	if err != nil {
		return nil, err
	}
	anything := []string{
		"cycle_s", "reversal_rate", "transit_s", "free_current_a", "autonomous_score", "lowest_v", "open_circuit_v", "balance_settle_s",
		"balance_level_rate", "move_settle_s", "jam_rate",
	}
	b.stories = []story{
		{sim.Change{What: "a belt begins to jam", Measure: "jam_rate/" + bankStage, Up: true, Touches: anything}, b.usual, jams},
		{sim.Change{What: "other gains on the platform", Measure: "balance_settle_s", Touches: []string{"balance_level_rate", "lowest_v", "open_circuit_v"}}, swings, b.usual},
		{sim.Change{What: "another driver", Measure: "cycle_s", Touches: anything}, slow, b.usual},
		{sim.Change{What: "a battery dies", Measure: "resistance_ohm/B3", Drifts: true, Up: true, Touches: []string{"lowest_v", "open_circuit_v/B3"}}, b.usual, b.usual},
	}
	return b, nil
}

// season draws one: in one of five nothing changes.
func (b *bank) season(seed uint64) (*SeasonCase, error) {
	r := rand.New(rand.NewPCG(seed, 3))
	const matches = 40
	out := &SeasonCase{}
	before, since, at := b.usual, b.usual, 8+r.IntN(matches-16)
	each := 0.0
	if n := r.IntN(len(b.stories) + 1); n < len(b.stories) {
		s := b.stories[n]
		before, since = s.before, s.since
		x := SeasonTruth{Change: s.change}
		x.Match = at
		if x.Drifts {
			each = 0.10 + 0.10*r.Float64()
		} else {
			x.Size = sizeOf(x.Measure, before, since)
		}
		out.Changes = append(out.Changes, x)
	}
	times := 1.0
	for i := range matches {
		from := before
		if i >= at {
			from = since
		}
		m := from[r.IntN(len(from))]
		m.Event = string(rune('a' + i/8))
		m.Battery = []string{"B1", "B2", "B3", "B4"}[i%4]
		if m.Battery == "B3" && i >= at {
			times += each
		}
		if m.Battery == "B3" {
			m.Resistance = scaled(m.Resistance, times)
		}
		out.Matches = append(out.Matches, m)
	}
	return out, nil
}

func scaled(r season.Reading, by float64) season.Reading {
	times := func(v *float64) *float64 {
		if v == nil {
			return nil
		}
		out := *v * by
		return &out
	}
	return season.Reading{Value: times(r.Value), Low: times(r.Low), High: times(r.High)}
}

// sizeOf is by how much a measure differs between two kinds of matches: shares as they are, others by
// the median of all differences, which is what is estimated.
func sizeOf(measure string, before, since []season.Match) *float64 {
	a, b := seriesOf(measure, before), seriesOf(measure, since)
	if a == nil || b == nil {
		return nil
	}
	size := math.NaN()
	if a.Tries != nil {
		size = sumOf(b.Events)/sumOf(b.Tries) - sumOf(a.Events)/sumOf(a.Tries)
	} else {
		size, _, _ = stat.HodgesLehmann(b.Value, a.Value, level)
	}
	return &size
}

func seriesOf(measure string, matches []season.Match) *season.Series {
	all := season.Measures(matches)
	i := slices.IndexFunc(all, func(s season.Series) bool { return s.Name == measure })
	if i < 0 {
		return nil
	}
	return &all[i]
}

func sumOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum
}
