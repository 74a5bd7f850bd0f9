package path

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
)

// The tracker follows pieces through the beams. It walks once through all that happened (a
// beam became blocked, became clear, a release was counted) and keeps the most probable
// ways to explain it so far: which piece came to this beam, from behind or back from
// ahead, or whether nothing came and the beam lies. Pieces keep their order. What cannot
// be told at once (was that piece missed by the beam, or is it still in there?) is told
// by what follows, which is why several explanations are carried along.

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

// piece is a piece inside the path, in one explanation.
type piece struct {
	id     int
	slot   int
	since  int64   // when it came into the slot
	beam   int     // the beam it was at last, -1 none
	rise   int64   // when it came to that beam
	fall   int64   // when that beam cleared; rise until it did
	onward bool    // it came into its slot from behind, so the whole of it lay ahead
	paid   float64 // odds of the time it took in front of its last beam, to be given back if it never left
}

// step is one move of one piece in an explanation, linked to the one before.
type step struct {
	before *step
	id     int // piece; -1 when a block was explained by nothing
	slot   int // slot it came into
	at     int64
	move   move
	blk    int // block of the beam that showed it, -1 none
	missed bool
	birth  float64 // of a piece seen for the first time: log odds of its coming there
}

type move uint8

const (
	born     move = iota // seen for the first time
	onward               // to a slot further on
	back                 // to a slot before
	outGate              // released
	outMouth             // backed out at the start of the path
	takenOut             // gone from where it was, not driven
	lost                 // gone without a trace when a later piece passed
	nothing              // no piece: the sensor
	overhang             // a beam stayed blocked after its piece had gone on
)

// track is one explanation of everything up to now.
type track struct {
	odds    float64 // logarithm of its probability, up to a constant
	pieces  []piece // furthest on first
	owner   []int   // by beam: id of the piece that blocks it, -1 none
	blind   []bool  // by beam: it missed the last piece that passed, without excuse
	next    int     // id of the next piece to come
	lastOut int64   // when a piece left at the gate last
	steps   *step
}

func (t *track) clone(cost float64) *track {
	return &track{
		odds: t.odds + cost, pieces: slices.Clone(t.pieces), owner: slices.Clone(t.owner),
		blind: slices.Clone(t.blind), next: t.next, lastOut: t.lastOut, steps: t.steps,
	}
}

func (t *track) log(s step) {
	s.before = t.steps
	t.steps = &s
}

// follow is the most probable explanation of all beams.
func (w *way) follow() *track {
	first := &track{owner: make([]int, len(w.beams)), blind: make([]bool, len(w.beams)), lastOut: math.MinInt64 / 2}
	for i := range first.owner {
		first.owner[i] = -1
	}
	alive := []*track{first}
	for _, h := range w.happenings() {
		var next []*track
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
		alive = w.best(next)
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
	seen := make(map[string]bool, len(all))
	kept := all[:0]
	for _, t := range all {
		if len(kept) == w.cfg.Tracks || t.odds < all[0].odds-hopeless {
			break
		}
		if key := t.state(); !seen[key] {
			seen[key] = true
			kept = append(kept, t)
		}
	}
	return kept
}

// state is what the future of an explanation depends on.
func (t *track) state() string {
	b := make([]byte, 0, 64)
	for _, p := range t.pieces {
		b = binary.AppendVarint(b, int64(p.slot))
		b = binary.AppendVarint(b, p.since)
		b = binary.AppendVarint(b, p.rise)
		b = binary.AppendVarint(b, p.fall)
	}
	for k, id := range t.owner {
		if t.blind[k] {
			b = append(b, 'b')
		}
		b = binary.AppendVarint(b, int64(slices.IndexFunc(t.pieces, func(p piece) bool { return p.id == id })))
		if id < 0 {
			b = append(b, 'n')
		}
	}
	return string(b)
}
