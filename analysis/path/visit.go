package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// visit is a piece in a slot, from the moment it came until it went somewhere else.
type visit struct {
	slot     int
	from, to int64
	next     int     // slot it went to; past last when released, -1 when backed out
	how      move    // of leaving; stays when it was still there at the end of the log
	blk      int     // block of the beam that showed it, -1 between beams
	onward   bool    // it came from behind, so the whole slot lay ahead of it
	rise     int64   // when it came to the beam at which the slot begins
	clear    int64   // from when on the stages ahead were driven for it and not for the piece ahead
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
			all[i].visits[n].clear = clearOf(all, i, all[i].visits[n])
		}
	}
	return all, sensor
}

// followed is whether another piece was close behind one that stood in front of a beam when
// it left, so that the beam may have been blocked by both in turn.
func (w *way) followed(all []journey, i int, v visit) bool {
	k, front := inFront(v.slot)
	if !front {
		return false
	}
	const soon = 3_000_000 // µs
	for n, j := range all {
		if n == i {
			continue
		}
		for _, u := range j.visits {
			if u.slot == v.slot-1 && u.from < v.to && u.to > v.to {
				return true
			}
		}
		if first := j.visits[0]; slices.Contains(j.missed, k) && first.slot > v.slot && first.from > v.from && first.from < v.to+soon {
			return true // it came in contact, so that the beam never saw it by itself
		}
	}
	return false
}

// clearOf is when the piece ahead left the beam that ends a visit's slot; the visit's own
// start when none was there.
func clearOf(all []journey, i int, v visit) int64 {
	clear := v.from
	for _, j := range all[:i] {
		for _, u := range j.visits {
			if u.slot == v.slot+1 && u.from < v.to && u.to > clear {
				clear = u.to
			}
		}
	}
	return clear
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
		v.rise = v.from
		if i == 0 {
			continue
		}
		k, front := inFront(v.slot)
		if before := j.visits[i-1]; !front && before.slot == slotOf(k) {
			v.rise = before.from
			v.onward = v.onward && before.onward
			v.dwell = w.clocks[before.slot].onward(before.from, before.to)
		}
	}
}

// firstLaws are the laws before any piece was followed: from the readings as they are, on
// top of what this robot's past gives.
func (w *way) firstLaws() {
	w.laws = make([]law, w.last+1)
	for slot := range w.laws {
		k, front := inFront(slot)
		w.laws[slot] = fit(nil, w.past(slot), w.beams[k].step/2, w.cfg)
		var seen []took
		switch {
		case front:
			for _, b := range w.beams[k].blocks {
				if b.real > 0.5 && !b.atStart && !b.open {
					seen = append(seen, took{x: w.clocks[slot].onward(w.waits(slot, b.from, b.to), b.to), done: true})
				}
			}
		default:
			for _, h := range w.rawHops(k) {
				seen = append(seen, took{x: w.clocks[slot-1].onward(h.rise, h.fall) + w.driven(slot, h.fall, h.fall).onward(h.fall, h.next), done: true})
			}
		}
		w.laws[slot] = fit(seen, w.past(slot), w.beams[k].step/2, w.cfg)
	}
	w.chain()
}

// chain fills in the laws of longer ways, for pieces that a beam missed.
func (w *way) chain() {
	w.ways = make([][]law, len(w.beams))
	for a := range w.beams {
		w.ways[a] = make([]law, len(w.beams)+1)
		for k := a + 1; k <= len(w.beams) && slotOf(k)-1 <= w.last; k++ {
			w.ways[a][k] = w.laws[slotOf(k)-1]
			if k > a+1 {
				w.ways[a][k] = w.ways[a][k-1].and(w.laws[slotOf(k)-1])
			}
		}
	}
}

// past is what this robot's earlier matches say of a slot, a wide guess without any. Time
// spent waiting to be released says nothing of how long a release takes.
func (w *way) past(slot int) belief {
	k, front := inFront(slot)
	name := w.in.Stages[w.beams[k].stage].Name
	switch {
	case slot >= w.wait:
		return guess(w.cfg.PriorDwellS, w.cfg)
	case front:
		return learned(usuals(w.in.History, name, name), w.cfg.PriorDwellS, w.cfg)
	case k+1 < len(w.beams):
		next := w.in.Stages[w.beams[k+1].stage].Name
		return learned(usuals(w.in.History, name, next), w.cfg.PriorTransitS, w.cfg)
	default:
		return guess(w.cfg.PriorTransitS, w.cfg)
	}
}

// relearn fits the laws and the beams' miss rates to the pieces that were followed.
func (w *way) relearn(all []journey) {
	seen := make([][]took, len(w.laws))
	missed, passed := make([]float64, len(w.beams)), make([]float64, len(w.beams))
	for i, j := range all {
		for n, v := range j.visits {
			if w.free(all, i, v) > v.from || w.blind(v.from, v.to) {
				continue // it waited for the piece ahead, or nobody knows
			}
			k, front := inFront(v.slot)
			if front {
				passed[k]++
				if !v.onward || j.started(w, n) {
					continue
				}
				x := w.clocks[v.slot].onward(w.waits(v.slot, v.from, v.to), v.to)
				if w.overlaps(v) {
					seen[v.slot+1] = append(seen[v.slot+1], took{x: x, done: true})
				} else {
					seen[v.slot] = append(seen[v.slot], took{x: x, done: v.next > v.slot})
				}
				continue
			}
			if v.onward && n > 0 {
				x := w.dwellShare(k, v.dwell) + w.driven(v.slot, v.from, v.clear).onward(w.waits(v.slot, v.from, v.to), v.to)
				seen[v.slot] = append(seen[v.slot], took{x: x, done: v.next == v.slot+1})
			}
		}
		for _, k := range j.missed {
			missed[k]++
		}
	}
	for slot := range w.laws {
		k, _ := inFront(slot)
		w.laws[slot] = fit(seen[slot], w.past(slot), w.beams[k].step/2, w.cfg)
	}
	w.chain()
	const weight = 30 // passes that MissRate is worth
	for k := range w.left {
		w.left[k] = min((missed[k]+weight*w.cfg.MissRate)/(missed[k]+passed[k]+weight), 0.5)
	}
}

// credit raises how far a block is taken for a piece when it lasted as long as pieces
// usually stay in front of that beam, which chatter would only by chance.
func (w *way) credit() {
	for k := range w.beams {
		l := w.laws[slotOf(k)]
		for i := range w.beams[k].blocks {
			b := &w.beams[k].blocks[i]
			if b.atStart || b.open || b.real < 0.2 || l.n < 1 {
				continue
			}
			d := 2 * schemas.Seconds(b.to-b.from) / w.cfg.BlockS
			x := w.floor(w.clocks[slotOf(k)].onward(b.from, b.to), k)
			likelier := math.Exp(l.dist.LogProb(math.Log(x))) / (d * d * math.Exp(-d)) // than a block of any length
			yes := b.real * min(max(likelier, 1), 20)
			b.real = yes / (yes + max(1-b.real, 1e-12))
		}
	}
}

// overlaps is whether a piece reached the next beam while its own was still blocked: it is
// longer than the way between, or another one follows in contact. When it left its beam is
// then not known, and the time until the next is what tells.
func (w *way) overlaps(v visit) bool {
	_, front := inFront(v.slot)
	return front && v.next == v.slot+2 && v.how == onward
}

// started is whether visit n is a piece that was in the path before the log began.
func (j *journey) started(w *way, n int) bool {
	v := j.visits[n]
	k, _ := inFront(v.slot)
	return n == 0 && v.blk >= 0 && w.beams[k].blocks[v.blk].atStart
}

// free is from when on the way ahead of a visit was free: a piece cannot pass the one
// ahead of it, and one that stands behind another is not stuck by itself.
func (w *way) free(all []journey, i int, v visit) int64 {
	from := v.from
	for n, j := range all {
		if n == i {
			continue
		}
		for _, u := range j.visits {
			ahead := u.slot > v.slot || u.slot == v.slot && u.from <= v.from && n < i
			if !ahead || u.slot > v.slot+1 {
				continue
			}
			if shared := min(u.to, v.to) - max(u.from, from); shared > w.passing(u.slot) {
				from = max(from, min(u.to, v.to))
			}
		}
	}
	return from
}

// leader is the piece that stood ahead of another one for most of its stand.
type leader struct {
	near  bool // in the same stretch or at the beam that ends it, else one slot further
	stuck bool // by a jam of its own
	went  bool // it went on from there when the other one did
}

// ahead finds the piece that stood next ahead of a stand; ok is false when none did.
func (w *way) ahead(all []journey, i int, s *stand, known []found) (l leader, ok bool) {
	for n, j := range all {
		for _, u := range j.visits {
			d := u.slot - s.slot
			if n == i || d < 0 || d > 2 || d == 0 && n > i {
				continue
			}
			if 2*(min(u.to, s.end)-max(u.from, s.start)) > s.end-s.start && (!ok || !l.near) {
				gap := w.driven(s.slot, s.visit.from, s.clear).onward(u.to, s.to)
				together := u.how != stays && s.how != stays && u.to <= s.to+w.passing(u.slot) && gap <= s.law.in95
				l, ok = leader{near: d < 2, went: together, stuck: w.stuck(known, n+1, s)}, true
			}
		}
	}
	return l, ok
}

// stuck is whether a piece was in a jam for most of a stand.
func (w *way) stuck(known []found, piece int, s *stand) bool {
	for _, f := range known {
		a, b := schemas.Micros(f.jam.StartS), schemas.Micros(f.jam.EndS)
		if f.piece == piece && f.jam.Confidence >= w.cfg.Believe && 2*(min(b, s.end)-max(a, s.start)) > s.end-s.start {
			return true
		}
	}
	return false
}

// passing is how long, in µs by the wall, a piece at most shares a slot's neighbourhood
// with the one behind it when both are moving.
func (w *way) passing(slot int) int64 {
	l := w.laws[slot]
	return max(300_000, int64(1e6*l.in95))
}
