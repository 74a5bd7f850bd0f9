package sim

import "math"

// battery is a sealed lead-acid battery with its wiring: an EMF that falls with charge, a
// series resistance, and two relaxation terms (R parallel to C) for diffusion and for the
// slow acid. The series resistance is the ohmic part an observer sees at the bus; the
// relaxations are slower than 0.1 s and no part of it.
//
// The resistances hold at 25 degrees. Those inside rise when it is colder and the series
// one also as charge goes, because the acid thins; the wiring up to the bus does neither.
// The time constants are held: what slows the acid in the cold also takes surface away.
type battery struct {
	capacity float64 // As, at the temperature it starts with
	charge   float64 // 0..1
	r0       float64 // ohm, plates and posts; where wiring is 0, wiring too
	wiring   float64 // ohm, up to the bus
	r1, tau1 float64 // ohm, s
	r2, tau2 float64

	degrees   float64 // C
	store     float64 // J/K, 0 for one that does not warm
	coldR0    float64 // part by which r0 rises a degree below 25
	coldRelax float64 // the same for r1 and r2
	emptying  float64 // part by which r0 is more when empty

	u1, u2 float64 // V across the relaxations

	fade1, fade2 fading
	drawn        float64 // As
	energy       float64 // J delivered to the bus
}

// Of the right order for a sealed battery of 18 Ah, chosen by us.
const (
	heatStore  = 5200   // J/K: about 6 kg of lead and acid
	coldPart   = 0.012  // r0 a degree: a third more at freezing
	coldSlow   = 0.018  // r1 and r2 a degree: the acid moves slower
	coldLess   = 0.008  // capacity a degree: a fifth less at freezing
	emptyPart  = 0.7    // r0 when empty
	wiringOhm  = 0.0035 // posts to the bus: 1.5 m of thick wire, breaker, switch
	referenceC = 25.0
)

// real switches on what depends on temperature and charge, at a temperature to start with.
// The series resistance stays what it was in all for a full battery at 25 degrees.
func (b *battery) real(degrees, wiring float64) {
	b.degrees, b.store = degrees, heatStore
	b.coldR0, b.coldRelax, b.emptying = coldPart, coldSlow, emptyPart
	b.wiring = min(wiring, b.r0/2)
	b.r0 -= b.wiring
	b.capacity *= 1 - coldLess*max(0, referenceC-degrees)
}

// openCircuit is the rest voltage over charge. Six cells; about 1.28 V between full and
// empty, nearly straight, with the last tenth dropping away.
func (b *battery) openCircuit() float64 {
	return 11.58 + 1.28*b.charge - 0.45*math.Exp(-b.charge/0.05)
}

// emf is the voltage behind the series resistance.
func (b *battery) emf() float64 { return b.openCircuit() - b.u1 - b.u2 }

// series is the ohmic part as it is now.
func (b *battery) series() float64 {
	empty := 1 - b.charge
	return b.r0*(1+b.coldR0*(referenceC-b.degrees))*(1+b.emptying*empty*empty) + b.wiring
}

// relaxation is by how much r1 and r2 are more for the cold.
func (b *battery) relaxation() float64 { return 1 + b.coldRelax*(referenceC-b.degrees) }

// added is what relaxation adds to the series resistance within seconds of a load, ohm.
func (b *battery) added(seconds float64) float64 {
	part := func(r, tau float64) float64 {
		if tau == 0 {
			return r
		}
		return r * (1 - math.Exp(-seconds/tau))
	}
	return b.relaxation() * (part(b.r1, b.tau1) + part(b.r2, b.tau2))
}

// draw takes current i at bus voltage v for dt.
func (b *battery) draw(i, v, dt float64) {
	slow := b.relaxation()
	b.u1 += (i*(b.r1*slow) - b.u1) * (1 - b.fade1.left(dt, b.tau1))
	b.u2 += (i*(b.r2*slow) - b.u2) * (1 - b.fade2.left(dt, b.tau2))
	if b.store > 0 {
		heat := i*i*(b.series()-b.wiring) + b.u1*b.u1/(b.r1*slow) + b.u2*b.u2/(b.r2*slow)
		b.degrees += heat / b.store * dt
	}
	b.charge -= i * dt / b.capacity
	b.drawn += i * dt
	b.energy += i * v * dt
}

// fading is how much of a difference is left after dt where it dies away with a time constant
// tau. It keeps its last answer: an exponential is dear, and these two hardly ever change.
type fading struct{ dt, tau, kept float64 }

func (f *fading) left(dt, tau float64) float64 {
	if dt != f.dt || tau != f.tau {
		*f = fading{dt, tau, math.Exp(-dt / tau)}
	}
	return f.kept
}
