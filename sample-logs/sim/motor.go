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
func (m *motor) currents(v, u, w float64) (winding, input float64) {
	if u == 0 && math.Abs(w) < standing {
		return 0, 0
	}
	e := m.ke * w
	i := (u*v - e) / m.r
	if m.windingMax > 0 {
		i = max(-m.windingMax, min(m.windingMax, i))
	}
	input = i * (i*m.r + e) / v
	if m.inputMax > 0 && input > m.inputMax {
		return m.limited(v, e, i), m.inputMax
	}
	return i, input
}

// limited is the winding current, of the sign of i, at which the input just takes its limit.
func (m *motor) limited(v, e, i float64) float64 {
	s := math.Copysign(1, i)
	return s * (-s*e + math.Sqrt(e*e+4*m.r*m.inputMax*v)) / (2 * m.r)
}

// A rotor this slow, rad/s, stands: what one that runs down for ever comes to in two seconds.
const standing = 1e-30

// axis is one motor (or a pair on one gearbox) at work.
type axis struct {
	motor   motor
	warmth  *warmth // nil for a winding that stays as cold as it is
	slew    float64 // how fast its controller lets the duty change, per s; 0 for at once
	lead    *axis   // the axis on whose gearbox it sits and whose command it follows; nil for itself
	command float64 // -1..1, as its controller was told; 0 brakes
	speed   float64 // rad/s of the rotor
	winding float64 // A
	input   float64 // A
	heat    float64 // J lost in the winding so far
	work    float64 // J given to the rotor so far
	off     bool    // its controller has cut out by itself
	ramped  float64 // duty in use, when slew limits it
}

// ready takes the command for the step ahead.
func (a *axis) ready(dt float64) {
	if a.lead != nil {
		a.command, a.speed = a.lead.command, a.lead.speed
	}
	switch {
	case a.slew == 0:
		a.ramped = a.command
	case a.off:
		a.ramped = 0
	default:
		a.ramped += clamp(a.command-a.ramped, a.slew*dt)
	}
}

// duty in use, -1..1.
func (a *axis) duty() float64 {
	if a.slew > 0 {
		return a.ramped
	}
	return a.command
}

// settle fixes the axis's currents at its controller's voltage v for the step ahead. An
// axis that is off floats: no current either way.
func (a *axis) settle(v float64, off bool, dt float64) {
	if off {
		a.winding, a.input = 0, 0
	} else {
		a.winding, a.input = a.motor.currents(v, a.duty(), a.speed)
		a.heat += a.winding * a.winding * a.motor.r * dt
		a.work += a.motor.ke * a.winding * a.speed * dt
	}
	if a.warmth != nil {
		a.motor.r = a.warmth.step(a.winding*a.winding*a.motor.r, dt)
	}
}

// warmth is how a winding warms: one store of heat that loses it to its surroundings, the
// first-order model of IEC 60255-149. Copper takes 0.39 % more resistance a kelvin (common
// practice).
type warmth struct {
	cold     float64 // ohm, at the surroundings' temperature
	store    float64 // J/K
	away     float64 // W/K
	perK     float64 // 1/K
	rise     float64 // K above the surroundings
	lasting  float64 // what of a rise is left after a step
	lastedDt float64
}

const copperPerK = 0.0039

// step adds a loss in W for dt and gives the resistance then. Within a step the loss is
// steady, so the answer is exact: rise runs towards loss/away by exp(-dt*away/store).
func (h *warmth) step(watts, dt float64) float64 {
	if dt != h.lastedDt {
		h.lasting, h.lastedDt = math.Exp(-dt*h.away/h.store), dt
	}
	end := watts / h.away
	h.rise = end + (h.rise-end)*h.lasting
	return h.cold * (1 + h.perK*h.rise)
}

// torque at the rotor, N m.
func (a *axis) torque() float64 { return a.motor.ke * a.winding }
