package path

import (
	"slices"
)

// visit is a piece in a slot, from the moment it came until it went somewhere else.
type visit struct {
	slot     int
	from, to int64
	next     int     // slot it went to; past last when released, -1 when backed out
	how      move    // of leaving; stays when it was still there at the end of the log
	blk      int     // block of the beam that showed it, -1 between beams
	onward   bool    // it came from behind, so the whole slot lay ahead of it
	freed    int64   // from when on the stages ahead were driven for it and not for the piece ahead
	dwell    float64 // driven seconds it then spent in front of that beam, between beams only
}

// stays marks a visit that the end of the log cut off.
const stays move = 255

// journey is one piece with all its visits in order of time.
type journey struct {
	id      int
	visits  []visit
	missed  []int // beams that should have shown it and did not
	outcome move  // of its last visit
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
			all = append(all, journey{id: s.id})
		}
		w.addStep(&all[at], s)
	}
	for i := range all {
		j := &all[i]
		j.outcome = j.visits[len(j.visits)-1].how
		j.settle(w)
	}
	slices.SortStableFunc(all, func(a, b journey) int { return int(min(max(a.visits[0].from-b.visits[0].from, -1), 1)) })
	for i := range all {
		for n := range all[i].visits {
			all[i].visits[n].freed = freedOf(all, i, all[i].visits[n])
		}
	}
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
