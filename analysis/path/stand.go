package path

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// stand is a visit looked at as a possible jam.
type stand struct {
	visit
	from    int64   // since when the piece could have moved: the way ahead free, the wait over
	until   int64   // up to when it surely was there
	x       float64 // driven seconds it took, or has taken so far
	law     law     // what is usual for this piece
	all     law     // and for all pieces
	done    bool    // it went on, so x is all it took
	shown   int     // the first beam ahead that would have shown it
	move    float64 // driven seconds of moving that the slot takes
	stage   int
	motor   *motor
	amps    float64 // mean over the time it should have been gone, NaN unknown
	ratio   float64
	lock    float64 // log-odds of a locked motor
	strain  float64 // log-odds of a jam by the motors' hardest moments, NaN unknown
	shift   float64 // log-odds of a jam by how the motors' load changed meanwhile, NaN unknown
	hardest moment  // of the motor that says most
	times   float64 // its current over that of undisturbed visits' hardest moments
	start   int64   // when progress stopped
	low     int64   // not before
	high    int64   // not after
	end     int64
	timed   bool // start is what the motor shows
	company bool // another piece was near
	waited  bool // it went once the piece ahead had gone
	stood   bool // its roller did, since still
	still   int64
	pair    bool    // another piece is wedged with it
	turned  int     // reversals from start to end
	later   bool    // if it was backed, it went on past here later
	pace    pace    // how its piece went elsewhere
	load    float64 // the part of weighed that tells of the motor and of the driver's answer
	credit  float64 // probability that there was a piece at all
	weighed []schemas.Weighed
}

// look measures a visit; ok is false when nothing about it asks for a second look.
func (w *way) look(all []journey, i int, v visit, p pace, motors []motor) (s stand, ok bool) {
	s = stand{visit: v, pace: p}
	s.from, s.until = w.surely(v)
	s.from = max(s.from, w.free(all, i, v), w.waits(v.slot, v.from, v.to))
	s.until = max(s.until, s.from)
	if s.to-s.visit.from < schemas.Micros(w.cfg.MinJamS) {
		return s, false // too short to hold a jam
	}
	s.shown = w.shows(all, v)
	w.measure(&s)
	if s.from > s.visit.from && s.slot < w.wait && s.x <= s.law.within(in80) {
		s.from, s.waited = s.visit.from, true // it went once the way ahead was free: if it was stuck, then before
		w.measure(&s)
	}
	s.chooseMotor(w, all, i, motors)
	quick := s.x <= s.law.within(in80) && s.lock < 2 && !(s.strain > 2)
	if quick && (s.done || s.slot >= w.wait) {
		return s, false // gone in its usual time, and no motor stood
	}
	s.begin(w, motors)
	if quick && !(s.shift > 1) {
		return s, false // not there long enough to have gone on, and no motor told of a stop
	}
	s.finish(w)
	s.turned = turns(w.push[s.slot/2], s.start, s.end+1) // that which ended it, too
	if s.motor != nil {
		s.turned = max(s.turned, turns(s.motor.clock, s.start, s.end+1))
	}
	return s, s.end-s.start >= schemas.Micros(w.cfg.MinJamS) // a shorter stop is no jam
}

// shows is the first beam beyond a visit's stretch that would have shown its piece: none that
// was blind then, or told nothing; the number of beams without any.
func (w *way) shows(all []journey, v visit) int {
	k := v.slot/2 + 1
	for k < len(w.beams) && (w.blindAt(all, k, v.from) || w.hides(k, v.from, v.to)) {
		k++
	}
	return k
}

// reach is the stages that may hold the piece of a stand: those of its visit, and up to the beam
// that would have shown it.
func (w *way) reach(s *stand) (first, last int) {
	first, last = w.span(s.visit)
	if _, front := inFront(s.slot); !front && !s.done && s.how != lost {
		_, beyond := w.stages(slotOf(s.shown) - 1)
		last = max(last, beyond)
	}
	return first, last
}

// measure sets how long the visit took against what is usual.
func (w *way) measure(s *stand) {
	k, front := inFront(s.slot)
	c := w.driven(s.slot, s.visit.from)
	s.law = w.lawWithout(s.slot, s.visit.from)
	s.x = max(c.onward(s.from, s.until)-s.undone, 0)
	s.done = s.next > s.slot && s.how != lost
	s.move = s.law.usual()
	if front && s.slot < w.last && (w.overlaps(s.visit) || s.law.n < 1 && s.slot < w.wait && w.laws[s.slot+1].n >= 1) {
		s.law = w.lawWithout(s.slot+1, s.visit.from)
		s.move = s.law.usual()
	}
	if front && s.slot >= w.wait && s.from == s.visit.from && k > 0 {
		// It was never let stand, so that its whole length lay ahead, and not only the rest of
		// one that waits in front of the beam: what it took at the beam before is usual then.
		if whole := w.lawWithout(slotOf(k-1), s.visit.from); whole.n >= 1 && whole.usual() > s.law.usual() {
			s.law = whole
			s.move = s.law.usual()
		}
	}
	if !front {
		dwell := w.laws[slotOf(k)]
		if s.visit.onward && s.from == s.visit.from {
			s.x += w.dwellShare(k, s.dwell)
		} else {
			s.x += dwell.usual()
		}
		s.move = max(s.law.usual()-dwell.usual(), 0.1*s.law.usual())
		if to := s.next / 2; s.done && to > k+1 && to < len(w.beams) { // beams that missed it
			s.law = w.ways[k][to]
		}
	}
	if s.from > s.visit.from && s.slot < w.wait {
		s.x -= w.cfg.SettleS // it started from rest
	}
	s.x = w.floor(s.x, k)
	if s.all = s.law; s.slot < w.wait {
		s.law = s.law.of(s.pace)
	}
}

// chooseMotor picks, of the stages that may hold the piece, the one whose motor says most.
func (s *stand) chooseMotor(w *way, all []journey, n int, motors []motor) {
	first, last := w.reach(s)
	s.stage = first
	for i := first; i <= last; i++ {
		if w.in.Stages[i].Sensor == nil && i > first && i < last {
			s.stage = i // no beam saw it: most likely where none is
			break
		}
	}
	if s.slot >= w.wait {
		s.stage = len(w.in.Stages) - 1
		first, last = s.stage, s.stage
	}
	s.company = company(all, n, s.visit)
	s.amps, s.ratio, s.shift = math.NaN(), math.NaN(), math.NaN()
	late := w.driven(s.slot, s.visit.from).after(s.from, s.move)
	best := -1
	for i := first; i <= last; i++ {
		odds, amps, ratio := motors[i].locked(late, s.to)
		if math.IsNaN(amps) && math.IsNaN(ratio) {
			continue
		}
		if best < 0 || odds > s.lock {
			best, s.lock, s.amps, s.ratio = i, odds, amps, ratio
		}
	}
	s.strain = math.NaN()
	if best < 0 {
		return
	}
	s.motor = &motors[best]
	if s.lock > 1 {
		s.stage = best
	}
	if s.slot >= w.wait { // what it draws while it waits says nothing, and it has no passes to compare with
		by, _ := s.motor.any().weighed(moment{amps: math.Log(s.amps + offset), ratio: s.ratio})
		s.strain, s.hardest, s.times = min(by.jam, mostStrain), by.at, by.times
		return
	}
	if by, stage, ok := w.strained(s, motors); ok {
		s.strain, s.hardest, s.times = by.jam, by.at, by.times
		if by.jam > 1 && s.lock <= 1 {
			s.stage, s.motor = stage, &motors[stage]
			_, s.amps, s.ratio = s.motor.locked(late, s.to)
		}
	}
}

// finish estimates when the piece moved again: when its motor turned again, or as long
// before it was seen elsewhere as the rest of the way takes.
func (s *stand) finish(w *way) {
	c := w.driven(s.slot, s.visit.from)
	s.end = s.to
	if s.how == stays || s.how == takenOut || s.how == lost || s.next == s.slot {
		return
	}
	// When it moved again, if not later: had it moved before the driver reversed last, that would
	// have brought it back. A motor that had stood tells it better.
	turned, stood := w.clocks[s.slot].reversal(s.start, s.to), false
	if s.lock > 1 {
		if _, _, until, ok := s.motor.stood(s.start, s.to, s.amps); ok {
			turned, stood = until, true
		}
	}
	part := min(c.onward(s.from, s.start)/s.move, 1) // of the slot already behind it
	if s.next < s.slot {
		s.end = max(w.push[s.slot/2].returning(s.to, part*s.move, s.start), turned)
		return
	}
	s.end = max(c.before(s.to, (1-part)*s.move, s.start), s.start)
	if !stood {
		s.end = max(s.end, turned)
		return
	}
	if c.onward(turned, s.to) >= s.move*1.5+0.1 {
		return
	}
	s.end = turned
	if !s.timed { // it moved for as long as usual in all, before and after
		s.start = min(c.after(s.from, max(s.move-c.onward(turned, s.to), 0)), s.end)
		s.low, s.high = min(s.low, s.start), max(s.high, s.start)
	}
}

// turns counts how often a stage was reversed between two times.
func turns(c *clock, from, to int64) int {
	n, reversed := 0, false
	for i := series.From(c.t, from); i < len(c.t) && c.t[i] < to; i++ {
		if back := c.rate[i] < 0; back != reversed {
			reversed = back
			if back {
				n++
			}
		}
	}
	return n
}
