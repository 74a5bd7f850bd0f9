package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

type phase int

const (
	toPickup phase = iota
	collecting
	backingOff
	toGoal
	aligning
	placing
	toPlatform
	climbing
	onPlatform
	comingDown // from the platform
	goingRound // it, back to the field
	parked
)

// driver is the person (in the autonomous period the program in its place) who drives:
// to the pickup zone, take, to the goal backwards, line up, place, and to the platform at the
// end.
type driver struct {
	r     random
	phase phase
	react float64 // s, until when nothing new is done

	trip     int     // how many times a piece was fetched, the one under way included
	pieces   int     // wanted on this trip
	lookAt   float64 // y aimed for when taking
	misses   int     // times still to miss on purpose
	top      float64 // m/s wanted on this trip
	liftFrom float64 // x from which the lift goes up
	hasty    bool
	backing  bool    // makes room before the platform
	wait     float64 // s it stops before taking, for a piece to lie right

	goodFor  float64 // s inside the aim
	settle   float64 // s it wants to see it there
	forward  float64 // sticks
	turn     float64
	shakeF   float64
	shakeT   float64
	trouble  *trouble
	easeTill float64 // s, drives gently until then: it felt the robot cut out
	trips    int
	climbs   climbs
}

func newDriver(r random) *driver {
	d := &driver{r: r}
	d.start(toPickup, 0)
	return d
}

// start begins a phase after the driver's reaction.
func (d *driver) start(p phase, now float64) {
	d.phase = p
	d.react = now + d.r.delay(0.22, 0.3)
	d.goodFor, d.settle = 0, d.r.delay(0.35, 0.6)
}

// plan decides on the next trip.
func (d *driver) plan(w *world) {
	d.trip++
	plan := w.scenario.trips[d.trip]
	d.pieces = max(1, min(plan.pieces, len(w.program.feed.rests)))
	d.misses = plan.misses
	d.lookAt = w.field.next.y + d.r.normal(0, 0.035)
	if d.misses > 0 {
		d.lookAt += math.Copysign(0.30, d.r.Float64()-0.5)
	}
	d.top = d.r.normal(2.85, 0.2)
	d.liftFrom = d.r.normal(11.4, 0.2)
	d.wait = d.r.delay(0.25, 0.7)
	d.hasty = plan.hasty
	if d.hasty {
		d.liftFrom = 0
	}
}

func (d *driver) look(w *world) {
	const dt = people * step
	if w.mode() == schemas.ModeDisabled {
		d.forward, d.turn = 0, 0
		w.program.forward, w.program.turn = 0, 0
		w.program.release, w.program.intake, w.program.levelling = false, false, false
		return
	}
	if d.trip == 0 {
		d.plan(w)
	}
	if w.supply.trips > d.trips {
		d.trips, d.easeTill = w.supply.trips, w.now()+d.r.delay(1.6, 0.3)
	}
	forward, turn := 0.0, 0.0
	if w.now() >= d.react {
		forward, turn = d.act(w)
	}
	human := w.mode() == schemas.PeriodDriver
	shake, quick := 0.008, 1.0/0.32
	if human {
		shake, quick = 0.035, 1.0/w.scenario.stick
		if d.hasty && d.phase == toGoal {
			quick = 1.0 / 0.15
		}
	}
	d.shakeF += (-d.shakeF/0.4)*dt + shake*math.Sqrt(2*dt/0.4)*d.r.NormFloat64()
	d.shakeT += (-d.shakeT/0.4)*dt + shake*math.Sqrt(2*dt/0.4)*d.r.NormFloat64()
	if forward != 0 {
		forward += d.shakeF
		turn += d.shakeT
	}
	if w.now() < d.easeTill && w.now() > d.easeTill-1.3 {
		forward = clamp(forward, 0.62)
	}
	d.forward += clamp(clamp(forward, 1)-d.forward, quick*dt)
	d.turn += clamp(clamp(turn, 0.6)-d.turn, 1.5*quick*dt)
	w.program.forward, w.program.turn = d.forward, d.turn
}

// act is what the sticks should do in this phase; it also moves on to the next.
func (d *driver) act(w *world) (forward, turn float64) {
	c, now := w.chassis, w.now()
	w.program.intake = (d.phase == toPickup && c.x < 3.4 || d.phase == collecting) && w.path.count() < d.pieces
	w.program.release = d.phase == placing
	w.program.levelling = d.phase == onPlatform && d.levels(w)
	switch d.phase {
	case toPickup:
		x := w.field.next.x + reach
		if c.x < x+0.75 {
			d.phase, d.react = collecting, now+d.wait
		}
		return d.towards(w, x+0.25, d.lookAt, d.top, false)
	case collecting:
		return d.collect(w)
	case backingOff:
		if c.x > w.field.next.x+reach+0.75 {
			d.lookAt = w.field.next.y + d.r.normal(0, 0.035)
			d.misses--
			if d.misses > 0 {
				d.lookAt += math.Copysign(0.30, d.r.Float64()-0.5)
			}
			d.start(collecting, now)
		}
		return d.speed(w, -0.9), 0
	case toGoal:
		if len(w.path.pieces) == 0 {
			d.leave(w) // lost on the way
			return 0, 0
		}
		if math.Abs(w.field.aim.x-c.x) < 0.30 && math.Abs(c.v) < 0.8 {
			d.phase = aligning
		}
		top := d.top
		if d.hasty {
			top = 3.4
		}
		return d.towards(w, w.field.aim.x, w.field.aim.y, top, true)
	case aligning:
		return d.align(w)
	case placing:
		if len(w.path.pieces) == 0 {
			d.leave(w)
		} else if w.mode() == schemas.PeriodDriver && w.scenario.climbS > 0 && w.bell-now < 21 && w.operator.pressed > 3 {
			d.start(toPlatform, now) // it does not come out
		}
		return 0, 0
	case toPlatform:
		return d.approach(w)
	case climbing:
		return d.climb(w)
	case onPlatform:
		return d.balance(w)
	case comingDown:
		return d.comeDown(w)
	case goingRound:
		return d.goRound(w)
	default: // parked
		return 0, 0
	}
}

// collect drives slowly onto the piece until it is in.
func (d *driver) collect(w *world) (forward, turn float64) {
	c, now := w.chassis, w.now()
	if d.take(w) {
		if w.path.count() < d.pieces {
			w.field.another()
			d.lookAt = w.field.next.y + d.r.normal(0, 0.03)
			return d.speed(w, 0.5), 0
		}
		if d.trouble != nil {
			d.trouble.end = now
			w.troubles = append(w.troubles, *d.trouble)
			d.trouble = nil
		}
		w.field.offer()
		w.field.choose()
		d.start(toGoal, now)
		return 0, 0
	}
	if n := w.path.count(); n > 0 && n == d.pieces {
		d.start(toGoal, now)
		return 0, 0
	}
	if c.x < w.field.next.x+reach-0.12 || c.x < reach+0.02 { // drove past it: missed
		if d.trouble == nil {
			d.trouble = &trouble{why: "collect", start: now}
		}
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
		return false
	}
	if w.scenario.path.touch(w) {
		return false
	}
	c := newPiece(w.field.r)
	if plan := w.scenario.trips[d.trip]; plan.catch != nil {
		c.catch = plan.catch(w.field.r)
	}
	w.scenario.fit(w, c)
	w.path.admit(c, math.Max(0.1, w.chassis.v))
	return true
}

// align creeps to the aiming point, and places once lift and piece are there too.
func (d *driver) align(w *world) (forward, turn float64) {
	const dt = people * step
	c, now := w.chassis, w.now()
	if len(w.path.pieces) == 0 {
		d.leave(w) // it was lost on the way
		return 0, 0
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
	ready := w.operator.onItsWay(w) == nil && w.armThere(d.goodFor-d.settle)
	if d.goodFor > d.settle && ready {
		d.start(placing, now)
		return 0, 0
	}
	along := w.field.aim.x - c.x // the robot faces down the field: forward is less x
	if math.Abs(along) > 0.02 {
		forward = d.speed(w, clamp(-2.2*along, 0.5))
	}
	if aside := w.field.aside(c); math.Abs(aside) > 0.015 {
		turn = clamp(1.6*aside, 0.25) - 0.10*c.yaw
		turn += math.Copysign(0.08, aside) // scrub of the wheels
	}
	return forward, turn
}

// leave is what comes after placing: another trip, or the platform.
func (d *driver) leave(w *world) {
	if d.endgame(w) {
		d.start(toPlatform, w.now())
		return
	}
	d.plan(w)
	d.start(toPickup, w.now())
}
