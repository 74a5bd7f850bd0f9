package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// collect drives slowly onto the piece until it is in.
func (d *driver) collect(w *world) (forward, turn float64) {
	c, now := w.chassis, w.now()
	d.rolls(w)
	if d.take(w) {
		d.missed, d.tooSoon = false, false
		if w.path.count() < d.pieces {
			w.field.another()
			d.lookAt = w.field.next.y + d.r.normal(0, 0.03)
			return d.speed(w, 0.5), 0
		}
		d.tookAt = c.x
		w.field.offer()
		w.field.choose()
		if d.todo.handover {
			w.field.partner(w.scenario.drive.partner)
		}
		d.start(toGoal, now)
		return 0, 0
	}
	if n := w.path.count(); n > 0 && n == d.pieces {
		d.missed = false
		d.start(toGoal, now)
		return 0, 0
	}
	if c.x < w.field.next.x+reach-0.12 || c.x < reach+0.02 { // drove past it: missed
		d.missed, d.tooSoon = !d.tooSoon, false
		d.start(backingOff, now)
		return 0, 0
	}
	return d.towards(w, w.field.next.x+reach-0.4, d.lookAt, 0.95, false)
}

// take is the mouth closing on the piece: near enough, straight enough, belts running.
func (d *driver) take(w *world) bool {
	forward, left := w.chassis.ahead(w.field.next.x, w.field.next.y)
	if w.path.belts[0].surface() < 0.2 || forward > reach || math.Abs(left) > 0.15 {
		return false
	}
	if last := len(w.path.pieces) - 1; last >= 0 && w.path.pieces[last].x-w.path.pieces[last].length < 0.05 {
		d.tooSoon = w.path.pieces[last].hand == nil // the belts are too slow: nobody missed it
		return false
	}
	if w.scenario.path.touch(w) {
		return false
	}
	c := newPiece(w.field.r)
	if d.todo.catch != nil {
		c.catch = d.todo.catch(w.field.r)
	}
	w.scenario.fit(w, c)
	w.path.admit(c, max(0.1, w.chassis.v))
	return true
}

// align creeps to the aiming point, and places once lift and piece are there too.
func (d *driver) align(w *world) (forward, turn float64) {
	const dt = people * step
	c, now := w.chassis, w.now()
	if len(w.path.pieces) == 0 {
		d.loses(w, lostPiece)
		d.leave(w) // it was lost on the way
		return 0, 0
	}
	if forward, turn, on := d.outAgain(w); on {
		return forward, turn
	}
	if forward, turn, on := d.nudge(w); on {
		return forward, turn
	}
	if w.mode() == schemas.PeriodDriver && w.bell-now < 21 && w.operator.onItsWay(w) != nil {
		d.start(toPlatform, now) // no use waiting longer
		return 0, 0
	}
	if w.field.offAim(c) < goodM {
		d.goodFor += dt
	} else {
		d.goodFor = 0
	}
	there := w.armThere(d.goodFor - d.settle)
	ready := w.operator.onItsWay(w) == nil && there
	d.waits = d.goodFor > d.settle && !ready
	if d.goodFor > d.settle && ready && d.todo.nudges > 0 {
		d.todo.nudges--
		d.refines, d.goodFor = true, 0
		d.nudgeTill, d.nudgeTurn = now+d.r.delay(0.8, 0.15), math.Copysign(0.15, d.r.Float64()-0.5)
		return 0, 0
	}
	if d.goodFor > d.settle && ready && d.goodFor < d.settle+w.scenario.drive.lingerS {
		return 0, 0 // it holds the piece ready
	}
	if d.goodFor > d.settle && ready {
		d.refines = false
		d.start(placing, now)
		return 0, 0
	}
	pace := orOne(d.todo.assist) * orOne(d.todo.creep)
	along := w.field.aim.x - c.x // the robot faces down the field: forward is less x
	if math.Abs(along) > 0.02 {
		forward = d.speed(w, clamp(-2.2*pace*along, 0.5*pace))
	}
	if aside := w.field.aside(c); math.Abs(aside) > 0.015 {
		turn = clamp(1.6*pace*aside, 0.25) - 0.10*c.yaw
		turn += math.Copysign(0.08, aside) // scrub of the wheels
	}
	return forward, turn
}

// leave is what comes after placing: another trip, or the platform.
func (d *driver) leave(w *world) {
	d.refines = false
	if d.endgame(w) {
		d.start(toPlatform, w.now())
		return
	}
	d.plan(w)
	if n := w.scenario.drive.defendsFrom; n > 0 && d.trip >= n {
		d.start(defending, w.now())
		return
	}
	d.start(toPickup, w.now())
}
