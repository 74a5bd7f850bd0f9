package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas/series"
)

// visit is a piece in a slot, from the moment it came until it went somewhere else.
type visit struct {
	slot     int
	from, to int64
	next     int     // slot it went to; past last when released, -1 when backed out
	how      move    // of leaving; stays when it was still there at the end of the log
	blk      int     // block of the beam that showed it, -1 between beams
	onward   bool    // it came from behind, so the whole slot lay ahead of it
	dwell    float64 // driven seconds it then spent in front of that beam, between beams only
	undone   float64 // s it was driven back while it shook: to be made up for
}

// stays marks a visit that the end of the log cut off.
const stays move = 255

// journey is one piece with all its visits in order of time.
type journey struct {
	id      int
	visits  []visit
	missed  []int   // beams that should have shown it and did not
	outcome move    // of its last visit
	birth   float64 // log odds of a piece coming where it was seen first
}

// unseen is a block that no piece explains, or the rest of one after its piece had gone on.
type unseen struct {
	beam, blk int
	from      int64
}

// journeys turns the moves of an explanation into visits. A piece that left a beam and was
// back within a moment was only shaking: that is one visit.
func (w *way) journeys(t *track) (all []journey, sensor []unseen) {
	var steps []step
	for s := t.steps; s != nil; s = s.before {
		steps = append(steps, *s)
	}
	slices.Reverse(steps)
	place := map[int]int{}
	for _, s := range steps {
		if s.id < 0 {
			k, _ := inFront(s.slot)
			sensor = append(sensor, unseen{beam: k, blk: s.blk, from: s.at})
			continue
		}
		at, known := place[s.id]
		if !known {
			at = len(all)
			place[s.id] = at
			all = append(all, journey{id: s.id, birth: s.birth})
		}
		w.addStep(&all[at], s)
	}
	for i := range all {
		j := &all[i]
		j.outcome = j.visits[len(j.visits)-1].how
		j.settle(w)
	}
	slices.SortStableFunc(all, func(a, b journey) int { return int(min(max(a.visits[0].from-b.visits[0].from, -1), 1)) })
	return all, sensor
}

// addStep closes a piece's visit and opens the next.
func (w *way) addStep(j *journey, s step) {
	from := -1
	if n := len(j.visits); n > 0 {
		v := &j.visits[n-1]
		v.to, v.how, v.next = s.at, s.move, s.slot
		from = v.slot
		switch s.move {
		case outGate:
			v.next = w.last + 1
		case outMouth:
			v.next = -1
		}
	}
	if s.missed {
		for k := range w.beams {
			if sl := slotOf(k); sl > from && sl < s.slot {
				j.missed = append(j.missed, k)
			}
		}
	}
	switch s.move {
	case outMouth, takenOut, lost:
		return
	case outGate:
		for k := range w.beams {
			if slotOf(k) > from {
				j.missed = append(j.missed, k)
			}
		}
		return
	}
	j.visits = append(j.visits, visit{slot: s.slot, from: s.at, to: w.in.End, how: stays, blk: s.blk, onward: s.move != back})
}

// settle joins the visits of a piece that only shook in front of a beam, and notes for
// each visit between beams what came before it.
func (j *journey) settle(w *way) {
	joined := j.visits[:1]
	for i := 1; i < len(j.visits); i++ {
		v, last := j.visits[i], &joined[len(joined)-1]
		again := i+1 < len(j.visits) && last.slot == j.visits[i+1].slot && v.to-v.from < shake
		if _, front := inFront(last.slot); again && front {
			back := j.visits[i+1]
			if v.slot < last.slot {
				last.undone += w.push[last.slot/2].backward(max(last.from, v.from-long), back.from)
			}
			last.to, last.next, last.how = back.to, back.next, back.how
			if back.blk >= 0 {
				last.blk = back.blk
			}
			i++
			continue
		}
		joined = append(joined, v)
	}
	j.visits = joined
	for i := range j.visits {
		v := &j.visits[i]
		if i == 0 {
			continue
		}
		k, front := inFront(v.slot)
		if before := j.visits[i-1]; !front && before.slot == slotOf(k) {
			v.onward = v.onward && before.onward
			v.dwell = w.clocks[before.slot].onward(before.from, before.to)
		}
	}
}

// ends are the stretches in which a visit may have begun and ended: moments, but for a beam
// that told nothing when it should have shown it.
func (w *way) ends(v visit) (begin, end series.Interval) {
	k, front := inFront(v.slot)
	begin.Start, begin.End = w.beams[k].around(v.from)
	if !front && v.next > v.slot {
		k = v.next / 2
	}
	end = series.Interval{Start: v.to, End: v.to}
	if k < len(w.beams) {
		end.Start, end.End = w.beams[k].around(v.to)
	}
	return begin, end
}

// surely is the part of a visit that the beams leave no doubt of.
func (w *way) surely(v visit) (from, to int64) {
	begin, end := w.ends(v)
	from = min(begin.End, v.to)
	return from, max(from, end.Start)
}

// vague is whether it is not known when a visit began or ended.
func (w *way) vague(v visit) bool {
	begin, end := w.ends(v)
	return begin.Len() > 0 || end.Len() > 0
}

// credit is how probably a piece is one. Two beams that saw it do not err together; what one
// beam alone showed may have been its own doing, the more so where no piece should come from.
func (w *way) credit(j journey) float64 {
	const sound = 0.5
	most, seen := 0.0, map[int]bool{}
	for _, v := range j.visits {
		k, front := inFront(v.slot)
		if !front || v.blk < 0 {
			continue
		}
		real := w.beams[k].blocks[v.blk].real
		if most = max(most, real); real > sound {
			seen[k] = true
		}
	}
	if len(seen) > 1 {
		return most
	}
	piece, nothing := most*math.Exp(j.birth), max(1-most, w.cfg.StuckOdd)
	return piece / (piece + nothing)
}

// started is whether visit n is a piece that was in the path before the log began.
func (j *journey) started(w *way, n int) bool {
	v := j.visits[n]
	k, _ := inFront(v.slot)
	return n == 0 && v.blk >= 0 && w.beams[k].blocks[v.blk].atStart
}

// overlaps is whether a piece reached the next beam while its own was still blocked: it is
// longer than the way between, or another one follows in contact. When it left its beam is
// then not known, and the time until the next is what tells.
func (w *way) overlaps(v visit) bool {
	_, front := inFront(v.slot)
	return front && v.next == v.slot+2 && v.how == onward
}
