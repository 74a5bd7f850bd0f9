package path

import (
	"math"
	"slices"
	"sort"

	"github.com/afterbell/afterbell/analysis/stat"
)

// How surely a piece was where the likeliest history has it. A history is one of many, and
// where it turned on what could not be told (did the piece at the mouth go on, or was it gone
// again and the next one passed unseen?) others are not much less likely. So the explanations
// are kept as they followed from each other, those too that led to the same state as a
// likelier one, and the forward-backward algorithm adds up all histories that lead through a
// state. What was pruned on the way is left out: it was hopeless, or beyond the best.

// layer is the explanations kept after one event; what they say holds until the next.
type layer struct {
	at   int64
	kept []*track
}

// history is all that was kept of following the pieces, in order of time.
type history struct {
	best   *track
	layers []layer
}

// into is all explanations of the event before that led to a state, the likeliest one too.
func (t *track) into() []*track { return append(slices.Clip(t.also), t) }

// doubt fills in the probability of each explanation, by all events of the log.
func (h *history) doubt(closing func(t *track) float64) {
	if len(h.layers) == 0 {
		return
	}
	for _, l := range h.layers {
		for _, t := range l.kept {
			var came []float64
			for _, e := range t.into() {
				came = append(came, e.from.before+e.odds-e.from.odds)
			}
			t.before, t.after = stat.LogSum(came), math.Inf(-1)
		}
	}
	last := h.layers[len(h.layers)-1].kept
	var whole []float64
	for _, t := range last {
		t.after = closing(t)
		whole = append(whole, t.before+t.after)
	}
	all := stat.LogSum(whole)
	for i := len(h.layers) - 1; i >= 0; i-- {
		for _, t := range h.layers[i].kept {
			for _, e := range t.into() {
				e.from.after = stat.LogSum([]float64{e.from.after, e.odds - e.from.odds + t.after})
			}
			t.sure = math.Exp(min(t.before+t.after-all, 0))
		}
	}
}

// stayed is how probably a piece was in a slot or next to it just before a time, and had been
// since another time at the latest: on which side of a beam that is unsure it stood is no matter.
func (h *history) stayed(slot int, since, until int64) float64 {
	i := sort.Search(len(h.layers), func(i int) bool { return h.layers[i].at >= until }) - 1
	if i < 0 {
		return 1
	}
	sum := 0.0
	for _, t := range h.layers[i].kept {
		for _, p := range t.pieces {
			if p.slot >= slot-1 && p.slot <= slot+1 && p.since <= since {
				sum += t.sure
				break
			}
		}
	}
	return min(sum, 1)
}
