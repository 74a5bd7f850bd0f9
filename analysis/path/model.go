package path

import (
	"math"
	"slices"
)

// The model: what may have happened when a beam changed or a release was counted.
//
// A piece comes in at the mouth. Driven stages carry it from beam to beam; while it is in
// front of one, that beam is blocked. It goes on, or back when its stage is reversed; it is
// released at the gate, backed out at the mouth, or taken out by hand. Pieces push each other
// and may block a beam together, one behind the other, without a clear moment between them.
// And beams are not to be trusted: one overlooks a thin piece, or is blind; one stays blocked
// by nothing.
//
// So a beam that becomes blocked has one of few causes: a piece came to it from behind, came
// back from ahead, even from behind the last beam, came into the path; or nothing did. One that becomes clear was left by its
// piece, onward, backward or by hand, or by the last of several in contact, or nothing was
// there. A count of releases let the furthest piece out, or is wrong. Each explain function
// here makes one new state for each of these, out of one that was true before (states.go), at
// the odds that likelihoods.go gives it.

// explainBlocked says what a beam that became blocked may mean.
func (w *way) explainBlocked(t *track, h happened) []*track {
	k, slot := h.beam, slotOf(h.beam)
	blk := w.beams[k].blocks[h.blk]
	seen := math.Log(max(blk.real, 1e-9))

	nothingOdd := w.cfg.StuckOdd
	if blk.open {
		nothingOdd = w.cfg.StuckForGood
	}
	none := t.clone(math.Log(max(1-blk.real, nothingOdd)))
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
		n := t.clone(seen + w.hopOdds(t, i, k, h.at) + float64(i-behind)*math.Log(w.cfg.LostRate))
		for j := behind; j < i; j++ {
			n.log(step{id: t.pieces[j].id, slot: t.pieces[j].slot, at: h.at, move: lost, blk: -1})
		}
		n.pieces = slices.Delete(n.pieces, behind, i)
		w.comeTo(n, behind, k, h, onward, skipped(t.pieces[i].slot, slot))
		out = append(out, n)
	}
	// The nearest one from ahead, coming back.
	if ahead := behind - 1; ahead >= 0 && t.pieces[ahead].slot > slot {
		n := t.clone(seen + w.returnOdds(t, ahead, k, h.at))
		w.comeTo(n, ahead, k, h, back, false)
		out = append(out, n)
	}
	if n := w.cameBack(t, h); n != nil {
		out = append(out, n)
	}
	out = append(out, w.explainNew(t, h))
	for _, gone := range w.leftUnseen(t, h.at) {
		out = append(out, w.explainNew(gone, h))
	}
	return out
}

// explainNew says that a beam became blocked by a piece never seen before.
func (w *way) explainNew(t *track, h happened) *track {
	k := h.beam
	blk := w.beams[k].blocks[h.blk]
	behind := slices.IndexFunc(t.pieces, func(p piece) bool { return p.slot < slotOf(k) })
	if behind < 0 {
		behind = len(t.pieces)
	}
	birth := w.birthOdds(t, k, behind, blk, h.at)
	n := t.clone(math.Log(max(blk.real, 1e-9)) + birth)
	n.pieces = slices.Insert(n.pieces, behind, piece{id: n.next, slot: -1, beam: -1})
	n.next++
	w.comeTo(n, behind, k, h, born, k > 0 && !blk.atStart && !w.idle(k, h.at))
	n.steps.birth = birth
	return n
}

// cameBack says that the piece that went past the last beam, and was not counted, had not left the
// robot but was stuck behind it, and came back when the stage was reversed. It is nil where it was
// counted, or nothing was reversed, or another piece is in between.
func (w *way) cameBack(t *track, h happened) *track {
	last := len(w.beams) - 1
	if t.gone == nil || w.falls[t.lastOut] || w.push[last].backward(t.lastOut, h.at) < reversed {
		return nil
	}
	slot := slotOf(h.beam)
	if len(t.pieces) > 0 && t.pieces[0].slot >= slot {
		return nil
	}
	stuck := w.cfg.JamRate
	if t.gone.back {
		stuck = stuckAgain
	}
	blk := w.beams[h.beam].blocks[h.blk]
	n := t.clone(math.Log(max(blk.real, 1e-9)) + math.Log(stuck) + math.Log(ranBack) + w.missOdds(t, slot, w.last+1, t.lastOut, h.at))
	p := *t.gone
	p.back, p.slot = true, w.last+1
	n.pieces, n.gone = slices.Insert(n.pieces, 0, p), nil
	w.comeTo(n, 0, h.beam, h, back, false)
	return n
}

// backedOut says that the last piece, which had been driven back, was out at the mouth by
// now, unseen by the beams it had to pass. It is nil where they would have shown it.
func (w *way) backedOut(t *track, at int64) *track {
	i := len(t.pieces) - 1
	if i < 0 {
		return nil
	}
	p := t.pieces[i]
	c := w.clocks[p.slot]
	if _, front := inFront(p.slot); front || c.backward(p.since, at) < reversed {
		return nil
	}
	out := c.returning(at, reversed, p.since)
	at = min(at, out+long) // by then it had passed them
	n := t.clone(math.Log(ranBack) + w.missOdds(t, -1, p.slot, out, at))
	w.overlook(n, -1, p.slot, out, at)
	n.leave(i, happened{at: out}, outMouth)
	return n
}

// leftUnseen is all that may have happened to the pieces since any beam changed: the last one
// is out at the mouth by now, or one after another at the gate.
func (w *way) leftUnseen(t *track, at int64) (all []*track) {
	if gone := w.backedOut(t, at); gone != nil {
		all = append(all, gone)
	}
	for gone := w.releasedUnseen(t, at); gone != nil; gone = w.releasedUnseen(gone, at) {
		all = append(all, gone)
	}
	return all
}

// releasedUnseen says that the furthest piece was out at the gate by now, unseen by the beams it
// had to pass: as soon as it had been driven for as long as that way takes. It is nil where it
// had not, and where pieces are counted out, which tells it better.
func (w *way) releasedUnseen(t *track, at int64) *track {
	if w.counts || len(t.pieces) == 0 {
		return nil
	}
	p := t.pieces[0]
	if _, front := inFront(p.slot); front {
		return nil
	}
	takes := 0.0
	for slot := p.slot; slot <= w.last; slot++ {
		takes += w.laws[slot].usual()
	}
	out := w.driven(p.slot, p.since).after(p.since, takes)
	if out >= at {
		return nil
	}
	n := t.clone(w.missOdds(t, p.slot, w.last+1, p.since, out))
	w.overlook(n, p.slot, w.last+1, p.since, out)
	w.noteOverhang(n, p, len(w.beams), out)
	n.leave(0, happened{at: out}, outGate)
	return n
}

// comeTo moves piece i in front of beam k.
func (w *way) comeTo(t *track, i, k int, h happened, m move, missed bool) {
	p := &t.pieces[i]
	if missed {
		since := p.since
		if m == born {
			since = h.at - long
		}
		w.overlook(t, p.slot, slotOf(k), since, h.at)
	}
	if t.blind[k] {
		t.blind[k] = false
		t.odds += math.Log(1 - staysBlind)
	}
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
		out := []*track{n}
		if slotOf(k) >= w.wait && w.falls[h.at] {
			n.odds += math.Log(miscount)
			out = append(out, w.explainHidden(t, h)...)
		}
		if i >= 0 && t.pieces[i].slot > slotOf(k) {
			out = append(out, w.explainFollower(t, i, h, t.pieces[i].since)...)
		}
		return out
	}
	p := t.pieces[i]
	on, backward, taken := w.wayOut(k, h.at)
	done, not := w.wentOn(t, i, h.at), w.tooLong(t, i, h.at)
	ahead := t.clone(done + math.Log(on) + w.tailOdds(t, p))
	ahead.owner[k], ahead.pieces[i].paid = -1, done
	w.noteOverhang(ahead, p, k, h.at)
	counted := slotOf(k) >= w.wait && w.falls[h.at]
	out := slotOf(k) == w.last || counted
	if out {
		ahead.leave(i, h, outGate)
	} else {
		ahead.odds += w.crammed(t, slotOf(k)+1)
		ahead.leaveTo(i, slotOf(k)+1, h, onward)
	}
	behind := t.clone(not + math.Log(backward))
	behind.owner[k], behind.pieces[i].paid = -1, not
	if k == 0 {
		behind.leave(i, h, outMouth)
	} else {
		behind.leaveTo(i, slotOf(k)-1, h, back)
	}
	removed := t.clone(not + math.Log(taken))
	removed.owner[k] = -1
	removed.leave(i, h, takenOut)
	all := []*track{ahead, behind, removed}
	if !out && slotOf(k) >= w.wait {
		missed := t.clone(done + math.Log(on) + math.Log(uncounted) + w.tailOdds(t, p))
		missed.owner[k] = -1
		w.noteOverhang(missed, p, k, h.at)
		missed.leave(i, h, outGate)
		all = append(all, missed)
	}
	if x, usual := w.clocks[p.slot].onward(p.since, h.at), w.laws[p.slot].usual(); !out && x > touching*usual {
		mid := w.clocks[p.slot].after(p.since, min(usual, x/2))
		n := t.clone(0)
		n.owner[k] = -1
		n.leaveTo(i, slotOf(k)+1, happened{at: mid}, onward)
		all = append(all, w.explainFollower(n, i, h, mid)...)
	}
	return all
}

// explainHidden says that the piece counted as released when beam k cleared was the one
// behind: it had come while something else, or the sensor itself, kept the beam blocked.
func (w *way) explainHidden(t *track, h happened) []*track {
	slot := slotOf(h.beam)
	i := slices.IndexFunc(t.pieces, func(p piece) bool { return p.slot < slot })
	if i < 0 {
		return nil
	}
	p := t.pieces[i]
	n := t.clone(w.missOdds(t, p.slot, slot+1, p.since, h.at))
	n.owner[h.beam] = -1
	w.noteOverhang(n, p, h.beam, h.at)
	n.leave(i, h, outGate)
	return []*track{n}
}

// mostFollowers is how many pieces in contact may have blocked a beam one after another
// without a clear sample between them. A beam blocked for longer is stuck, or its piece is.
const mostFollowers = 3

// touching is how many times what one piece takes a beam must stay blocked for a second one
// to have come in contact behind it.
const touching = 1.2

// explainFollower says that the beam which has just cleared was, since a time, blocked by the
// piece behind piece i: in contact with it, so that the beam never saw the two apart. At the
// first beam that may be one nobody has seen yet.
func (w *way) explainFollower(t *track, i int, h happened, since int64) []*track {
	k, j := h.beam, i+1
	blk := w.beams[k].index(since)
	if blk < 0 || since >= h.at || h.followers == mostFollowers {
		return nil
	}
	h.followers++
	came := happened{at: since, blk: blk}
	if j < len(t.pieces) && t.pieces[j].slot < slotOf(k) {
		since = max(since, t.pieces[j].since)
		came.at = since
		n := t.clone(math.Log(closely) + w.hiddenHopOdds(t, j, k, since))
		w.comeTo(n, j, k, came, onward, skipped(t.pieces[j].slot, slotOf(k)))
		return w.explainClear(n, h)
	}
	if k > 0 {
		return nil
	}
	n := t.clone(math.Log(contact) + w.birthOdds(t, k, j, w.beams[k].blocks[blk], since))
	n.pieces = slices.Insert(n.pieces, j, piece{id: n.next, slot: -1, beam: -1})
	n.next++
	w.comeTo(n, j, k, came, born, false)
	return w.explainClear(n, h)
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
		t.odds += math.Log(overtaken)
		t.log(step{id: t.pieces[0].id, slot: t.pieces[0].slot, at: h.at, move: lost, blk: -1})
		t.pieces = slices.Delete(t.pieces, 0, 1)
		i--
	}
	if m == outGate {
		p := t.pieces[i]
		t.lastOut, t.gone = h.at, &p
	}
	t.log(step{id: t.pieces[i].id, slot: t.pieces[i].slot, at: h.at, move: m, blk: -1})
	t.pieces = slices.Delete(t.pieces, i, i+1)
}

// explainRelease says which piece was counted out while the last beam saw none leave: the
// furthest one, or the count is wrong.
func (w *way) explainRelease(t *track, h happened) []*track {
	wrong := miscount
	if !h.sure {
		wrong = otherwise
	}
	out := []*track{t.clone(math.Log(wrong))}
	if len(t.pieces) == 0 {
		return out
	}
	p := t.pieces[0]
	cost := w.missOdds(t, p.slot, w.last+1, p.since, h.at)
	if k, front := inFront(p.slot); front && t.owner[k] == p.id {
		cost += math.Log(residue) // its beam should have cleared
	}
	n := t.clone(cost)
	w.overlook(n, p.slot, w.last+1, p.since, h.at)
	w.noteOverhang(n, p, len(w.beams), h.at)
	n.leave(0, h, outGate)
	out = append(out, n)

	// Or the next piece is in contact with it and keeps the beam blocked.
	k := len(w.beams) - 1
	if len(t.pieces) > 1 && t.owner[k] == p.id && p.slot == slotOf(k) && t.pieces[1].slot < p.slot {
		next := t.pieces[1]
		n := t.clone(math.Log(inContact) + w.missOdds(t, next.slot, p.slot, next.since, h.at))
		n.leave(0, h, outGate)
		w.comeTo(n, 0, k, happened{at: h.at, blk: w.beams[k].index(h.at)}, onward, skipped(next.slot, p.slot))
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
