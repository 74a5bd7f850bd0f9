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
	over                 // the log ended
)

// follow finds the most probable explanation of all beams, and keeps what else was possible.
func (w *way) follow() *history {
	first := &track{owner: make([]int, len(w.beams)), blind: make([]bool, len(w.beams)), lastOut: math.MinInt64 / 2}
	if w.witness == nil { // who looks on may keep what is dropped
		first.spare = &spares{}
	}
	for i := range first.owner {
		first.owner[i] = -1
	}
	h := &history{}
	alive := []*track{first}
	var next []*track
	for _, e := range w.happenings() {
		next = next[:0]
		for _, t := range alive {
			for _, n := range w.explain(t, e) {
				n.from = t
				next = append(next, n)
			}
		}
		if w.witness != nil {
			w.witness(e, alive, next)
		}
		kept, dropped := w.best(next)
		if first.spare != nil {
			first.spare.all = append(first.spare.all, dropped...)
		}
		alive = slices.Clone(kept)
		h.layers = append(h.layers, layer{e.at, alive})
	}
	h.best = slices.MaxFunc(alive, func(a, b *track) int { return cmp.Compare(a.odds+w.closing(a), b.odds+w.closing(b)) })
	return h
}

// closing is for the pieces an explanation still has in the path when the log ends: most robots
// have scored what they took in, and one that was driven for long is stuck.
func (w *way) closing(t *track) (odds float64) {
	for i := range t.pieces {
		odds += min(w.tooLong(t, i, w.in.End), math.Log(keptIn))
	}
	return odds
}

// explain is what one explanation makes of an event.
func (w *way) explain(t *track, h happened) []*track {
	switch h.what {
	case rose:
		return w.explainBlocked(t, h)
	case cleared:
		return w.explainClear(t, h)
	case released:
		return w.explainRelease(t, h)
	default:
		return append(w.leftUnseen(t, h.at), t.clone(0))
	}
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
	all = append(all, happened{at: w.in.End, what: over})
	slices.SortStableFunc(all, func(a, b happened) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.what, b.what), cmp.Compare(a.beam, b.beam))
	})
	return all
}

// best keeps the most probable explanations: of those that leave the path in the same
// state one, at most Tracks, and none that is hopeless. Of those dropped nothing is held on to.
func (w *way) best(all []*track) (kept, dropped []*track) {
	slices.SortStableFunc(all, func(a, b *track) int { return cmp.Compare(b.odds, a.odds) })
	const hopeless = 18 // e^-18: not one in ten million
	seen := make(map[string]*track, w.cfg.Tracks)
	var key []byte
	kept = all[:0]
	for i, t := range all {
		if len(kept) == w.cfg.Tracks || t.odds < all[0].odds-hopeless {
			return kept, all[i:]
		}
		key = t.state(key[:0])
		if likelier := seen[string(key)]; likelier != nil {
			likelier.also = append(likelier.also, t)
			continue
		}
		seen[string(key)] = t
		kept = append(kept, t)
	}
	return kept, nil
}
