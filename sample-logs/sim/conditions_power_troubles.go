package sim

import (
	"math"
	"slices"
)

// hurry makes every trip a hasty one: full stick, with the lift going up on the way.
func hurry(s *scenario, stick float64) {
	s.stick = stick
	for n := 1; n <= 20; n++ {
		s.trip(n, func(t *tripPlan) { t.hasty = true })
	}
}

// wear ages the battery: r0 is what it has then, full and at 25 degrees, wiring included.
func wear(s *scenario, r0, capacity, charge float64) {
	s.parts = append(s.parts, func(w *world, _ random) {
		b := w.battery
		worse := r0 / b.r0
		b.r0, b.r1, b.r2 = r0, b.r1*math.Sqrt(worse), b.r2*math.Sqrt(worse)
		b.capacity, b.charge = b.capacity*capacity, charge
	})
}

func weakCondition(s *scenario, r random) {
	wear(s, r.between(0.03, 0.06), r.between(0.5, 0.75), r.between(0.75, 0.92))
	s.stick = r.between(0.18, 0.30)
	for n := 1; n <= 20; n++ {
		if r.Float64() < 0.3 {
			s.trip(n, func(t *tripPlan) { t.hasty = true })
		}
	}
}

func hardStarts(s *scenario, r random) {
	wear(s, r.between(0.040, 0.050), r.between(0.5, 0.75), r.between(0.75, 0.9))
	hurry(s, r.between(0.10, 0.16))
}

// drives are the motors of the drive.
func drives(w *world) []*axis {
	c := w.chassis
	return slices.DeleteFunc([]*axis{c.left, c.right, c.leftRear, c.rightRear}, func(a *axis) bool { return a == nil })
}

// limits multiplies the drive's current limits.
func limits(w *world, winding, input float64) {
	for _, a := range drives(w) {
		a.motor.windingMax *= winding
		a.motor.inputMax *= input
	}
}

func overload(s *scenario, r random) {
	hurry(s, r.between(0.06, 0.10))
	more, gear := r.between(2.6, 3.0), r.between(5.2, 5.8)
	s.power.motors = append(s.power.motors, func(w *world) {
		for _, a := range drives(w) {
			a.motor.r *= 0.5 // stronger motors on a fast gear
		}
	})
	s.power.wiring = append(s.power.wiring, func(w *world) {
		w.chassis.gear = gear
		w.chassis.grip *= 1.2
		limits(w, more, more)
		w.arm.axis.motor.windingMax, w.arm.axis.motor.inputMax = 90, 70
	})
}

func weakButHolding(s *scenario, r random) {
	wear(s, r.between(0.028, 0.034), r.between(0.6, 0.8), r.between(0.8, 0.92))
	s.stick = r.between(0.35, 0.5)
	less := r.between(0.55, 0.65)
	s.power.wiring = append(s.power.wiring, func(w *world) { limits(w, 0.8, less) })
}

func nearCutOff(s *scenario, r random) {
	wear(s, r.between(0.034, 0.042), r.between(0.6, 0.8), r.between(0.8, 0.92))
	hurry(s, r.between(0.10, 0.2))
	above := r.between(0.08, 0.30)
	s.power.wiring = append(s.power.wiring, func(w *world) {
		w.supply.limiter = &limiter{low: w.supply.cutOff + above}
	})
}

func chatter(s *scenario, r random) {
	wear(s, r.between(0.046, 0.054), r.between(0.6, 0.8), r.between(0.8, 0.92))
	hurry(s, r.between(0.10, 0.2))
	middle, swing, hertz := r.between(0.12, 0.22), r.between(0.42, 0.55), r.between(9, 12)
	s.power.wiring = append(s.power.wiring, func(w *world) {
		band := w.supply.recover - w.supply.cutOff
		w.supply.limiter = &limiter{low: w.supply.cutOff + middle*band, swing: swing * band, hertz: hertz}
		w.supply.lower = 1.2
	})
}

func badConnection(s *scenario, r random) {
	loose := r.between(0.7, 1.2)
	s.power.wiring = append(s.power.wiring, func(w *world) {
		w.supply.contact = &contact{
			r: stream(w.seed, "contact"), calm: 0.02, shaken: 5,
			levels: []float64{0.003 * loose, 0.010 * loose, 0.022 * loose, 0.045 * loose},
			shake:  func() float64 { return math.Abs(w.chassis.accel)/8 + math.Abs(w.body.rate)/0.3 },
		}
	})
}

func stiffGearbox(s *scenario, r random) {
	which, much := r.IntN(4), r.between(0.8, 1.2)
	s.power.wiring = append(s.power.wiring, func(w *world) {
		switch which {
		case 0:
			w.chassis.leftBind = 1.4 * much
		case 1:
			w.chassis.rightBind = 1.4 * much
		case 2:
			for _, b := range w.path.belts[:min(2, len(w.path.belts))] {
				b.friction *= 2.2 * much
			}
		default:
			if w.arm.length > 0 {
				w.arm.rub += 0.18 * much * w.arm.gear // N m at the rotor, as much as on a carriage
			} else {
				w.arm.rub += 75 * much
			}
		}
	})
}

func controllerCutsOut(s *scenario, r random) {
	s.stick = r.between(0.14, 0.2)
	ohms, at := r.between(0.050, 0.062), r.between(6.8, 7.4)
	right := r.IntN(2)
	s.power.wiring = append(s.power.wiring, func(w *world) {
		b := w.supply.branches[0]
		if right == 1 {
			i := slices.IndexFunc(w.supply.branches, func(b *branch) bool { return b.axes[0] == w.chassis.right })
			b = w.supply.branches[i]
		}
		b.ohms = ohms * 75 / b.axes[0].motor.inputMax
		b.cutOff, b.recover, b.smooth, b.least = at, at+0.6, 0.015, 0.15
	})
}

func hardBraking(s *scenario, r random) {
	heavier, slew := r.between(1.2, 1.3), r.between(4.5, 6)
	hurry(s, r.between(0.08, 0.12))
	s.power.motors = append(s.power.motors, func(w *world) {
		w.chassis.mass *= heavier
		for _, a := range drives(w) {
			a.motor.r *= 0.6
		}
	})
	s.power.wiring = append(s.power.wiring, func(w *world) {
		limits(w, 1.5, 1.1)
		for _, a := range drives(w) {
			a.slew = slew
		}
	})
}

func compressor(s *scenario, r random) {
	run := r.between(10, 15)
	on, off := r.between(4, 9), r.between(8, 20)
	s.power.wiring = append(s.power.wiring, func(w *world) {
		w.supply.loads = append(w.supply.loads, load{
			name: "compressor", r: stream(w.seed, "compressor"), run: run, inrush: 1.2 * run, dying: 0.06, wander: 0.4,
			onFor: [2]float64{0.8 * on, 1.2 * on}, offFor: [2]float64{0.7 * off, 1.3 * off}, when: w.enabled,
		})
	})
}

func cutOffAt(enter, leave float64) func(*scenario, random) {
	return func(s *scenario, _ random) {
		s.parts = append(s.parts, func(w *world, _ random) { w.supply.cutOff, w.supply.recover = enter, leave })
	}
}

func ownCutOffs(s *scenario, r random) {
	s.power.wiring = append(s.power.wiring, func(w *world) {
		own := stream(w.seed, "cut-offs")
		for _, b := range w.supply.branches {
			b.cutOff = own.between(5.6, 7.6)
			b.recover, b.smooth, b.least = b.cutOff+own.between(0.3, 0.8), own.between(0.01, 0.03), own.between(0.05, 0.25)
		}
	})
}

// without leaves a signal out.
func (set signalSet) without(id string) signalSet {
	return func(w *world) []channel {
		return slices.DeleteFunc(set(w), func(c channel) bool { return c.id == id || c.id == "" && c.name == id })
	}
}

// tenth is an even draw from lo to hi in whole tenths.
func (r random) tenth(lo, hi float64) float64 { return math.Round(r.between(lo, hi)*10) / 10 }
