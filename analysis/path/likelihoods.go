package path

import (
	"math"
	"sort"

	"github.com/afterbell/afterbell/schemas"
)

// The likelihoods: how probable each move of a piece is, and each reading of a beam, as
// logarithms. Absolute height does not matter, only which of several explanations of one
// event is likelier. What is learned from the log does most of the work: how long each step
// usually takes (law.go), in seconds for which its stage was driven (clock.go), and how often
// a beam misses (learn.go). The chances below only have to be of the right size. They were
// chosen by us.
const (
	againstDrive = 0.02  // a piece moves against the way it is driven
	tooFast      = 5e-4  // it comes faster than it ever does
	touched      = 0.01  // it only touches a beam before it goes on
	contact      = 0.05  // another piece comes in contact behind it
	queued       = 0.3   // a slow piece waited for the one ahead, when there is one
	undriven     = 0.2   // a slow piece was not driven, when the log does not tell
	shook        = 0.3   // a piece back at once at its beam has only shaken
	ranBack      = 0.9   // a piece that was reversed comes back
	rolledBack   = 0.001 // one that was not does
	putIn        = 0.1   // a piece is put in by hand
	reachedIn    = 0.03  // while the robot is enabled
	reachedDeep  = 5e-4  // and further in than the mouth
	inReverse    = 0.01  // a new piece comes while the mouth runs backward
	unnoticed    = 0.3   // a new piece is first seen further on, besides the beams it passed
	passedBy     = 0.005 // it passed a piece that has been there for long
	stuckAgain   = 0.5   // a piece that came back from behind the last beam is stuck there again
	keptIn       = 0.3   // it is still in the path when the log ends
	noRoom       = 0.03  // there is one piece more in a stretch than it has room for
)

// And what the beams themselves may have done: passed over a piece, stayed blocked behind it.
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

// reversed is how many seconds of backward drive send a piece back.
const reversed = 0.03

// shake is the time in µs in which a piece that left a beam and is back has not moved on;
// long the time in which a moving piece is somewhere else.
const (
	shake = 300_000
	long  = 2_000_000
)

// coast is the time in µs for which a piece coasts after its drive.
const coast = 200_000

// hopOdds is for piece i of a track going on to beam k, which shows one from a time on.
func (w *way) hopOdds(t *track, i, k int, at int64) float64 {
	return w.onwardOdds(t, i, k, at, law.due)
}

// hiddenHopOdds is for the same while the beam was blocked already, so that nothing shows when.
func (w *way) hiddenHopOdds(t *track, i, k int, at int64) float64 {
	return w.onwardOdds(t, i, k, at, law.like)
}

// onwardOdds is for piece i of a track going on to beam k at a time: unusually slow is a jam at
// worst, faster than possible is hardly it, and each beam passed unseen is a miss.
func (w *way) onwardOdds(t *track, i, k int, at int64, like func(law, float64) float64) float64 {
	p := t.pieces[i]
	x, l := w.hopTime(t, i, k, p.since, at)
	odds := w.missOdds(t, p.slot, slotOf(k), p.since, at) + w.tailLength(p, at)
	if w.heading(k, at) < 0 {
		odds += math.Log(againstDrive)
	}
	if x > l.usual() {
		return odds + w.slowHop(t, i, k, at, like)
	}
	if !p.onward || w.moved(p, at) {
		return odds // only part of the way lay ahead, or it moved while nothing was logged
	}
	return odds + math.Log((1-tooFast)*like(l, x)+tooFast)
}

// moved is whether a piece may have come into its slot earlier than it seems, or moved on in
// it, while nothing was logged.
func (w *way) moved(p piece, at int64) bool {
	from, to := w.beams[p.slot/2].around(p.since)
	return from < to || w.blind(p.since, at)
}

// slowHop is for such a way having taken long. Where its beams told nothing the piece may
// have left one later, and come to the other earlier, than they show.
func (w *way) slowHop(t *track, i, k int, at int64, like func(law, float64) float64) float64 {
	p := t.pieces[i]
	left := p.since
	if a, front := inFront(p.slot); !front {
		_, left = w.beams[a].around(p.since)
	}
	came, _ := w.beams[k].around(at)
	x, l := w.hopTime(t, i, k, left, max(came, left))
	if x <= l.usual() {
		return 0
	}
	if !p.onward {
		like = law.like // how much of the way lay ahead is not known, nor when it is due
	}
	return w.slowOdds(t, i, at, like(l, x))
}

// hopTime is how long piece i was driven on its way to beam k, where it came into its slot
// at a time and to the beam at another, and the law of that way. The time in front of its
// last beam counts for no more than usual: what stood there is judged there.
func (w *way) hopTime(t *track, i, k int, since, at int64) (float64, law) {
	p := t.pieces[i]
	a, front := inFront(p.slot)
	l := w.ways[a][max(k, a+1)] // back in front of its own beam it is only on its way
	x, from := 0.0, since
	switch {
	case front:
		x, from = w.clocks[p.slot].onward(p.rise, at), at // it still blocks its beam
	case p.beam == a:
		x = w.dwellShare(a, w.clocks[slotOf(a)].onward(p.rise, p.fall))
	}
	between := 0.0
	for b := a; b < k; b++ {
		between += w.driven(slotOf(b)+1, from).onward(from, at) / float64(k-a)
	}
	return w.floor(x+between, a), l
}

// tailLength is for a piece that reaches the next beam while it still blocks its own: how
// usual the length of that whole block is.
func (w *way) tailLength(p piece, at int64) float64 {
	k, front := inFront(p.slot)
	if !front {
		return 0
	}
	blk := w.beams[k].index(at)
	if blk < 0 {
		return 0
	}
	l := w.laws[p.slot]
	x := w.clocks[p.slot].onward(p.rise, w.beams[k].blocks[blk].to)
	if x <= l.usual() {
		return 0
	}
	return math.Log((1-contact)*l.like(x) + contact)
}

// slowOdds is for piece i having been slow in its slot, so slow as like says: it was stuck,
// or waited for the piece ahead, or was not driven although it seems so.
func (w *way) slowOdds(t *track, i int, at int64, like float64) float64 {
	p, reason := t.pieces[i], w.cfg.JamRate
	if i == 0 && at-t.lastOut < long {
		reason = queued
	}
	if i > 0 {
		if q := t.pieces[i-1]; q.slot <= p.slot+2 || q.slot <= p.slot+4 && at-q.since < long {
			reason = queued
		}
	}
	if !w.clocks[p.slot].told {
		reason = max(reason, undriven)
	}
	return math.Log((1-reason)*like + reason)
}

// tooLong is for piece i not having gone on from its slot up to a time.
func (w *way) tooLong(t *track, i int, at int64) float64 {
	p := t.pieces[i]
	l := w.laws[p.slot]
	x := w.driven(p.slot, p.since).onward(w.waits(p.slot, p.since, at), at)
	if x <= l.usual() {
		return 0
	}
	return w.slowOdds(t, i, at, 2*l.dist.Survival(math.Log(x)))
}

// wentOn is for piece i going on from its beam after the time since it came.
func (w *way) wentOn(t *track, i int, at int64) float64 {
	p := t.pieces[i]
	l := w.laws[p.slot]
	x := w.floor(w.clocks[p.slot].onward(w.waits(p.slot, p.since, at), at), p.slot/2)
	if x > l.usual() {
		if i+1 < len(t.pieces) && t.pieces[i+1].slot == p.slot-1 && x < 2.5*l.usual() {
			return math.Log((1-queued)*l.like(x) + queued*l.like(x/2)) // two in contact take as long as both
		}
		return w.slowOdds(t, i, at, l.like(x))
	}
	if !p.onward || p.slot >= w.wait || w.moved(p, at) {
		return 0
	}
	return math.Log((1-touched)*l.like(x) + touched)
}

// returnOdds is for piece i coming back to beam k from ahead. If it had been driven onward
// for long before, it was stuck there.
func (w *way) returnOdds(t *track, i, k int, at int64) float64 {
	p := t.pieces[i]
	if shaking(p, k, at) {
		return math.Log(shook) - p.paid
	}
	odds := w.missOdds(t, slotOf(k), p.slot, p.since, at) + w.tooLong(t, i, at)
	moved := w.clocks[p.slot].backward(p.since, at) > reversed || w.push[k].backward(p.since, at) > reversed
	switch toward := w.heading(k, at); {
	case w.turnedBack(k, at): // it may have been just past the beam
		return odds + math.Log(ranBack)
	case moved && toward == 0:
		return odds + math.Log(ranBack/3) // it rolls out
	case moved:
		return odds + math.Log(againstDrive)
	default:
		return odds + math.Log(rolledBack)
	}
}

// birthOdds is for a piece never seen before at beam k, behind all of index below behind. At
// the first beam that is how they come; further on the beams before it must have missed it,
// unless it was put in by hand.
func (w *way) birthOdds(t *track, k, behind int, b block, at int64) float64 {
	odds := 0.0
	if behind < len(t.pieces) && at-t.pieces[behind].since > long {
		odds = math.Log(passedBy)
	}
	if k > 0 && w.turnedBack(k, at) {
		odds += math.Log(againstDrive) // what comes then comes from ahead
	}
	switch {
	case b.atStart:
		return odds
	case w.idle(k, at) && k > 0 && len(w.in.Periods) > 0 && during(w.enabled, at):
		return odds + math.Log(reachedDeep)
	case w.idle(k, at) && during(w.enabled, at):
		return odds + math.Log(reachedIn)
	case w.idle(k, at):
		return odds + math.Log(putIn)
	case k > 0 && w.withinWay(0, k, at): // it may have been in the path when the log began
		passed := k
		for passed > 0 && !w.withinWay(passed-1, k, at) {
			passed--
		}
		return odds + w.missOdds(t, slotOf(passed)-1, slotOf(k), w.in.Start, at)
	case k == 0 && w.turnedBack(k, at):
		return odds + math.Log(inReverse)
	case k == 0:
		return odds
	default:
		return odds + math.Log(unnoticed) + w.missOdds(t, -1, slotOf(k), at-long, at) + w.briefly(at)
	}
}

// withinWay is whether from the beginning of the log to a time a piece was not driven for as long as
// the way from one beam to another takes.
func (w *way) withinWay(from, to int, at int64) bool {
	driven := 0.0
	for b := from; b < to; b++ {
		driven += w.driven(slotOf(b)+1, w.in.Start).onward(w.in.Start, at) / float64(to-from)
	}
	return driven < w.ways[from][to].usual()
}

// briefly is for a new piece having come just while the first one told nothing: one
// comes every ten seconds or so, and only now and then in a short spell or gap.
func (w *way) briefly(at int64) float64 {
	const chance = 0.1
	if w.beams[0].tellsNothing(at-long, at) {
		return math.Log(chance)
	}
	return 0
}

// idle is whether the stage of beam k was not driven onward for a while before a time.
func (w *way) idle(k int, at int64) bool {
	return w.push[k].told && w.push[k].onward(at-long, at) == 0
}

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
	case all && t.owner[k] < 0:
		return 1, true // blocked by nothing, it shows no piece
	case all || w.hides(k, since, at):
		return max(chance, hidden), true
	case some:
		return max(chance, inContact), true
	}
	return chance, false
}

// hides is whether beam k told nothing at a moment between two times in which its stage was
// driven, so that a piece may have passed it unseen. Of a gap in the log only the drive just
// before it and after it is known.
func (w *way) hides(k int, from, to int64) bool {
	c, dark := w.push[k], w.beams[k].dark
	i := sort.Search(len(dark), func(i int) bool { return dark[i].End >= from })
	for ; i < len(dark) && dark[i].Start < to; i++ {
		a, b := dark[i].Start-coast, dark[i].End+coast
		if !c.told || c.onward(a, b) > 0 || c.backward(a, b) > 0 {
			return true
		}
	}
	return false
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

// crammed is for one more piece coming into a stretch between two beams. As many fit in, one
// behind the other, as what they take from beam to beam is longer than what each takes to pass
// one, give or take two. How long the way beyond the last beam is nothing tells.
func (w *way) crammed(t *track, slot int) float64 {
	if slot == w.last {
		return 0
	}
	inside := 0.0
	for _, p := range t.pieces {
		if p.slot == slot {
			inside++
		}
	}
	if inside < 2 {
		return 0
	}
	room := w.laws[slot].usual() / w.laws[slot-1].usual()
	return math.Log(noRoom) * max(inside-1-room, 0)
}

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
		return 0.996 - w.bounces, w.bounces, 0.004 // pieces do bounce out of the mouth
	case toward < 0:
		return 0.02, 0.97, 0.01
	case during(w.enabled, at):
		return 0.55, 0.4, 0.05
	default:
		return 0.2, 0.2, 0.6
	}
}

// turnedBack is whether the stage of beam k runs backward: it was driven so last, if only just.
func (w *way) turnedBack(k int, at int64) bool {
	c, just := w.push[k], schemas.Micros(reversed)
	return w.heading(k, at) < 0 || c.told && c.onward(at-just, at) == 0 && c.backward(at-coast, at) > reversed
}

// heading is which way the stage of beam k was driven in the moment before a time, 1 onward
// or -1 back; 0 when it was not, or nobody knows.
func (w *way) heading(k int, at int64) int {
	c := w.push[k]
	if !c.told {
		return 0
	}
	switch d := c.onward(at-coast, at) - c.backward(at-coast, at); {
	case d > 0.01:
		return 1
	case d < -0.01:
		return -1
	default:
		return 0
	}
}
