package path

import (
	"math"
	"math/rand/v2"
)

// player is the driver and the robot's own code.
type player struct {
	*robot
	rnd     *rand.Rand
	jamRate float64
	cap     int
	made    int
	until   float64 // of the phase
	phase   int
	noticed float64 // when it saw the jam it is now working on
	worked  *stuckAt
	style   int
}

const (
	driving = iota
	taking
	carrying
	releasing
)

func (d *player) act() {
	full := d.full
	d.open = d.phase == releasing
	if stuck := d.stuckPiece(); stuck != nil {
		d.clearJam(stuck)
		return
	}
	d.worked = nil
	switch d.phase {
	case driving:
		if d.t > d.until {
			d.phase, d.until = taking, d.t+1+4*d.rnd.Float64()
		}
	case taking:
		if last := d.rear(); len(d.pieces) < d.cap && (last == nil || last.front > 0.75*d.zone[1]+d.length) && d.rnd.Float64() < 0.004 {
			d.made++
			p := d.enter(d.made)
			d.planJams(p)
		}
		if d.t > d.until && len(d.pieces) > 0 && d.rear().front > d.zone[1] || d.t > d.until+6 {
			d.phase, d.until = carrying, d.t+1+3*d.rnd.Float64()
			if len(d.pieces) == 0 {
				d.phase, d.until = driving, d.t+1
			}
		}
	case carrying:
		if d.t > d.until {
			d.phase, d.until = releasing, d.t+5
		}
	case releasing:
		if len(d.pieces) == 0 || d.t > d.until {
			d.phase, d.until = driving, d.t+1+3*d.rnd.Float64()
		}
	}
	if d.phase == taking {
		d.command[0] = full
	}
	d.convey(full)
}

func (d *player) rear() *loadedPiece {
	if len(d.pieces) == 0 {
		return nil
	}
	return d.pieces[len(d.pieces)-1]
}

// convey runs the stages under pieces until the first stands at the gate, and each piece
// behind it up to its beam, as long as the next one is taken. It knows of a piece only which
// beam it reached last.
func (d *player) convey(full float64) {
	last := d.stages() - 1
	next := math.MaxInt
	for n, p := range d.pieces {
		e := d.reached(p)
		to := min(e+1, last)
		for to < last && math.IsNaN(d.eye[to]) {
			to++
		}
		switch {
		case n == 0 && d.phase == releasing:
			for i := max(e, 0); i <= last; i++ {
				d.command[i] = full
			}
		case e == last:
			d.command[last] = max(d.command[last], d.press)
		case next <= to && e >= 0:
			// held until the next beam is free
		default:
			for i := max(e, 0); i <= to; i++ {
				d.command[i] = max(d.command[i], full)
			}
		}
		next = e
	}
	if d.together && d.phase == taking && (len(d.pieces) == 0 || d.reached(d.pieces[0]) < last) {
		for i := range d.command {
			d.command[i] = full
		}
	}
}

// reached is the last stage whose beam a piece has come to, -1 before the first; the last
// stage counts as reached at the gate when it has no beam.
func (d *player) reached(p *loadedPiece) int {
	last := d.stages() - 1
	for i := last; i >= 0; i-- {
		eye := d.eye[i]
		if i == last && math.IsNaN(eye) {
			eye = d.gate - 0.03
		}
		if p.front >= eye {
			return i
		}
	}
	return -1
}

func (d *player) planJams(p *loadedPiece) {
	for i := range d.stages() {
		if d.rnd.Float64() > d.jamRate {
			continue
		}
		lo, hi := d.zone[i], d.zone[i+1]
		if i == 0 {
			lo = d.eye[0] + 0.01
			if math.IsNaN(lo) {
				lo = d.zone[0] + 0.1
			}
		}
		s := stuckAt{piece: p.n, at: lo + (hi-lo)*d.rnd.Float64(), locks: d.rnd.Float64() < 0.7, holds: 0.35 + 3*d.rnd.ExpFloat64()}
		switch k := d.rnd.IntN(10); {
		case k < 4:
			s.frees = 0.2 + 0.3*d.rnd.Float64()
			s.holds = 100
		case k == 4:
			s.holds = 1000
		case k == 5:
			s.holds, s.brief = 0.02+0.2*d.rnd.Float64(), true
		}
		d.plan = append(d.plan, s)
		return
	}
}

func (d *player) stuckPiece() *loadedPiece {
	for _, p := range d.pieces {
		if p.stuck != nil {
			return p
		}
	}
	return nil
}

// clearJam is what a driver does about a stuck piece: nothing at first, then stop, reverse
// and try again.
func (d *player) clearJam(p *loadedPiece) {
	if d.worked != p.stuck {
		d.worked, d.noticed, d.style = p.stuck, d.t+0.6+1.5*d.rnd.Float64(), d.rnd.IntN(3)
	}
	d.convey(d.full)
	i := d.stageAt(p.front - 0.5*d.length)
	if d.t < d.noticed {
		return
	}
	since := math.Mod(d.t-d.noticed, 2.2)
	switch {
	case since < 0.3:
		clear(d.command)
	case since < 0.9 && d.style != 0:
		clear(d.command)
		for k := max(i-1, 0); k <= i; k++ {
			d.command[k] = -0.7
		}
	case since > 1.9:
		clear(d.command)
	}
}
