package path

import (
	"cmp"
	"math"
	"slices"
)

// The search for the likeliest history. It walks once through all that happened (a beam
// became blocked, became clear, a release was counted) and keeps the most probable ways to
// explain it so far. What cannot be told at once (was that piece missed by the beam, or is it
// still in there?) is told by what follows, which is why several explanations are carried
// along: a Viterbi search over states too many to list, pruned to the best of them.

// happened is one thing the tracker must explain.
type happened struct {
	at   int64
	what kind
	beam int
	blk  int // index of the beam's block
	sure bool
	// followers is how many pieces in contact were taken to explain one clearing so far.
	followers int
}

type kind uint8

const (
	cleared  kind = iota // a beam became clear
	released             // a piece was counted out and no beam saw it
	rose                 // a beam became blocked
)

// follow is the most probable explanation of all beams.
func (w *way) follow() *track {
	first := &track{owner: make([]int, len(w.beams)), blind: make([]bool, len(w.beams)), lastOut: math.MinInt64 / 2}
	for i := range first.owner {
		first.owner[i] = -1
	}
	alive := []*track{first}
	var next []*track
	for _, h := range w.happenings() {
		next = next[:0]
		for _, t := range alive {
			switch h.what {
			case rose:
				next = append(next, w.explainBlocked(t, h)...)
			case cleared:
				next = append(next, w.explainClear(t, h)...)
			case released:
				next = append(next, w.explainRelease(t, h)...)
			}
		}
		if w.witness != nil {
			w.witness(h, alive, next)
		}
		alive = append(alive[:0], w.best(next)...)
	}
	for _, t := range alive {
		for i := range t.pieces {
			t.odds += w.tooLong(t, i, w.in.End)
		}
	}
	best := alive[0]
	for _, t := range alive[1:] {
		if t.odds > best.odds {
			best = t
		}
	}
	return best
}

// happenings are all events in order of time; at one moment beams clear before pieces are
// counted out, and those before beams are blocked, in the order of the path.
func (w *way) happenings() []happened {
	var all []happened
	for k, b := range w.beams {
		for i, blk := range b.blocks {
			all = append(all, happened{at: blk.from, what: rose, beam: k, blk: i})
			if !blk.open {
				all = append(all, happened{at: blk.to, what: cleared, beam: k, blk: i})
			}
		}
	}
	for _, g := range w.gone {
		all = append(all, happened{at: g.at, what: released, sure: g.sure})
	}
	slices.SortStableFunc(all, func(a, b happened) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.what, b.what), cmp.Compare(a.beam, b.beam))
	})
	return all
}

// best keeps the most probable explanations: of those that leave the path in the same
// state one, at most Tracks, and none that is hopeless.
func (w *way) best(all []*track) []*track {
	slices.SortStableFunc(all, func(a, b *track) int { return cmp.Compare(b.odds, a.odds) })
	const hopeless = 18 // e^-18: not one in ten million
	seen := make(map[string]bool, w.cfg.Tracks)
	var key []byte
	kept := all[:0]
	for _, t := range all {
		if len(kept) == w.cfg.Tracks || t.odds < all[0].odds-hopeless {
			break
		}
		if key = t.state(key[:0]); !seen[string(key)] {
			seen[string(key)] = true
			kept = append(kept, t)
		}
	}
	return kept
}
