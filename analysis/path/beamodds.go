package path

import (
	"math"
	"sort"
)

// What the beams themselves may have done, as logarithms of probability: passed over a
// piece, stayed blocked behind it; and which way a piece left one.
const (
	hidden     = 0.5   // a beam blocked all the while, or one that tells nothing, hides a piece
	inContact  = 0.3   // one blocked for longer than one piece takes hides a second
	closely    = 0.6   // a piece that is due behind another one is in contact with it
	followed   = 0.2   // a beam stays blocked behind its piece by the one that follows
	residue    = 0.002 // by nothing
	miscount   = 0.02  // a count of releases that is none
	otherwise  = 0.3   // a score that came from elsewhere
	uncounted  = 0.05  // a release that is not counted
	staysBlind = 0.6   // a beam that missed a piece without excuse misses the next
	overtaken  = 0.01  // a piece ahead had gone out before, unseen and not counted
)

// missOdds is for passing all beams between two slots unseen.
func (w *way) missOdds(t *track, from, to int, since, at int64) float64 {
	odds := 0.0
	for k := range w.beams {
		if s := slotOf(k); s > from && s < to {
			chance, _ := w.missChance(t, k, since, at)
			odds += math.Log(chance)
		}
	}
	return odds
}

// missChance is how probably beam k does not show a piece that passes it between two times:
// now and then one that is thin or tilted, most while it is blocked or tells nothing, which
// excuses it, and most when it has just missed one without excuse, for then it may be blind.
func (w *way) missChance(t *track, k int, since, at int64) (chance float64, excused bool) {
	chance = w.misses[k]
	if t.blind[k] {
		chance = max(chance, staysBlind)
	}
	switch some, all := w.blockedBetween(k, since, at); {
	case all || w.beams[k].tellsNothing(since, at):
		return max(chance, hidden), true
	case some:
		return max(chance, inContact), true
	}
	return chance, false
}

// overlook notes that the beams between two slots did not show a piece that passed them.
func (w *way) overlook(t *track, from, to int, since, at int64) {
	for k := range w.beams {
		if s := slotOf(k); s > from && s < to {
			_, excused := w.missChance(t, k, since, at)
			t.blind[k] = t.blind[k] || !excused
		}
	}
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
	double := w.clocks[slotOf(k)].onward(b.from, b.to) > 1.5*w.laws[slotOf(k)].usual()
	return double, b.from <= t0 && b.to >= t1
}

// skipped is whether a beam lies between two slots.
func skipped(from, to int) bool { return to-from > 2 || to-from == 2 && from%2 != 0 }

// tailOdds is for the beams a piece still blocks when it leaves a later one.
func (w *way) tailOdds(t *track, p piece) float64 {
	odds := 0.0
	for k := range p.beam {
		if t.owner[k] != p.id {
			continue
		}
		chance := residue
		for _, q := range t.pieces {
			if q.slot < slotOf(k) {
				chance = followed
			}
		}
		odds += math.Log(chance)
	}
	return odds
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
	switch toward := w.heading(k, at); {
	case toward > 0 && k > 0:
		return 0.993, 0.003, 0.004
	case toward > 0:
		return 0.99, 0.006, 0.004 // pieces do bounce out of the mouth
	case toward < 0:
		return 0.02, 0.97, 0.01
	case enabled(w.in, at):
		return 0.55, 0.4, 0.05
	default:
		return 0.2, 0.2, 0.6
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
