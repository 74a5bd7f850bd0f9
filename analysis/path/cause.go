package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// cause is the kind of jam the evidence speaks for, as schemas/README.md defines them: at the
// gate; two pieces wedged; a roller that stood with the piece for most of the time it was driven
// (locked), or turned on under it (slipping). Where it did now this, now that, the place is all
// there is to tell.
func (s *stand) cause(w *way) string {
	const most, little = 0.6, 0.3
	_, front := inFront(s.slot)
	share := s.stoodShare()
	switch {
	case s.slot >= w.wait:
		return schemas.JamAtGate
	case s.pair:
		return schemas.JamWedgedPair
	case share > most:
		return schemas.JamLocked
	case share < little:
		return schemas.JamSlipping
	case !front && (!math.IsNaN(share) || s.slot >= 0):
		return schemas.JamBetweenBeams
	default:
		return ""
	}
}

// stoodShare is the share of the driven time of a jam in which its roller stood, the moment
// left out in which it ran down; NaN where the log does not tell.
func (s *stand) stoodShare() float64 {
	m := s.motor
	if m == nil {
		return math.NaN()
	}
	stood, driven := 0, 0
	for k := series.From(m.t, s.start+schemas.Micros(runDownS)); k < len(m.t) && m.t[k] < s.end; k++ {
		still, ok := m.still(k)
		if !ok {
			continue
		}
		if driven++; still {
			stood++
		}
	}
	if driven == 0 {
		return math.NaN()
	}
	return float64(stood) / float64(driven)
}

// runDownS is how long a roller takes to run down once it is held, s; chosen by us.
const runDownS = 0.25

// still is whether the roller stood at sample k although driven; without a speed, whether the
// motor drew what a slipping one hardly does. ok is false when it was not driven or the log
// does not tell.
func (m *motor) still(k int) (still, ok bool) {
	const (
		slow = 0.1 // of its speed: what noise and steps of a reading make of standing
		high = 2.7 // times what it draws when pieces pass: between a slipping and a locked motor
	)
	if r := m.drive.ratio[k]; !math.IsNaN(r) {
		return r < slow, m.clock.rate[k] > 0
	}
	a := m.drive.amps[k]
	return a+offset > high*math.Exp(m.amps.Mu), m.settled[k] && !math.IsNaN(a) && !math.IsNaN(m.amps.Mu)
}

// wedged is whether a jammed piece and another one had come in contact, one close behind the
// other, and were together when it stopped: pieces that pass so do not stop, and one that
// only runs up to a stuck piece comes later.
func (w *way) wedged(all []journey, i int, s *stand) bool {
	const (
		close = 150_000 // µs between one leaving a beam and the next coming to it
		soon  = 300_000 // µs
	)
	if s.slot >= w.wait {
		return false
	}
	for _, n := range []int{i - 1, i + 1} {
		if n < 0 || n >= len(all) {
			continue
		}
		first, second := all[min(i, n)], all[max(i, n)]
		together := slices.ContainsFunc(all[n].visits, func(u visit) bool {
			return u.slot >= s.slot-1 && u.slot <= s.slot+1 && u.slot < w.wait && u.from < s.start+soon && u.to > s.start+soon
		})
		if together && behindBy(first, second, s.start) < close {
			return true
		}
	}
	return false
}

// behindBy is the time between one piece leaving a beam and the next coming to it, at the last
// beam that saw both come before a time; as good as infinite when none did.
func behindBy(first, second journey, before int64) int64 {
	out := int64(math.MaxInt64)
	for _, v := range second.visits {
		if _, front := inFront(v.slot); !front || !v.onward || v.from > before {
			continue
		}
		for _, u := range first.visits {
			if u.slot == v.slot && u.from <= v.from {
				out = v.from - u.to
			}
		}
	}
	return out
}
