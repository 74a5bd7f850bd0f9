package sim

// branch is one part of the supply: the axes on one breaker, at the end of their own wires.
// Their controllers see the bus less what the wires take. Controllers with a cut-off of
// their own let their axes float below it, and take hold again by themselves.
type branch struct {
	name    string
	axes    []*axis
	ohms    float64 // of its wires
	cutOff  float64 // V at the controllers, 0 for none of their own
	recover float64 // V
	smooth  float64 // s
	least   float64 // s, the shortest time off

	seen   float64 // V, smoothed
	fade   fading
	off    bool
	offFor float64
	trips  int

	at     float64 // V at its controllers, in the step before
	flowed float64 // A it would draw there now
	slope  float64 // A a V more, at most
}

// current into the breaker, A. (An axis's own controller reports its winding current.)
func (b *branch) current() float64 {
	total := 0.0
	for _, a := range b.axes {
		total += a.input
	}
	return total
}

// inputs is what its axes would draw with v at their controllers, on top of total.
func (b *branch) inputs(total, v float64) float64 {
	for _, a := range b.axes {
		_, input := a.motor.currents(v, a.duty(), a.speed)
		total += input
	}
	return total
}

// ready takes the branch's line of current over voltage for the step ahead.
func (b *branch) ready() {
	if b.ohms == 0 {
		return
	}
	b.flowed, b.slope = b.inputs(0, b.at), 0
	for _, a := range b.axes {
		b.slope += a.duty() * a.duty() / a.motor.r
	}
}

// drawn adds to total what the branch draws at bus voltage v.
func (b *branch) drawn(total, v float64, off bool) float64 {
	if off || b.off {
		return total
	}
	return b.inputs(total, b.voltage(v, off))
}

// voltage at its controllers for a bus at v: v less ohms times what they draw there. One
// Newton step from where they were a millisecond ago, with a slope no controller exceeds, so
// that it is steady whatever the wires; what it is short of is made up in the next step.
func (b *branch) voltage(v float64, off bool) float64 {
	if b.ohms == 0 || off || b.off {
		return v
	}
	return max(0.5, (v-b.ohms*(b.flowed-b.slope*b.at))/(1+b.ohms*b.slope))
}

func (b *branch) guard(at, dt float64) {
	b.at = at
	if b.cutOff == 0 {
		return
	}
	if b.seen == 0 {
		b.seen = at
	}
	b.seen += (at - b.seen) * (1 - b.fade.left(dt, b.smooth))
	if b.off {
		b.offFor += dt
		if b.seen >= b.recover && b.offFor >= b.least {
			b.off = false
		}
	} else if b.seen < b.cutOff {
		b.off, b.offFor = true, 0
		b.trips++
	}
	for _, a := range b.axes {
		a.off = b.off
	}
}

// breakers are the branches in the order the robot counts them.
func breakers(w *world) []*branch { return w.supply.branches }
