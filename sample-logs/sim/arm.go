package sim

import "math"

// arm is a lift: a carriage on a drum, up against gravity, between two stops. With a length
// it is an arm on a pivot instead: positions are then radians, and gravity pulls by the
// cosine of its angle over the level. The zero of the later fields leaves them out.
type arm struct {
	axis    *axis
	gear    float64
	drum    float64 // m, radius
	yield   float64
	mass    float64 // kg, carriage
	rotor   float64 // kg m2, at the rotor
	rub     float64 // N (N m on a pivot), friction that is smooth about standing still
	highest float64 // m

	length float64 // m from the pivot to the mass
	lean   float64 // rad over the level at position 0
	static float64 // N (N m), what it takes to start moving beside rub
	grows  float64 // N/m (N m/rad) by which the load grows on the last of its way up
	from   float64 // m (rad), where that begins
	soft   float64 // m (rad) before each stop in which a buffer pushes back
	buffer float64 // N (N m), how hard at the stop

	position float64 // m
	v        float64 // m/s
}

// ratio is rotor radians a metre, or a radian.
func (a *arm) ratio() float64 {
	if a.length > 0 {
		return a.gear
	}
	return a.gear / a.drum
}

// carriageRatio is the ratio of the usual carriage, for which the gains of loops are drawn.
const carriageRatio = 10 / 0.024

// pull of gravity against moving up, N (N m).
func (a *arm) pull() float64 {
	if a.length > 0 {
		return a.mass*gravity*a.length*math.Cos(a.lean+a.position) + a.grows*max(0, a.position-a.from)
	}
	if a.grows > 0 {
		return a.mass*gravity + a.grows*max(0, a.position-a.from)
	}
	return a.mass * gravity
}

func (a *arm) step(dt float64) {
	ratio := a.ratio()
	force := a.axis.torque()*ratio*a.yield - a.pull() - a.rub*math.Tanh(a.v/0.01)
	moving := a.mass + a.rotor*ratio*ratio
	if a.length > 0 {
		moving = a.mass*a.length*a.length + a.rotor*ratio*ratio
	}
	if a.soft > 0 {
		force += a.buffer * (max(0, 1-a.position/a.soft) - max(0, 1-(a.highest-a.position)/a.soft))
	}
	was := a.v
	if a.static > 0 && was == 0 && math.Abs(force) <= a.static {
		a.axis.speed = 0
		return
	}
	a.v += force / moving * dt
	if a.static > 0 && was*a.v < 0 {
		a.v = 0 // it sticks at each turning
	}
	a.position += a.v * dt
	if a.position < 0 || a.position > a.highest {
		a.position = max(0, min(a.highest, a.position))
		a.v = 0
	}
	a.axis.speed = a.v * ratio
}

// armLoop is the program's position loop: it runs a speed-limited setpoint to the target,
// feeds gravity forward, and closes the rest with proportional and rate terms.
type armLoop struct {
	top      float64 // m/s
	ramp     float64 // m/s2
	kp, kd   float64 // command per m, per m/s
	holdUp   float64 // command that carries the arm where gravity pulls most
	target   float64 // m
	setpoint float64
	speed    float64

	late      int // program runs from the position to the command
	seen      []float64
	creep     float64 // m/s by which its zero walks while the target rests
	creepMost float64 // m
	crept     float64
}

func newArmLoop(w *world) armLoop {
	a := w.arm
	m := a.axis.motor
	most := a.mass * gravity
	if a.length > 0 {
		most *= a.length
	}
	l := armLoop{top: 1.1, ramp: 4, kp: 9, kd: 0.9, holdUp: most / (a.ratio() * a.yield * m.ke) * m.r / 12}
	if w.scenario.balance.armLoop != nil {
		w.scenario.balance.armLoop(&l, stream(w.seed, "arm gains"))
	}
	if a.length > 0 && l.late > 0 {
		l.kp *= a.ratio() / carriageRatio // a late loop bears no more gain round it than on a carriage
	}
	return l
}

func (l *armLoop) command(a *arm, dt float64) float64 {
	gap := l.target - l.setpoint
	want := math.Copysign(min(l.top, math.Sqrt(1.6*l.ramp*math.Abs(gap))), gap)
	l.speed += clamp(want-l.speed, l.ramp*dt)
	if step := l.speed * dt; math.Abs(step) >= math.Abs(gap) {
		l.setpoint, l.speed = l.target, 0
	} else {
		l.setpoint += step
	}
	hold := l.holdUp
	if a.length > 0 {
		hold *= math.Cos(a.lean + a.position)
	}
	if l.creep != 0 {
		if l.speed == 0 {
			l.crept = clamp(l.crept+l.creep*dt, l.creepMost)
		} else {
			l.crept = 0
		}
	}
	position := a.position
	if l.late > 0 {
		l.seen = append(l.seen, position)
		position = l.seen[max(0, len(l.seen)-1-l.late)]
	}
	return clamp(hold+l.kp*(l.setpoint+l.crept-position)+l.kd*(l.speed-a.v), 1)
}

// armThere says whether the lift is where a piece can be placed; once the driver has stood
// on the aim for long enough, whether it has stopped coming up.
func (w *world) armThere(waited float64) bool {
	return math.Abs(w.arm.position-placeAt) < 0.03 || waited > 2.5 && math.Abs(w.arm.v) < 0.02 || waited > 5
}
