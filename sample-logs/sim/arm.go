package sim

import "math"

// arm is a lift: a carriage on a drum, up against gravity, between two stops.
type arm struct {
	axis    *axis
	gear    float64
	drum    float64 // m, radius
	yield   float64
	mass    float64 // kg, carriage
	rotor   float64 // kg m2, at the rotor
	rub     float64 // N
	highest float64 // m

	position float64 // m
	v        float64 // m/s
}

func (a *arm) step(dt float64) {
	ratio := a.gear / a.drum // rotor radians a metre
	force := a.axis.torque()*ratio*a.yield - a.mass*gravity - a.rub*math.Tanh(a.v/0.01)
	moving := a.mass + a.rotor*ratio*ratio
	a.v += force / moving * dt
	a.position += a.v * dt
	if a.position < 0 || a.position > a.highest {
		a.position = math.Max(0, math.Min(a.highest, a.position))
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
	holdUp   float64 // command that carries the carriage
	target   float64 // m
	setpoint float64
	speed    float64
}

func (l *armLoop) command(a *arm, dt float64) float64 {
	gap := l.target - l.setpoint
	want := math.Copysign(math.Min(l.top, math.Sqrt(1.6*l.ramp*math.Abs(gap))), gap)
	l.speed += clamp(want-l.speed, l.ramp*dt)
	if step := l.speed * dt; math.Abs(step) >= math.Abs(gap) {
		l.setpoint, l.speed = l.target, 0
	} else {
		l.setpoint += step
	}
	return clamp(l.holdUp+l.kp*(l.setpoint-a.position)+l.kd*(l.speed-a.v), 1)
}
