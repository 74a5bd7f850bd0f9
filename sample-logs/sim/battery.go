package sim

import "math"

// battery is a sealed lead-acid battery with its wiring: an EMF that falls with charge, a
// series resistance, and two relaxation terms (R parallel to C) for diffusion and for the
// slow acid. The series resistance is the ohmic part an observer sees at the terminals;
// the relaxations are slower than 0.1 s and no part of it.
type battery struct {
	capacity float64 // As
	charge   float64 // 0..1
	r0       float64 // ohm, plates, posts and wiring up to the bus
	r1, tau1 float64 // ohm, s
	r2, tau2 float64

	u1, u2 float64 // V across the relaxations
	drawn  float64 // As
	energy float64 // J delivered to the bus
}

// openCircuit is the rest voltage over charge. Six cells; about 1.28 V between full and
// empty, nearly straight, with the last tenth dropping away.
func (b *battery) openCircuit() float64 {
	return 11.58 + 1.28*b.charge - 0.45*math.Exp(-b.charge/0.05)
}

// emf is the voltage behind the series resistance.
func (b *battery) emf() float64 { return b.openCircuit() - b.u1 - b.u2 }

// draw takes current i at bus voltage v for dt.
func (b *battery) draw(i, v, dt float64) {
	b.u1 += (i*b.r1 - b.u1) * (1 - math.Exp(-dt/b.tau1))
	b.u2 += (i*b.r2 - b.u2) * (1 - math.Exp(-dt/b.tau2))
	b.charge -= i * dt / b.capacity
	b.drawn += i * dt
	b.energy += i * v * dt
}
