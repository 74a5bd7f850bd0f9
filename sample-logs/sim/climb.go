package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// try is what the driver does on one visit to the platform.
type try struct {
	touches bool    // turns back at once
	touch   float64 // m that the front wheels are up then; below 0 before they are
	over    bool    // drives on over the far end
	mostS   float64 // s on the board after which it comes down again; 0 for good
	levelS  float64 // s of level after which it does
	letGoS  float64 // s of level after which the levelling button is let go of
	stalled bool    // has the wheels held still in place of levelling
}

// byHand is a driver who levels with the sticks.
type byHand struct {
	late  float64 // s from what is seen to what is done
	gain  float64 // stick per degree
	rate  float64 // stick per degree a second
	blind float64 // deg that are not seen
	most  float64 // stick
}

// climbs is how far the driver has come with the plan for the platform.
type climbs struct {
	n     int     // visits that are over
	since float64 // s, when it was up
	level float64 // s it has been level since
	tilts []float64
	auto  bool // been there in the autonomous period
}

// endgame says whether it is time to go to the platform.
func (d *driver) endgame(w *world) bool {
	if at := w.scenario.balance.autoAtS; at > 0 && w.mode() == schemas.PeriodAutonomous && !d.climbs.auto {
		d.climbs.auto = w.now()-w.scenario.leadS >= at
		return d.climbs.auto
	}
	return w.mode() == schemas.PeriodDriver && w.scenario.climbS > 0 && w.bell-w.now() < w.scenario.climbS
}

// approach drives to the foot of the platform, straight before it.
func (d *driver) approach(w *world) (forward, turn float64) {
	c := w.chassis
	if d.goesOn(w) {
		return 0, 0
	}
	if c.x < w.platform.x+w.platform.half+0.9 && math.Abs(c.y-w.platform.y) < 0.45 {
		d.start(climbing, w.now())
		return d.forward, 0
	}
	if c.x < w.platform.x+w.platform.half+0.7 || d.backing && c.x < 11.5 { // too far already
		d.backing = true
		return d.towards(w, 12.2, w.platform.y-1.2, 2.0, true)
	}
	d.backing = false
	return d.line(w, w.platform.y, 2.2)
}

// try is the plan for the visit under way.
func (d *driver) try(w *world) try {
	if plan := w.scenario.balance.tries; d.climbs.n < len(plan) && w.mode() != schemas.PeriodAutonomous {
		return plan[d.climbs.n]
	}
	return try{}
}

// climb drives up, until the robot has the levelling to do or the visit is over.
func (d *driver) climb(w *world) (forward, turn float64) {
	c, now, t := w.chassis, w.now(), d.try(w)
	s := w.platform.along(c)
	front := s + c.wheelbase/2 + w.platform.half // m the front wheels are up
	top := 1.1
	switch {
	case d.goesOn(w):
		return 0, 0
	case t.touches && front > t.touch:
		d.phase = comingDown // a quick one: no time to think
		return d.speed(w, -1), 0
	case t.over:
		top = 1.5
		if s > 0 && w.body.tilt() > -6 {
			top = 0.35 // until the board has tipped
		}
		if s > w.platform.half+0.8 {
			d.visited(w)
			return 0, 0
		}
	case s > -0.55 && w.body.tilt() > 7:
		d.climbs.since, d.climbs.level, d.climbs.tilts = now, 0, nil
		d.start(onPlatform, now)
	}
	return d.line(w, w.platform.y, top)
}

// levels says whether the program levels the robot.
func (d *driver) levels(w *world) bool {
	t := d.try(w)
	if t.stalled || t.letGoS > 0 && d.climbs.level > t.letGoS {
		return false
	}
	return w.scenario.balance.hand == nil || w.mode() != schemas.PeriodDriver
}

// balance watches the leveller, or does its work.
func (d *driver) balance(w *world) (forward, turn float64) {
	const dt = people * step
	tilt, t := w.body.tilt(), d.try(w)
	if math.Abs(tilt) < levelDeg {
		d.climbs.level += dt
	}
	if d.goesOn(w) {
		return 0, 0
	}
	if t.mostS > 0 && w.now()-d.climbs.since > t.mostS || t.levelS > 0 && d.climbs.level > t.levelS {
		d.start(comingDown, w.now())
		return 0, 0
	}
	if d.levels(w) || t.stalled || w.scenario.balance.hand == nil {
		return 0, 0
	}
	return d.stick(w, tilt), 0
}

// stick is the stick that a driver answers a tilt with, that of a while ago.
func (d *driver) stick(w *world, tilt float64) float64 {
	const dt = people * step
	h := w.scenario.balance.hand
	w.stuck = append(w.stuck, w.begin+w.now())
	d.climbs.tilts = append(d.climbs.tilts, tilt)
	n := len(d.climbs.tilts) - 1 - int(h.late/dt)
	if n < 5 {
		return 0
	}
	seen, was := d.climbs.tilts[n], d.climbs.tilts[n-5]
	if math.Abs(seen) < h.blind {
		return 0
	}
	return clamp(h.gain*seen+h.rate*(seen-was)/(5*dt), h.most)
}

// goesOn leaves the platform when the autonomous visit is over: the driver period has work.
func (d *driver) goesOn(w *world) bool {
	if !d.climbs.auto || d.climbs.n > 0 || w.mode() != schemas.PeriodDriver || w.bell-w.now() < 60 {
		return false
	}
	d.start(comingDown, w.now())
	return true
}

// comeDown backs off the near end.
func (d *driver) comeDown(w *world) (forward, turn float64) {
	c := w.chassis
	if w.platform.along(c) < -w.platform.half-1.0 {
		if w.mode() == schemas.PeriodDriver && w.bell-w.now() > 60 {
			d.start(goingRound, w.now())
			return 0, 0
		}
		d.visited(w)
		return 0, 0
	}
	return d.speed(w, -1), clamp(0.8*wrap(math.Pi-c.heading), 0.3) - 0.12*c.yaw
}

// visited ends a visit: another, or no more.
func (d *driver) visited(w *world) {
	d.climbs.n++
	if w.platform.along(w.chassis) < 0 && d.climbs.n < len(w.scenario.balance.tries) {
		d.start(toPlatform, w.now())
		return
	}
	d.start(parked, w.now())
}

// goRound takes the robot back to where its trips begin, round the platform.
func (d *driver) goRound(w *world) (forward, turn float64) {
	c := w.chassis
	if c.y < w.platform.y-w.platform.halfWidth-1.2 {
		d.leave(w)
		return 0, 0
	}
	return d.towards(w, w.platform.x+w.platform.half+1.2, 2.2, 1.8, false)
}
