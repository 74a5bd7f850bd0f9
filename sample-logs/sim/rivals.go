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

	job    int
	tx, ty float64 // m, where it goes
	until  float64 // s, when it changes its mind
	home   spot    // where it stands when it has no job
	met    bool    // it is doing its job since it met the robot
}

// What a rival is at.
const (
	roaming  = iota
	parked   // beside the way
	blocking // stands in the robot's way and moves with it
	pinning  // runs into the robot and stays there
)

const (
	bodyRadius = 0.40 // m, of every robot, as a disc
	bounciness = 0.2  // of two bumpers
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
			out = append(out, &rival{r: r, job: parked, x: home.x, y: home.y, home: home})
			break
		}
	}
	for _, o := range out {
		o.mass, o.push, o.top = r.about(55, 0.08), r.between(6, 8), r.between(1.4, 2.6)
		o.tx, o.ty = o.x, o.y
	}
	return out
}

// look is a rival's driver deciding, fifty times a second.
func (o *rival) look(w *world) {
	now, c, d := w.now(), w.chassis, w.driver
	from, to := w.field.open()
	if o.job == roaming {
		if now >= o.until || math.Hypot(o.tx-o.x, o.ty-o.y) < 0.2 {
			o.tx, o.ty = o.r.between(from+0.7, to-0.7), o.r.between(laneLow, laneHigh)
			o.until = now + o.r.between(1.5, 5)
		}
		return
	}
	job, stay := parked, 0.0
	plan := d.todo
	switch {
	case d.phase == toPickup && plan.blockReturn > 0:
		job, stay = blocking, plan.blockReturn
	case d.phase == toGoal && plan.blockCarry > 0:
		job, stay = blocking, plan.blockCarry
	case d.phase == toGoal && plan.pin > 0:
		job, stay = pinning, plan.pin
	}
	if job != o.job {
		o.job, o.met, o.until = job, false, math.Inf(1)
	}
	if !o.met && job != parked && math.Hypot(c.x-o.x, c.y-o.y) < 1.6 {
		o.met, o.until = true, now+stay
	}
	if job == parked || now > o.until {
		o.tx, o.ty = o.home.x, o.home.y
		return
	}
	side := 1.0 // it stands on the side the robot is going to
	if d.phase == toPickup {
		side = -1
	}
	o.ty = clampTo(c.y, laneLow-0.3, laneHigh)
	switch {
	case !o.met && job == blocking:
		o.tx = clampTo((from+to)/2, from+1, to-1)
	case !o.met:
		o.tx = clampTo(math.Max((from+to)/2, c.x+1), from+1, to-0.6)
	case job == pinning:
		o.tx = o.x - side // leans on it, but is no faster than this
		if side*(o.x-c.x) < 0.3 {
			o.tx = c.x + side*2*bodyRadius
		}
	default:
		o.tx = clampTo(c.x+side*0.95, from+0.5, to-0.5)
	}
}

// strength is the most push and speed of the moment: who pins uses all it has, but does not
// ram.
func (o *rival) strength() (push, top float64) {
	switch {
	case o.job == pinning && o.met:
		return 11.5, 0.25
	case o.job == blocking:
		return 8, 3.2
	case o.job == pinning:
		return 8, 2.2
	}
	return o.push, o.top
}

func (o *rival) step(dt float64) {
	push, top := o.strength()
	dx, dy := o.tx-o.x, o.ty-o.y
	dist := math.Hypot(dx, dy)
	want := math.Min(top, math.Sqrt(push*dist))
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

// meet is two discs that may touch: overlap is undone, and what they close at is turned
// round by an impulse along the line of centres that leaves their momentum together as it
// was. n points from a to b, closing is how fast they come together (m/s, 0 when apart) and
// impulse is what b gets and a loses (N s).
func meet(ax, ay, avx, avy, am, bx, by, bvx, bvy, bm float64) (nx, ny, overlap, impulse float64) {
	dx, dy := bx-ax, by-ay
	dist := math.Hypot(dx, dy)
	if dist >= 2*bodyRadius || dist == 0 {
		return 0, 0, 0, 0
	}
	nx, ny = dx/dist, dy/dist
	closing := (avx-bvx)*nx + (avy-bvy)*ny
	if closing > 0 {
		impulse = (1 + bounciness) * closing / (1/am + 1/bm)
	}
	return nx, ny, 2*bodyRadius - dist, impulse
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
			nx, ny, over, j := meet(p.x, p.y, p.vx, p.vy, p.mass, o.x, o.y, o.vx, o.vy, o.mass)
			part := o.mass / (o.mass + p.mass)
			p.x, p.y = p.x-nx*over*part, p.y-ny*over*part
			o.x, o.y = o.x+nx*over*(1-part), o.y+ny*over*(1-part)
			p.vx, p.vy = p.vx-nx*j/p.mass, p.vy-ny*j/p.mass
			o.vx, o.vy = o.vx+nx*j/o.mass, o.vy+ny*j/o.mass
		}
		vx, vy := w.velocity()
		nx, ny, over, j := meet(c.x, c.y, vx, vy, c.mass, o.x, o.y, o.vx, o.vy, o.mass)
		if over == 0 {
			continue
		}
		part := o.mass / (o.mass + c.mass)
		c.x, c.y = c.x-nx*over*part, c.y-ny*over*part
		o.x, o.y = o.x+nx*over*(1-part), o.y+ny*over*(1-part)
		o.vx, o.vy = o.vx+nx*j/o.mass, o.vy+ny*j/o.mass
		w.shove(-nx*j, -ny*j)
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

func clampTo(v, low, high float64) float64 { return math.Max(low, math.Min(high, v)) }
