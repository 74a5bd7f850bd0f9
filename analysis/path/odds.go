package path

import (
	"math"
	"sort"
)

// How probable each move of a piece is, as logarithms. Absolute height does not matter,
// only which of several explanations of one event is likelier.

// hopOdds is for piece i of a track going on to beam k at a time: unusually slow is a jam at
// worst, faster than possible is hardly it, and each beam passed unseen is a miss.
func (w *way) hopOdds(t *track, i, k int, at int64) float64 {
	p := t.pieces[i]
	x, l := w.hopTime(t, i, k, at)
	odds := w.missOdds(p.slot, slotOf(k), p.since, at)
	if w.heading(k, at) < 0 {
		odds += math.Log(0.02) // against its drive
	}
	odds += w.tailLength(p, at)
	if x > l.usual() {
		return odds + w.slowOdds(t, i, at, l.like(x))
	}
	if !p.onward || w.blind(p.since, at) {
		return odds // only part of the way lay ahead, or it moved while nothing was logged
	}
	const floor = 5e-4
	return odds + math.Log((1-floor)*l.like(x)+floor)
}

// tailLength is for a piece that reaches the next beam while it still blocks its own: how
// usual the length of that whole block is. Another piece may have come in contact with it.
func (w *way) tailLength(p piece, at int64) float64 {
	k, front := inFront(p.slot)
	blk := -1
	if front {
		blk = w.beams[k].index(at)
	}
	if blk < 0 {
		return 0
	}
	l := w.laws[p.slot]
	x := w.clocks[p.slot].onward(p.rise, w.beams[k].blocks[blk].to)
	if x <= l.usual() {
		return 0
	}
	const contact = 0.05
	return math.Log((1-contact)*l.like(x) + contact)
}

// slowOdds is for piece i having been slow in its slot, so slow as like says: it was stuck,
// or waited for the piece ahead, or was not driven although it seems so.
func (w *way) slowOdds(t *track, i int, at int64, like float64) float64 {
	p, stuck := t.pieces[i], w.cfg.JamRate
	const justNow = 2_000_000 // µs
	if i == 0 && at-t.lastOut < justNow {
		stuck = 0.3
	}
	if i > 0 {
		if q := t.pieces[i-1]; q.slot <= p.slot+2 || q.slot <= p.slot+4 && at-q.since < justNow {
			stuck = 0.3
		}
	}
	if !w.clocks[p.slot].told {
		stuck = max(stuck, 0.2)
	}
	return math.Log((1-stuck)*like + stuck)
}

// clear is from when on the stages ahead of piece i are driven for it and not for the piece
// ahead of it.
func (w *way) clear(t *track, i int) int64 {
	p := t.pieces[i]
	next := p.slot + 1
	switch {
	case i == 0 && next >= slotOf(len(w.beams)-1):
		return t.lastOut
	case i == 0:
		return p.since
	case t.pieces[i-1].slot <= next:
		return w.in.End
	case slotOf(t.pieces[i-1].beam) == next:
		return t.pieces[i-1].fall
	default:
		return p.since
	}
}

// hopTime is how long a piece was driven on its way to beam k, and the law of that way. The
// time in front of its last beam counts for no more than usual: what stood there is judged
// there.
func (w *way) hopTime(t *track, i, k int, at int64) (float64, law) {
	p := t.pieces[i]
	a, front := inFront(p.slot)
	l := w.ways[a][max(k, a+1)] // back in front of its own beam it is only on its way
	x, from := 0.0, p.since
	switch {
	case front:
		x, from = w.clocks[p.slot].onward(p.rise, at), at // it still blocks its beam
	case p.beam == a:
		x = w.dwellShare(a, w.clocks[slotOf(a)].onward(p.rise, p.fall))
	}
	between := 0.0
	for b := a; b < k; b++ {
		between += w.driven(slotOf(b)+1, from, w.clear(t, i)).onward(from, at) / float64(k-a)
	}
	return w.floor(x+between, a), l
}

// dwellShare is what a stay of x seconds in front of a beam counts for in the time to the
// next.
func (w *way) dwellShare(beam int, x float64) float64 {
	if l := w.laws[slotOf(beam)]; x > l.in95 {
		return l.usual()
	}
	return x
}

// floor keeps a time from being shorter than the log can show.
func (w *way) floor(x float64, beam int) float64 { return max(x, w.beams[beam].step/2) }

// blind is whether the log has a gap between two times.
func (w *way) blind(a, b int64) bool {
	for _, g := range w.in.Gaps {
		if g.Start < b && g.End > a {
			return true
		}
	}
	return false
}

// missOdds is for passing all beams between two slots unseen. A beam that was blocked all
// the while could not have shown it, nor one that was blocked for longer than one piece
// takes, if the two were in contact.
func (w *way) missOdds(from, to int, since, at int64) float64 {
	odds := 0.0
	for k := range w.beams {
		if s := slotOf(k); s <= from || s >= to {
			continue
		}
		switch some, all := w.blockedBetween(k, since, at); {
		case all:
			odds += math.Log(0.5)
		case some:
			odds += math.Log(max(0.3, w.left[k]))
		default:
			odds += math.Log(w.left[k])
		}
	}
	return odds
}

// blockedBetween is whether beam k was blocked all the time between two times, or some of it
// for longer than one piece takes.
func (w *way) blockedBetween(k int, t0, t1 int64) (some, all bool) {
	blocks := w.beams[k].blocks
	i := sort.Search(len(blocks), func(i int) bool { return blocks[i].to > t0 })
	if i == len(blocks) || blocks[i].from > t1 {
		return false, false
	}
	b := blocks[i]
	long := w.clocks[slotOf(k)].onward(b.from, b.to) > 1.5*w.laws[slotOf(k)].usual()
	return long, b.from <= t0 && b.to >= t1
}

// skipped is whether a beam lies between two slots.
func (w *way) skipped(from, to int) bool { return to-from > 2 || to-from == 2 && from%2 != 0 }

// returnOdds is for piece i coming back to beam k from ahead: driven backward it is likely,
// just after it left it may be the same piece shaking, else hardly. If it had been driven
// onward for long before, it was stuck there.
func (w *way) returnOdds(t *track, i, k int, at int64) float64 {
	p := t.pieces[i]
	if shaking(p, k, at) {
		return math.Log(0.3) - p.paid
	}
	odds := w.missOdds(slotOf(k), p.slot, p.since, at) + w.tooLong(t, i, at)
	reversed := w.clocks[p.slot].backward(p.since, at) > 0.03 || w.push[k].backward(p.since, at) > 0.03
	switch way := w.heading(k, at); {
	case way < 0 && reversed:
		return odds + math.Log(0.9)
	case reversed && way == 0:
		return odds + math.Log(0.3)
	case reversed:
		return odds + math.Log(0.05)
	default:
		return odds + math.Log(0.001)
	}
}

// heading is which way the stage of beam k was driven in the moment before a time, 1 onward
// or -1 back; 0 when it was not, or nobody knows.
func (w *way) heading(k int, at int64) int {
	const moment = 200_000 // µs; a piece coasts that long after its drive
	c := w.push[k]
	if !c.told {
		return 0
	}
	switch d := c.onward(at-moment, at) - c.backward(at-moment, at); {
	case d > 0.01:
		return 1
	case d < -0.01:
		return -1
	default:
		return 0
	}
}

// tooLong is for piece i not having gone on from its slot up to a time.
func (w *way) tooLong(t *track, i int, at int64) float64 {
	p := t.pieces[i]
	l := w.laws[p.slot]
	x := w.driven(p.slot, p.since, w.clear(t, i)).onward(w.waits(p.slot, p.since, at), at)
	if x <= l.usual() {
		return 0
	}
	return w.slowOdds(t, i, at, 2*l.dist.Survival(math.Log(x)))
}

// shake is the time in µs in which a piece that left a beam and is back has not moved on.
const shake = 300_000

// birthOdds is for a piece never seen before at beam k. At the first beam that is how they
// come; further on the beams before it must have missed it, unless it was put in by hand.
// It cannot have passed a piece that has been behind it for long.
func (w *way) birthOdds(t *track, k, behind int, b block, at int64) float64 {
	if behind < len(t.pieces) && at-t.pieces[behind].since > 2_000_000 {
		return w.freeBirth(k, b, at) + math.Log(0.005)
	}
	return w.freeBirth(k, b, at)
}

func (w *way) freeBirth(k int, b block, at int64) float64 {
	const lately = 3_000_000 // µs in which it must have passed the beams before
	byHand := w.push[k].told && w.push[k].onward(at-lately, at) == 0
	switch {
	case b.atStart:
		return 0
	case byHand && enabled(w.in, at):
		return math.Log(0.03) // nothing pulled it in, and nobody reaches in during a match
	case byHand:
		return math.Log(0.1)
	case k == 0 && w.heading(k, at) < 0:
		return math.Log(0.05)
	case k == 0:
		return 0
	default:
		return math.Log(0.3) + w.missOdds(-1, slotOf(k), at-lately, at)
	}
}

// wayOut is how probably a piece left beam k onward, backward or by hand, from how its
// stage was driven in the moment before.
func (w *way) wayOut(k int, at int64) (on, backward, taken float64) {
	if w.falls[at] && slotOf(k) >= w.wait {
		return 0.99, 0.005, 0.005 // it was counted as released
	}
	if !w.push[k].told {
		return 0.9, 0.05, 0.05
	}
	switch way := w.heading(k, at); {
	case way > 0 && k > 0:
		return 0.993, 0.003, 0.004
	case way > 0:
		return 0.99, 0.006, 0.004 // pieces do bounce out of the mouth
	case way < 0:
		return 0.02, 0.97, 0.01
	case enabled(w.in, at):
		return 0.55, 0.4, 0.05
	default:
		return 0.2, 0.2, 0.6
	}
}

// doneOdds is for piece i leaving a beam after the time since it came: long is a jam at
// worst, and short, when it went on, a piece that only touched the beam.
func (w *way) doneOdds(t *track, i int, at int64, wentOn bool) float64 {
	if !wentOn {
		return w.tooLong(t, i, at)
	}
	p := t.pieces[i]
	l := w.laws[p.slot]
	x := w.floor(w.clocks[p.slot].onward(w.waits(p.slot, p.since, at), at), p.slot/2)
	if x > l.usual() {
		if i+1 < len(t.pieces) && t.pieces[i+1].slot == p.slot-1 && x < 2.5*l.usual() {
			return math.Log(0.7*l.like(x) + 0.3*l.like(x/2)) // another one came in contact with it
		}
		return w.slowOdds(t, i, at, l.like(x))
	}
	if !p.onward || p.slot >= w.wait || w.blind(p.since, at) {
		return 0
	}
	const touched = 0.01
	return math.Log((1-touched)*l.like(x) + touched)
}

// tailOdds is for the beams a piece still blocks when it leaves a later one. When another
// piece is close behind it may be that one's doing.
func (w *way) tailOdds(t *track, p piece, at int64) float64 {
	odds := 0.0
	for k := range p.beam {
		if t.owner[k] != p.id {
			continue
		}
		follower := false
		for _, q := range t.pieces {
			follower = follower || q.slot < slotOf(k)
		}
		if follower {
			odds += math.Log(0.2)
		} else {
			odds += math.Log(0.002)
		}
	}
	return odds
}

// waits is when a piece that came into the slot in which pieces wait began to wait: the
// drive that brought it in does not count as driven to release. Elsewhere it is since, and
// so it is for one that was never let stand, or driven for far longer than it takes to come
// in.
func (w *way) waits(slot int, since, until int64) int64 {
	if slot < w.wait {
		return since
	}
	c := w.clocks[slot]
	i := sort.Search(len(c.t), func(i int) bool { return c.t[i] > since }) - 1
	for i = max(i, 0); i < len(c.t) && c.t[i] < until; i++ {
		if c.rate[i] > 0 {
			continue
		}
		stood := max(c.t[i], since)
		if c.onward(since, stood) > w.laws[slot].in99+w.cfg.ArriveS {
			return since
		}
		return stood
	}
	return since
}

// index is the block of the beam at a time, -1 none.
func (b *beam) index(at int64) int {
	i := sort.Search(len(b.blocks), func(i int) bool { return b.blocks[i].to > at })
	if i == len(b.blocks) || b.blocks[i].from > at {
		return -1
	}
	return i
}
