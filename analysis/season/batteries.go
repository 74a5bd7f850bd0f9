package season

import (
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
)

// leastOthers is how many other batteries tell what an event does to all of them.
const leastOthers = 3

// besideOthers judges the resistance of each battery beside that of the others at the same event: a cold
// hall raises all of them, by about 1 % a degree, and so does a lug that came loose. What all of them
// do together is a measure of its own. It is the median of the others that counts, each beside its
// own usual, so that one that dies leaves it where it is; with fewer others than three nothing is
// judged so.
func (g *gathering) besideOthers() {
	var of []*Series
	for i := range g.all {
		if strings.HasPrefix(g.all[i].Name, "resistance_ohm/") {
			of = append(of, &g.all[i])
		}
	}
	usual := make([]float64, len(of))
	for k, s := range of {
		usual[k] = stat.Median(s.Value)
	}
	judged := beside(g.matches, of, usual, -1, leastOthers)
	// The one that moves most by itself would move the others' middle: they are judged without it.
	odd, least := -1, local
	for k, s := range of {
		alone := Series{Index: s.Index, Value: judged[k]}
		if f := test(&alone); f.P < least {
			odd, least = k, f.P
		}
	}
	if odd >= 0 {
		kept := judged[odd]
		judged = beside(g.matches, of, usual, odd, leastOthers-1)
		judged[odd] = kept
	}
	for k, s := range of {
		s.Shown, s.Value = s.Value, judged[k]
	}
}

// beside divides each reading by the median of what the other batteries read at the same event, each
// in times its usual; where fewer than least of them were in, it stays. The one at place odd is not asked.
func beside(matches []Match, of []*Series, usual []float64, odd, least int) [][]float64 {
	out := make([][]float64, len(of))
	for k, s := range of {
		out[k] = slices.Clone(s.Value)
		for i, at := range s.Index {
			var others []float64
			for o, other := range of {
				if here := other.at(matches, matches[at].Event); o != k && o != odd && len(here) > 0 {
					others = append(others, stat.Median(here)/usual[o])
				}
			}
			if len(others) >= least {
				out[k][i] /= stat.Median(others)
			}
		}
	}
	return out
}

// at are the readings of an event.
func (s *Series) at(matches []Match, event string) (out []float64) {
	for i, m := range s.Index {
		if matches[m].Event == event {
			out = append(out, s.Value[i])
		}
	}
	return out
}

// allBatteries is the resistance of whatever battery was in, beside the usual of that battery: what
// changes for all of them is wiring, or the temperature, of which lead and acid have about 1 % a
// degree (common practice).
func (g *gathering) allBatteries(batteries []string) {
	if len(batteries) <= leastOthers {
		return
	}
	usual := map[string]float64{}
	for _, b := range batteries {
		var all []float64
		for i := range g.matches {
			if r := g.matches[i].of(b, g.matches[i].Resistance); r.Value != nil {
				all = append(all, *r.Value)
			}
		}
		usual[b] = stat.Median(all)
	}
	g.readings("resistance_common", func(m *Match) Reading {
		if m.Battery == "" || m.Resistance.Value == nil {
			return Reading{}
		}
		off := 100 * (*m.Resistance.Value/usual[m.Battery] - 1)
		return Reading{Value: &off}
	})
}
