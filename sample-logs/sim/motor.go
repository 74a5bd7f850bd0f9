package sim

import "math"

// motor is a permanent-magnet d.c. motor behind a chopping controller: u*V = R*i + Ke*w,
// torque Ke*i. The winding's inductance is left out: its time constant is below a step.
// Currents are limited by the controller, in the winding and at its input.
type motor struct {
	r  float64 // ohm, winding and leads
	ke float64 // V s/rad, equal to N m/A

	windingMax float64 // A, 0 for none
	inputMax   float64 // A, 0 for none; drawing only, what is fed back is not limited
}

// currents are the winding current and the mean input current at bus voltage v, command u
// (-1..1) and rotor speed w (rad/s). A chopper takes power at its input and passes it on:
// input*v = winding*(R*winding + Ke*w), so input is winding times the duty in use. Negative
// input is braking power fed back.
func (m motor) currents(v, u, w float64) (winding, input float64) {
	e := m.ke * w
	i := (u*v - e) / m.r
	if m.windingMax > 0 {
		i = math.Max(-m.windingMax, math.Min(m.windingMax, i))
	}
	input = i * (i*m.r + e) / v
	if m.inputMax > 0 && input > m.inputMax {
		// The winding current at which the input just takes its limit.
		s := math.Copysign(1, i)
		i = s * (-s*e + math.Sqrt(e*e+4*m.r*m.inputMax*v)) / (2 * m.r)
		input = m.inputMax
	}
	return i, input
}

// axis is one motor (or a pair on one gearbox) at work.
type axis struct {
	motor   motor
	command float64 // -1..1, as its controller was told; 0 brakes
	speed   float64 // rad/s of the rotor
	winding float64 // A
	input   float64 // A
	heat    float64 // J lost in the winding so far
	work    float64 // J given to the rotor so far
}

// settle fixes the axis's currents at bus voltage v for the step ahead. An axis that is off
// floats: no current either way.
func (a *axis) settle(v float64, off bool, dt float64) {
	if off {
		a.winding, a.input = 0, 0
		return
	}
	a.winding, a.input = a.motor.currents(v, a.command, a.speed)
	a.heat += a.winding * a.winding * a.motor.r * dt
	a.work += a.motor.ke * a.winding * a.speed * dt
}

// torque at the rotor, N m.
func (a *axis) torque() float64 { return a.motor.ke * a.winding }
