package path

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

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
			if !ahead || u.slot > max(v.slot+1, v.next) { // next is further on where a beam missed it
				continue
			}
			to := min(w.until(u), v.to)
			if shared := to - max(u.from, from); shared > w.passing(u.slot) {
				from = max(from, to)
			}
		}
	}
	return from
}

// until is how long a piece stood in the way: one that a later piece passed was not there, nobody
// knows from when on.
func (w *way) until(u visit) int64 {
	if u.how == lost {
		return u.from
	}
	return u.to
}

// passing is how long, in µs by the wall, a piece at most shares a slot's neighbourhood
// with the one behind it when both are moving.
func (w *way) passing(slot int) int64 {
	l := w.laws[slot]
	return max(300_000, int64(1e6*l.within(in95)))
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
			stuck, to := w.stuck(known, n+1, s), u.to
			if !stuck {
				to = w.until(u)
			}
			passed := !stuck && to-u.from <= w.passing(u.slot) // and did not stand there
			if !passed && 2*(min(to, s.end)-max(u.from, s.start)) > s.end-s.start && (!ok || !l.near) {
				gap := w.driven(s.slot, s.visit.from).onward(to, s.to)
				together := u.how != stays && s.how != stays && to <= s.to+w.passing(u.slot) && gap <= s.law.within(in95)
				l, ok = leader{near: d < 2, went: together, stuck: stuck}, true
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
