package sim

import "math"

// powerPlan is what is special about battery, wiring and controllers.
type powerPlan struct {
	real    bool           // temperature, wires and warming count, as they do in every drawn match
	degrees *float64       // of the battery, when it is not that of the hall
	motors  []func(*world) // changes of the drive before it is wired
	wiring  []func(*world) // changes of what was built
	still   bool           // sticks and buttons do not reach the robot
	feeding bool           // and the one that runs the intake hangs
}

// deaf keeps the people from the program, where their link is lost.
func (p *powerPlan) deaf(w *world) {
	if !p.still {
		return
	}
	w.program.forward, w.program.turn = 0, 0
	w.program.release, w.program.levelling = false, false
	w.program.intake = p.feeding && w.enabled()
	w.program.armTarget, w.program.belts = travelAt, beltsRun
}

func powerConditions() []condition {
	power := func(name, kind, summary string, odds float64, group string, set func(*scenario, random)) condition {
		return condition{
			Condition: Condition{Name: name, Subject: "power", Kind: kind, Summary: summary},
			odds:      odds, group: group,
			set: func(s *scenario, r random) {
				s.power.real = true
				set(s, r)
			},
		}
	}
	return []condition{
		power("weak-battery", Trouble, "an aged battery: 0.03 to 0.06 ohm and half to three quarters of its capacity", 0.12, "battery", weakCondition),
		power("battery-not-full", Trouble, "a sound battery that was not charged: 0.45 to 0.7 full", 0.08, "battery", func(s *scenario, r random) {
			charge := r.between(0.45, 0.70)
			s.parts = append(s.parts, func(w *world, _ random) { w.battery.charge = charge })
		}),
		power("brownout-at-starts", Trouble, "a weak battery and a driver who starts with full stick: a brownout at nearly every hard start", 0.06, "battery", hardStarts),
		power("overload", Trouble, "full stick with lift and path at once, and drive controllers without a useful limit, on a sound battery", 0.08, "battery", overload),
		power("weak-but-holding", Confounder, "a weak battery in a robot that is driven gently: it never dips under the cut-off", 0.06, "battery", weakButHolding),
		power("near-cut-off", Confounder, "controllers that hold the supply just above the cut-off: deep dips that do no harm", 0.06, "battery", nearCutOff),
		power("chatter", Confounder, "controllers whose limiters hunt: dips that come back only part of the way and fall again", 0.06, "battery", chatter),
		power("cold-battery", Confounder, "a sound battery from the cold, 0 to 5 degrees: more resistance, less capacity", 0.06, "battery", func(s *scenario, r random) {
			degrees := r.between(0, 5)
			s.power.degrees = &degrees
		}),
		power("bad-connection", Trouble, "a lug between battery and bus that came loose: its resistance jumps when it is shaken", 0.08, "", badConnection),
		power("stiff-gearbox", Trouble, "one gearbox binds: its branch draws about twice", 0.08, "", stiffGearbox),
		power("controller-cuts-out", Confounder, "one drive controller at the end of bad wires cuts out by itself, while the supply holds", 0.07, "", controllerCutsOut),
		power("hard-braking", Confounder, "a heavy robot with strong motors, driven hard: much is fed back when it brakes", 0.07, "", hardBraking),
		power("battery-other-name", Confounder, "the log names another battery", 0.10, "", func(s *scenario, r random) {
			if s.battery != "" {
				s.battery = []string{"B2", "B4", "B7", "old red", "spare"}[r.IntN(5)]
			}
		}),
		power("steady-load", Confounder, "the robot stands all match and draws the same all the time", 0.03, "still", func(s *scenario, r random) {
			s.power.still, s.power.feeding = true, true
			lamps := r.between(6, 14)
			s.power.wiring = append(s.power.wiring, func(w *world) {
				w.supply.loads = append(w.supply.loads, load{
					name: "lamps", r: stream(w.seed, "lamps"), run: lamps, dying: 1, wander: 0.1,
					onFor: [2]float64{1e6, 1e6}, offFor: [2]float64{1e6, 1e6},
				})
			})
		}),
		power("no-load", Confounder, "the robot stands all match and draws hardly any current", 0.03, "still", func(s *scenario, _ random) {
			s.power.still = true
		}),
		power("compressor", Robot, "a pump draws 10 to 15 A, on and off as it fills its tank", 0.10, "", compressor),
		power("lights", Robot, "a string of lights that blinks, 1 to 3 A", 0.08, "", func(s *scenario, r random) {
			amps, each := r.between(1, 3), r.between(0.4, 1.5)
			s.power.wiring = append(s.power.wiring, func(w *world) {
				w.supply.loads = append(w.supply.loads, load{
					name: "lights", r: stream(w.seed, "lights"), run: amps, dying: 1,
					onFor: [2]float64{each, each}, offFor: [2]float64{each, each}, when: w.enabled,
				})
			})
		}),
		power("low-cut-off", Robot, "controllers let go at 6.3 V and take hold again at 6.9", 0.08, "cut-off", cutOffAt(6.3, 6.9)),
		power("high-cut-off", Robot, "controllers let go at 7.5 V and take hold again at 8.1", 0.08, "cut-off", cutOffAt(7.5, 8.1)),
		power("other-cut-off", Robot, "controllers let go somewhere from 5.8 to 8.2 V and take hold again 0.3 to 0.9 V above", 0.08, "cut-off", func(s *scenario, r random) {
			enter, more := r.tenth(5.8, 8.2), r.tenth(0.3, 0.9)
			cutOffAt(enter, math.Round(10*(enter+more))/10)(s, r)
		}),
		power("own-cut-offs", Robot, "each branch has a cut-off of its own, from 5.6 to 7.6 V at its controllers", 0.08, "", ownCutOffs),
		power("branches-only", Robot, "no sensor for the whole current, only those of the branches", 0.08, "", func(s *scenario, _ random) {
			s.signals = s.signals.without("power/current")
		}),
		power("two-motor-drive", Robot, "one weaker motor a side", 0.08, "drive-motors", func(s *scenario, _ random) {
			s.power.motors = append(s.power.motors, func(w *world) {
				for _, a := range []*axis{w.chassis.left, w.chassis.right} {
					a.motor.r, a.motor.windingMax, a.motor.inputMax = 1.5*a.motor.r, 70, 50
				}
			})
		}),
		power("four-motor-drive", Robot, "two motors a side, each with a breaker and a controller of its own", 0.12, "drive-motors", func(s *scenario, _ random) {
			s.power.motors = append(s.power.motors, separate)
		}),
	}
}
