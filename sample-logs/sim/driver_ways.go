package sim

import "math"

// avoid looks for another robot on the way to a point and steers round it, slower the
// nearer it is. Without one in the way nothing changes. Who is being pinned pushes on.
func (d *driver) avoid(w *world, x, y, top float64) (ax, ay, atop float64) {
	d.hindered = false
	if len(w.rivals) == 0 {
		return x, y, top
	}
	c := w.chassis
	dist := math.Hypot(x-c.x, y-c.y)
	if dist < 0.3 {
		return x, y, top
	}
	ux, uy := (x-c.x)/dist, (y-c.y)/dist
	var near *rival
	nearest := min(2.2, dist+0.3)
	for _, o := range w.rivals {
		dx, dy := o.x-c.x, o.y-c.y
		ahead, aside := dx*ux+dy*uy, dy*ux-dx*uy
		if ahead > 0.1 && ahead < nearest && math.Abs(aside) < 0.95 {
			near, nearest = o, ahead
		}
	}
	if near == nil {
		d.round = 0
		return x, y, top
	}
	d.hindered = true
	if w.pinned() {
		return x, y, top
	}
	if d.round == 0 {
		d.round = math.Copysign(1, c.y-near.y)
	}
	if want := near.y + d.round*1.15; want < 0.5 || want > laneHigh+0.4 {
		d.round = -d.round
	}
	gap := math.Hypot(near.x-c.x, near.y-c.y) - 2*bodyRadius
	top = min(top, max(0.25, math.Sqrt(2*2.5*max(0, gap-0.15))))
	px, py := near.x+0.4*ux-c.x, near.y+d.round*1.15-c.y
	far := max(1, 2/math.Hypot(px, py)) // no need to slow down for it
	return c.x + px*far, c.y + py*far, top
}

// escapes is a driver who notices that pushing leads nowhere: back a little, and another
// way.
func (d *driver) escapes(w *world) (forward, turn float64, on bool) {
	const dt = people * step
	vx, vy := w.velocity()
	switch {
	case len(w.rivals) == 0 || d.phase != toPickup && d.phase != toGoal:
		d.stuckFor = 0
		return 0, 0, false
	case w.now() < d.freeTill:
		back := -1.0
		if d.phase == toGoal {
			back = 1
		}
		return d.speed(w, back), 0.2 * d.round, true
	case w.now()-w.touched < 0.2 && math.Hypot(vx, vy) < 0.3 && !w.pinned():
		d.stuckFor += dt
	default:
		d.stuckFor = max(0, d.stuckFor-dt/2)
	}
	if d.stuckFor > 2.5 {
		d.stuckFor, d.freeTill, d.round = 0, w.now()+d.r.delay(0.9, 0.2), -d.round
	}
	return 0, 0, false
}

// stands says whether the driver has lost the robot, which then stands: once on a trip
// whose plan has it, half way.
func (d *driver) stands(w *world) bool {
	from, to := w.field.open()
	past := w.chassis.x > (from+to)/2
	out, back := d.todo.standsCarry > 0 && d.phase == toGoal && past, d.todo.standsReturn > 0 && d.phase == toPickup && !past
	if (out || back) && d.standTill == 0 {
		d.standTill = w.now() + d.todo.standsReturn + d.todo.standsCarry
	}
	return w.now() < d.standTill
}

// queues says whether the robot waits before the pickup zone until whoever is in it is done.
func (d *driver) queues(w *world) bool {
	if d.todo.queue > 0 && d.queueTill == 0 && w.chassis.x < w.field.intake+0.5 {
		d.queueTill = w.now() + d.todo.queue
	}
	return w.now() < d.queueTill
}

// rolls starts the next piece rolling when the robot comes near, and keeps the driver's eye
// on it.
func (d *driver) rolls(w *world) {
	f := w.field
	if d.todo.rolls != 0 && !d.rolled && w.chassis.x < f.next.x+reach+1.4 {
		d.rolled = true
		f.roll = spot{-0.05, d.todo.rolls}
	}
	if d.rolled {
		d.lookAt += (f.next.y - d.lookAt) * people * step / 0.4
	}
}

// spills says whether the operator runs the belts back by mistake: on a trip whose plan has
// it, once the robot has set off and while the piece is still low enough to come out. The
// piece falls out at the mouth and lies there; the driver drives on for a while before it is
// noticed, then goes back for it.
func (d *driver) spills(w *world) {
	now := w.now()
	if d.fellTill > 0 {
		if now >= d.fellTill {
			d.fellTill = 0
			d.start(toPickup, now)
		}
		return
	}
	if d.todo.drops && !d.spilling && len(w.path.pieces) == 1 && w.chassis.x > d.tookAt+0.5 && w.path.pieces[0].x < 0.9 {
		d.spilling, d.spillTill = true, now+2.5
		d.todo.drops = false
	}
	if !d.spilling {
		return
	}
	if now > d.spillTill {
		d.spilling = false // it held on
		return
	}
	if len(w.path.pieces) > 0 {
		return
	}
	d.spilling = false
	c := w.chassis
	sin, cos := math.Sincos(c.heading)
	w.field.lie(spot{c.x + (reach+0.1)*cos, c.y + (reach+0.1)*sin})
	w.program.forget(0)
	d.loses(w, lostDropped)
	d.lookAt = w.field.next.y + d.r.normal(0, 0.03)
	d.fellTill = now + d.r.delay(1.7, 0.2)
}

// nudge is a driver who spoils a good aim at the last moment: the robot moves off and has
// to line up again. It says whether that is going on.
func (d *driver) nudge(w *world) (forward, turn float64, on bool) {
	if w.now() < d.nudgeTill {
		return d.speed(w, 0.6), d.nudgeTurn, true
	}
	return 0, 0, false
}

// outAgain drives away from a goal it stands too far beside to turn to, and comes back.
func (d *driver) outAgain(w *world) (forward, turn float64, on bool) {
	if w.now() < d.awayTill {
		forward, turn = d.towards(w, w.field.aim.x-2.5, w.field.aim.y, 1.2, false)
		return forward, turn, true
	}
	if d.awayTill > 0 {
		d.awayTill = 0
		d.phase = toGoal
		return 0, 0, true
	}
	if math.Abs(w.field.aside(w.chassis)) > 0.62 {
		d.awayTill = w.now() + d.r.delay(1.8, 0.1)
		d.loses(w, lostAim)
		return 0, 0, true
	}
	return 0, 0, false
}

// defend drives about among the others, and goes to the platform when it is time.
func (d *driver) defend(w *world) (forward, turn float64) {
	c := w.chassis
	if d.endgame(w) {
		d.start(toPlatform, w.now())
		return 0, 0
	}
	if w.now() > d.turnTill || math.Hypot(d.goTo.x-c.x, d.goTo.y-c.y) < 0.4 {
		from, to := w.field.open()
		d.goTo = spot{d.r.between(from+0.5, to-0.5), d.r.between(laneLow, laneHigh)}
		d.turnTill = w.now() + d.r.between(1.5, 5)
	}
	return d.towards(w, d.goTo.x, d.goTo.y, d.top, math.Cos(c.heading)*(d.goTo.x-c.x) < 0)
}

// tap is a driver who taps: the stick is at twice what is wanted half of the time, else at
// rest.
func tap(now, forward, turn float64) (float64, float64) {
	const every = 0.26 // s
	if math.Mod(now, every) > every/2 {
		return 0, 0
	}
	return 2 * forward, 2 * turn
}
