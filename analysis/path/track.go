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
	next    int     // id of the next piece to come
	lastOut int64   // when a piece left at the gate last
	steps   *step
}

func (t *track) clone(cost float64) *track {
	return &track{
		odds: t.odds + cost, pieces: slices.Clone(t.pieces), owner: slices.Clone(t.owner),
		next: t.next, lastOut: t.lastOut, steps: t.steps,
	}
}

func (t *track) log(s step) {
	s.before = t.steps
	t.steps = &s
}

// follow is the most probable explanation of all beams.
func (w *way) follow() *track {
	first := &track{owner: make([]int, len(w.beams)), lastOut: math.MinInt64 / 2}
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
	for _, id := range t.owner {
		b = binary.AppendVarint(b, int64(slices.IndexFunc(t.pieces, func(p piece) bool { return p.id == id })))
		if id < 0 {
			b = append(b, 'n')
		}
	}
	return string(b)
}

// explainBlocked says what a beam that became blocked may mean.
func (w *way) explainBlocked(t *track, h happened) []*track {
	k, slot := h.beam, slotOf(h.beam)
	blk := w.beams[k].blocks[h.blk]
	real := math.Log(max(blk.real, 1e-9))

	none := t.clone(math.Log(max(1-blk.real, w.cfg.StuckOdd)))
	none.owner[k] = -1
	none.log(step{id: -1, slot: slot, at: h.at, move: nothing, blk: h.blk})
	out := []*track{none}

	// A piece from behind: the furthest one that is, or the one after it when the furthest
	// is gone without a trace.
	behind := slices.IndexFunc(t.pieces, func(p piece) bool { return p.slot < slot })
	if behind < 0 {
		behind = len(t.pieces)
	}
	for i := behind; i < len(t.pieces) && i < behind+2; i++ {
		n := t.clone(real + w.hopOdds(t, i, k, h.at) + float64(i-behind)*math.Log(w.cfg.LostRate))
		for j := behind; j < i; j++ {
			n.log(step{id: t.pieces[j].id, slot: t.pieces[j].slot, at: h.at, move: lost, blk: -1})
		}
		n.pieces = slices.Delete(n.pieces, behind, i)
		n.comeTo(behind, k, h, onward, w.skipped(t.pieces[i].slot, slot))
		out = append(out, n)
	}
	// The nearest one from ahead, coming back.
	if ahead := behind - 1; ahead >= 0 && t.pieces[ahead].slot > slot {
		n := t.clone(real + w.returnOdds(t, ahead, k, h.at))
		n.comeTo(ahead, k, h, back, false)
		out = append(out, n)
	}
	// A new one.
	n := t.clone(real + w.birthOdds(t, k, behind, blk, h.at))
	n.pieces = slices.Insert(n.pieces, behind, piece{id: n.next, slot: -1, beam: -1})
	n.next++
	n.comeTo(behind, k, h, born, k > 0)
	return append(out, n)
}

// comeTo moves piece i in front of beam k.
func (t *track) comeTo(i, k int, h happened, m move, missed bool) {
	p := &t.pieces[i]
	if shaking(*p, k, h.at) {
		p.slot, p.since, p.fall = slotOf(k), p.rise, p.rise // it never left
	} else {
		p.onward = m != back
		p.slot, p.since, p.beam, p.rise, p.fall = slotOf(k), h.at, k, h.at, h.at
	}
	t.owner[k] = p.id
	t.log(step{id: p.id, slot: p.slot, at: h.at, move: m, blk: h.blk, missed: missed})
}

// shaking is whether a piece that is in front of beam k again had hardly left it.
func shaking(p piece, k int, at int64) bool { return p.beam == k && at-p.since < shake }

// explainClear says where the piece went that a beam has just lost sight of.
func (w *way) explainClear(t *track, h happened) []*track {
	k := h.beam
	i := slices.IndexFunc(t.pieces, func(p piece) bool { return p.id == t.owner[k] })
	if i < 0 || t.pieces[i].slot != slotOf(k) {
		n := t.clone(0) // nothing was there, or only the tail of a piece that is further on
		n.owner[k] = -1
		return []*track{n}
	}
	p := t.pieces[i]
	on, backward, taken := w.wayOut(k, h.at)
	done, not := w.doneOdds(t, i, h.at, true), w.doneOdds(t, i, h.at, false)
	ahead := t.clone(done + math.Log(on) + w.tailOdds(t, p, h.at))
	ahead.owner[k], ahead.pieces[i].paid = -1, done
	w.noteOverhang(ahead, p, k, h.at)
	counted := slotOf(k) >= w.wait && w.falls[h.at]
	out := slotOf(k) == w.last || counted
	if out {
		ahead.leave(i, h, outGate)
	} else {
		ahead.leaveTo(i, slotOf(k)+1, h, onward)
	}
	behind := t.clone(not + math.Log(backward))
	behind.owner[k], behind.pieces[i].paid = -1, not
	if k == 0 {
		behind.leave(i, h, outMouth)
	} else {
		behind.leaveTo(i, slotOf(k)-1, h, back)
	}
	removed := t.clone(math.Log(taken))
	removed.owner[k] = -1
	removed.leave(i, h, takenOut)
	all := []*track{ahead, behind, removed}
	if !out && slotOf(k) >= w.wait {
		uncounted := t.clone(done + math.Log(on) + math.Log(0.05) + w.tailOdds(t, p, h.at))
		uncounted.owner[k] = -1
		w.noteOverhang(uncounted, p, k, h.at)
		uncounted.leave(i, h, outGate)
		all = append(all, uncounted)
	}
	return all
}

func (t *track) leaveTo(i, slot int, h happened, m move) {
	p := &t.pieces[i]
	p.onward = m == onward && p.onward
	p.slot, p.since, p.fall = slot, h.at, h.at
	t.log(step{id: p.id, slot: slot, at: h.at, move: m, blk: -1})
}

// leave takes piece i out of the path. Pieces ahead of one that goes out at the gate must
// have gone before it.
func (t *track) leave(i int, h happened, m move) {
	for m == outGate && i > 0 {
		t.odds += math.Log(0.01)
		t.log(step{id: t.pieces[0].id, slot: t.pieces[0].slot, at: h.at, move: lost, blk: -1})
		t.pieces = slices.Delete(t.pieces, 0, 1)
		i--
	}
	if m == outGate {
		t.lastOut = h.at
	}
	t.log(step{id: t.pieces[i].id, slot: t.pieces[i].slot, at: h.at, move: m, blk: -1})
	t.pieces = slices.Delete(t.pieces, i, i+1)
}

// explainRelease says which piece was counted out while the last beam saw none leave: the
// furthest one, or the count is wrong.
func (w *way) explainRelease(t *track, h happened) []*track {
	wrong := 0.02
	if !h.sure {
		wrong = 0.3
	}
	out := []*track{t.clone(math.Log(wrong))}
	if len(t.pieces) == 0 {
		return out
	}
	p := t.pieces[0]
	cost := 0.0
	if p.slot != w.last {
		cost = w.missOdds(p.slot, w.last+1, p.since, h.at)
	} else if _, front := inFront(p.slot); front {
		cost = math.Log(0.1) // the beam should have cleared
	}
	n := t.clone(cost)
	w.noteOverhang(n, p, len(w.beams), h.at)
	n.leave(0, h, outGate)
	out = append(out, n)

	// Or the next piece is in contact with it and keeps the beam blocked.
	k := len(w.beams) - 1
	if len(t.pieces) > 1 && t.owner[k] == p.id && p.slot == slotOf(k) && t.pieces[1].slot < p.slot {
		next := t.pieces[1]
		n := t.clone(math.Log(0.3) + w.missOdds(next.slot, p.slot, next.since, h.at))
		n.leave(0, h, outGate)
		n.comeTo(0, k, happened{at: h.at, blk: w.beams[k].index(h.at)}, onward, w.skipped(next.slot, p.slot))
		out = append(out, n)
	}
	return out
}

// noteOverhang takes the beams before one away from a piece that has gone on from there and
// still blocks them: that is not the piece.
func (w *way) noteOverhang(t *track, p piece, beam int, now int64) {
	for k := range beam {
		if t.owner[k] == p.id {
			t.owner[k] = -1
			t.log(step{id: -1, slot: slotOf(k), at: now, move: overhang, blk: w.beams[k].index(now)})
		}
	}
}
