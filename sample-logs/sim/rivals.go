package sim

import "math"

// rival is another robot on the field: a round base of some 50 kg that goes where it wants
// with so much push as its wheels give, and no more. It minds nobody; who is in its way is
// pushed. Sizes are of the right order, chosen by us.
type rival struct {
	r      random
	mass   float64 // kg
	push   float64 // m/s2, the most its wheels give
	top    float64 // m/s
	x, y   float64 // m
	vx, vy float64 // m/s

	job      int
	tx, ty   float64 // m, where it goes
	until    float64 // s, when it changes its mind
	home     spot    // where it stands when it has no job
	did      int     // the trip on which it last did its job
	holding  bool    // doing it now
	pressing float64 // s it has leaned on the robot
	patience float64 // s after which it does something else

	met bool // it is doing its job since it met the robot
}

// What a rival is at.
const (
	roaming  = iota
	standsBy // beside the way
	blocking // stands in the robot's way and moves with it
	pinning  // runs into the robot and stays there
)

const (
	bodyRadius = 0.40 // m, of every robot, as a disc
	bounciness = 0.2  // of two bumpers
	bumperGrip = 0.4  // of one bumper on another
	laneLow    = 0.6  // m, y between which rivals drive: clear of the platform
	laneHigh   = 3.7
)

// newRivals are those of the plan; one more stands by where the plan wants the robot blocked
// or pinned on some trip.
func newRivals(w *world, r random) []*rival {
	var out []*rival
	from, to := w.field.open()
	n := w.scenario.drive.rivals
	for k := range n {
		out = append(out, &rival{r: r, job: roaming, x: from + (to-from)*float64(k+1)/float64(n+1), y: laneHigh})
	}
	for _, t := range w.scenario.trips {
		if t.blockReturn+t.blockCarry+t.pin > 0 {
			home := spot{(from + to) / 2, laneHigh}
			out = append(out, &rival{r: r, job: standsBy, x: home.x, y: home.y, home: home})
			break
		}
	}
	for _, o := range out {
		o.mass, o.push, o.top = r.about(55, 0.08), r.between(6, 8), r.between(1.4, 2.6)
		o.tx, o.ty, o.patience = o.x, o.y, r.between(0.5, 1.5)
	}
	return out
}

// look is a rival's driver deciding, fifty times a second.
func (o *rival) look(w *world) {
	now, c, d := w.now(), w.chassis, w.driver
	from, to := w.field.open()
	if o.job == roaming {
		if o.presses(w) {
			o.tx, o.ty = clampTo(2*o.x-c.x, from+0.7, to-0.7), clampTo(o.y+2*(o.y-c.y), laneLow, laneHigh)
			o.until = now + o.r.between(1.5, 3)
			return
		}
		if now >= o.until || math.Hypot(o.tx-o.x, o.ty-o.y) < 0.2 {
			o.tx, o.ty = o.r.between(from+0.7, to-0.7), o.r.between(laneLow, laneHigh)
			o.until = now + o.r.between(1.5, 5)
		}
		return
	}
	job, stay := standsBy, 0.0
	plan := d.todo
	switch {
	case d.phase == toPickup && plan.blockReturn > 0:
		job, stay = blocking, plan.blockReturn
	case d.phase == toGoal && plan.blockCarry > 0:
		job, stay = blocking, plan.blockCarry
	case d.phase == toGoal && plan.pin > 0:
		job, stay = pinning, plan.pin
	}
	if job != standsBy && o.did == d.trip {
		job = standsBy // once a trip
	}
	if job != o.job {
		if o.met {
			o.did = d.trip
		}
		o.job, o.met, o.holding, o.until = job, false, false, math.Inf(1)
	}
	near := 1.6
	if job == pinning {
		near = 2*bodyRadius + 0.05
	}
	if !o.met && job != standsBy && math.Hypot(c.x-o.x, c.y-o.y) < near {
		o.met, o.until = true, now+stay
	}
	side := 1.0 // it stands on the side the robot is going to
	if d.phase == toPickup {
		side = -1
	}
	o.holding = o.met && now <= o.until
	switch {
	case job == standsBy:
		o.tx, o.ty = o.home.x, o.home.y
		return
	case now > o.until: // lets go: out of the way, and there it stays
		o.tx, o.ty = o.x, laneHigh
		if c.y > (laneLow+laneHigh)/2 {
			o.ty = laneLow
		}
		if now < o.until+0.8 {
			o.tx += side * 1.5
		}
		return
	}
	o.ty = clampTo(c.y, laneLow-0.3, laneHigh)
	switch {
	case !o.met && job == blocking:
		o.tx = clampTo((from+to)/2, from+1, to-1)
	case !o.met:
		o.tx = clampTo((from+to)/2, from+1, to-1)
		if math.Hypot(c.x-o.x, c.y-o.y) < 2.2 {
			o.tx, o.ty = c.x, c.y
		}
	case job == pinning: // leans on it and turns with it, so as not to slip off
		o.tx, o.ty = o.x-side*0.6, o.y+3*(c.y-o.y)
		if side*(o.x-c.x) < 0.3 {
			o.tx, o.ty = c.x+side*2*bodyRadius, c.y
		}
	default:
		o.tx = clampTo(c.x+side*0.95, from+0.5, to-0.5)
	}
}

// presses says whether it has leaned on the robot for so long that it gives up.
func (o *rival) presses(w *world) bool {
	if math.Hypot(w.chassis.x-o.x, w.chassis.y-o.y) > 2*bodyRadius+0.05 {
		o.pressing = 0
		return false
	}
	o.pressing += people * step
	if o.pressing < o.patience {
		return false
	}
	o.pressing = 0
	return true
}

// pinned says whether a rival is holding the robot.
func (w *world) pinned() bool {
	for _, o := range w.rivals {
		if o.job == pinning && o.holding {
			return true
		}
	}
	return false
}

// strength is the most push and speed of the moment: who pins uses all it has, but does not
// ram.
func (o *rival) strength() (push, top float64) {
	switch {
	case o.job == pinning && o.holding:
		return 11.5, 0.8
	case o.job == pinning && !o.met:
		return 8, 2.2
	case o.job == pinning || o.job == blocking:
		return 8, 3.2
	}
	return o.push, o.top
}

func (o *rival) step(dt float64) {
	push, top := o.strength()
	dx, dy := o.tx-o.x, o.ty-o.y
	dist := math.Hypot(dx, dy)
	want := min(top, math.Sqrt(push*dist))
	wx, wy := 0.0, 0.0
	if dist > 0.02 {
		wx, wy = want*dx/dist, want*dy/dist
	}
	ax, ay := wx-o.vx, wy-o.vy
	if a := math.Hypot(ax, ay); a > push*dt {
		ax, ay = ax*push*dt/a, ay*push*dt/a
	}
	o.vx, o.vy = o.vx+ax, o.vy+ay
	o.x, o.y = o.x+o.vx*dt, o.y+o.vy*dt
}

// disc is a robot as others feel it.
type disc struct{ x, y, vx, vy, mass float64 }

// meet is two discs that may touch: how deep they are in each other along the line of
// centres (nx, ny) from a to b, m, and the impulse b gets and a loses, N s. Along the line
// what they close at is turned round; across it bumpers rub, at most until they no longer
// slide. Their momentum together stays as it was.
func meet(a, b disc) (nx, ny, overlap, jx, jy float64) {
	dx, dy := b.x-a.x, b.y-a.y
	dist := math.Hypot(dx, dy)
	if dist >= 2*bodyRadius || dist == 0 {
		return 0, 0, 0, 0, 0
	}
	nx, ny = dx/dist, dy/dist
	together := 1 / (1/a.mass + 1/b.mass)
	vx, vy := a.vx-b.vx, a.vy-b.vy
	along, across := vx*nx+vy*ny, vy*nx-vx*ny
	if along > 0 {
		hit := (1 + bounciness) * along * together
		rub := clamp(across*together, bumperGrip*hit)
		jx, jy = hit*nx-rub*ny, hit*ny+rub*nx
	}
	return nx, ny, 2*bodyRadius - dist, jx, jy
}

func (o *rival) disc() disc { return disc{o.x, o.y, o.vx, o.vy, o.mass} }

// bumped moves and pushes a rival.
func (o *rival) bumped(x, y, jx, jy float64) {
	o.x, o.y = o.x+x, o.y+y
	o.vx, o.vy = o.vx+jx/o.mass, o.vy+jy/o.mass
}

// jostle moves the rivals and lets all robots bump into each other.
func (w *world) jostle() {
	if len(w.rivals) == 0 {
		return
	}
	c := w.chassis
	for i, o := range w.rivals {
		o.step(step)
		for _, p := range w.rivals[:i] {
			nx, ny, over, jx, jy := meet(p.disc(), o.disc())
			part := p.mass / (o.mass + p.mass)
			p.bumped(-nx*over*(1-part), -ny*over*(1-part), -jx, -jy)
			o.bumped(nx*over*part, ny*over*part, jx, jy)
		}
		vx, vy := w.velocity()
		nx, ny, over, jx, jy := meet(disc{c.x, c.y, vx, vy, c.mass}, o.disc())
		if over == 0 {
			continue
		}
		part := c.mass / (o.mass + c.mass)
		c.x, c.y = c.x-nx*over*(1-part), c.y-ny*over*(1-part)
		o.bumped(nx*over*part, ny*over*part, jx, jy)
		w.shove(-jx, -jy)
		w.touched = w.now()
	}
	w.fence()
}

// velocity of the robot over the field, m/s: what its wheels roll and what it is shoved
// aside.
func (w *world) velocity() (x, y float64) {
	sin, cos := math.Sincos(w.chassis.heading)
	return w.chassis.v*cos - w.knocks.aside*sin, w.chassis.v*sin + w.knocks.aside*cos
}

// shove gives the robot an impulse, N s.
func (w *world) shove(jx, jy float64) {
	c := w.chassis
	sin, cos := math.Sincos(c.heading)
	along, aside := (jx*cos+jy*sin)/c.mass, (jy*cos-jx*sin)/c.mass
	c.v += along
	w.knocks.aside += aside
	if math.Abs(along) > 0.2 { // a bump, not a lean
		w.body.rate -= along
	}
}

// fence keeps a shoved robot on the field.
func (w *world) fence() {
	c := w.chassis
	if c.y < bodyRadius {
		c.y = bodyRadius
	}
	if c.x < bodyRadius {
		c.x, c.v = bodyRadius, 0
	}
}

func clampTo(v, low, high float64) float64 { return max(low, min(high, v)) }
