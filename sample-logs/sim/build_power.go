package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// newBattery is a battery that nothing is wrong with, wiring included.
func newBattery(r random) *battery {
	return &battery{
		capacity: r.about(18*3600, 0.03), charge: r.between(0.93, 0.99),
		r0: r.about(0.0185, 0.06), r1: r.about(0.006, 0.1), tau1: r.about(0.9, 0.1),
		r2: r.about(0.008, 0.1), tau2: r.about(25, 0.1),
		degrees: referenceC,
	}
}

func newSupply(r random, b *battery) *supply {
	return &supply{
		battery: b, idle: r.about(2.1, 0.1),
		cutOff: cutOffV, recover: recoverV, smooth: 0.022, least: 0.15,
	}
}

// newChassis is a base with two geared motors a side, which work as one.
func newChassis(r random) *chassis {
	drive := motor{r: r.about(0.050, 0.02), ke: r.about(0.0200, 0.01), windingMax: 95, inputMax: 75}
	return &chassis{
		mass: r.about(54, 0.02), inertia: 3.6, halfTrack: 0.28, wheelbase: 0.60,
		wheel: r.about(0.051, 0.01), gear: 8.5, yield: 0.86, rotating: 0.0125,
		grip: r.about(1.05, 0.05), knee: 0.12, rolling: r.about(24, 0.1), drag: 3, scrub: 24,
		left: &axis{motor: drive}, right: &axis{motor: drive},
		x: r.normal(9, 0.03), y: r.normal(1.5, 0.03), heading: math.Pi + r.normal(0, 0.01),
	}
}

// wire puts the axes on their breakers, gives the battery and the motors what depends on
// temperature where the match has that, and does what the conditions of the subject ask
// for. w.sound is by then the battery as it would be had nothing been done to it.
func wire(w *world, o Options) {
	p := w.scenario.power
	if w.scenario.outside {
		tau := stream(o.Seed, "outside/battery").between(0.25, 0.45)
		w.battery.tau1, w.sound.tau1 = tau, tau
	}
	for _, change := range p.motors {
		change(w)
	}
	w.supply.branches = newBranches(w)
	w.axes = nil
	for _, b := range w.supply.branches {
		w.axes = append(w.axes, b.axes...)
	}
	if o.ResistanceOhm > 0 {
		w.battery.r0 = o.ResistanceOhm
	}
	if p.real || w.scenario.name == Drawn || w.scenario.name == Exam {
		warm(w, o)
	}
	for _, change := range p.wiring {
		change(w)
	}
}

// newBranches are the breakers: each side of the drive (each motor of it where a side has
// two controllers), the first two stages, the other stages, the lift.
func newBranches(w *world) []*branch {
	var out []*branch
	add := func(name string, axes ...*axis) {
		if len(axes) > 0 {
			out = append(out, &branch{name: name, axes: axes})
		}
	}
	c := w.chassis
	if c.leftRear != nil {
		add("drive left front", c.left)
		add("drive left rear", c.leftRear)
		add("drive right front", c.right)
		add("drive right rear", c.rightRear)
	} else {
		add("drive left", c.left)
		add("drive right", c.right)
	}
	var belts []*axis
	for _, b := range w.path.belts {
		belts = append(belts, b.axis)
	}
	first := min(2, len(belts))
	add("intake", belts[:first]...)
	add("path", belts[first:]...)
	add("lift", w.arm.axis)
	return out
}

// warm gives temperature, wires and warming windings. The sizes are of the right order,
// chosen by us: 30 cm to 1 m of wire and its two plugs for a branch, a few ten grams of
// copper in a small motor, some hundred in a pair of large ones.
func warm(w *world, o Options) {
	r := stream(o.Seed, "temperature")
	hall := max(0, min(40, r.normal(21, 8)))
	wiring := r.about(wiringOhm, 0.15)
	w.sound.real(hall, wiring)
	own := hall
	if w.scenario.power.degrees != nil {
		own = *w.scenario.power.degrees
	}
	w.battery.real(own, wiring)

	r = stream(o.robot(), "wires")
	drives := map[*axis]bool{w.chassis.left: true, w.chassis.right: true, w.chassis.leftRear: true, w.chassis.rightRear: true}
	for _, b := range w.supply.branches {
		b.ohms = r.between(0.008, 0.018)
		store, away := 35.0, 0.25
		if drives[b.axes[0]] {
			b.ohms, store, away = r.between(0.003, 0.007), 90, 0.6
		}
		for _, a := range b.axes {
			a.warmth = &warmth{cold: a.motor.r, store: r.about(store, 0.1), away: r.about(away, 0.1), perK: copperPerK}
			if drives[a] || a == w.arm.axis {
				a.slew = r.between(7, 12)
			}
		}
	}
	w.supply.loads = append(w.supply.loads, load{
		name: "electronics", r: stream(o.Seed, "electronics"), run: 0.6, wander: 0.25, dying: 1,
		onFor: [2]float64{1e6, 1e6}, offFor: [2]float64{1e6, 1e6},
	})
}

// enabled says whether a period of the match runs.
func (w *world) enabled() bool { return w.mode() != schemas.ModeDisabled }

// separate gives each side of the drive two motors with a controller each instead of two
// that work as one.
func separate(w *world) {
	c := w.chassis
	for _, side := range []struct {
		front *axis
		rear  **axis
	}{{c.left, &c.leftRear}, {c.right, &c.rightRear}} {
		m := &side.front.motor
		m.r, m.windingMax, m.inputMax = 2*m.r, m.windingMax/2, m.inputMax/2
		*side.rear = &axis{motor: *m, lead: side.front}
	}
}
