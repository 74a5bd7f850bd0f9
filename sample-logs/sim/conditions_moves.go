package sim

// moveConditions are what the lift is, how it is held to its target, and what it is sent to.
func moveConditions() []condition {
	name := func(name, kind, summary string) Condition {
		return Condition{Name: name, Subject: "balance", Kind: kind, Summary: summary}
	}
	loop := func(c Condition, odds float64, set func(*armLoop, random)) condition {
		return condition{Condition: c, odds: odds, group: "lift", set: func(s *scenario, r random) {
			s.balance.armLoop = func(l *armLoop, _ random) { set(l, r) }
		}}
	}
	sent := func(c Condition, odds float64, set func(*orders, random)) condition {
		return condition{Condition: c, odds: odds, group: "orders", set: func(s *scenario, r random) {
			s.balance.orders = func(o *orders) { set(o, r) }
		}}
	}
	built := func(c Condition, odds float64, group string, set func(*arm, random)) condition {
		return condition{Condition: c, odds: odds, group: group, set: func(s *scenario, r random) {
			s.parts = append(s.parts, func(w *world, _ random) { set(w.arm, r) })
		}}
	}
	return []condition{
		built(name("pivoting-arm", Robot, "an arm on a pivot in place of the lift: gravity pulls by its angle"), 0.12, "", func(a *arm, r random) {
			a.length, a.lean, a.gear = r.between(0.45, 0.65), r.between(-0.6, -0.1), r.between(70, 110)
			a.mass, a.rub = r.between(4, 6), r.between(1, 3)
			a.soft, a.buffer = 0.05, 30
		}),
		built(name("sticky-lift", Robot, "the lift sticks: it takes more to start than to go on"), 0.10, "", func(a *arm, r random) {
			a.static = a.rub * r.between(0.6, 1.2)
		}),
		loop(name("slow-lift", Trouble, "the lift's loop is slow"), 0.07, func(l *armLoop, r random) {
			l.top, l.kp = r.between(0.2, 0.45), r.between(4, 9)
		}),
		loop(name("overshooting-lift", Trouble, "the lift goes well past its target before it comes back"), 0.08, func(l *armLoop, r random) {
			l.top, l.ramp = 3, 40
			l.kp, l.kd, l.late = r.between(5, 8), 0, 4+r.IntN(4)
		}),
		loop(name("hunting-lift", Trouble, "the lift swings about its target"), 0.07, func(l *armLoop, r random) {
			l.kp, l.kd, l.late = r.between(9, 12), 0, 5+r.IntN(3)
		}),
		loop(name("sagging-lift", Trouble, "gravity is not fed forward and the loop is soft: the lift stays short"), 0.08, func(l *armLoop, r random) {
			l.holdUp, l.kp = 0, r.between(1.2, 2.6)
		}),
		loop(name("drifting-lift", Confounder, "the lift drifts slowly within its tolerance"), 0.07, func(l *armLoop, r random) {
			l.creep, l.creepMost = -r.between(0.002, 0.006), r.between(0.008, 0.014)
		}),
		built(name("heavy-lift", Trouble, "near the top the load grows until the motor can no more: the lift stays short"), 0.07, "lift", func(a *arm, r random) {
			a.axis.motor.windingMax = r.between(1.5, 1.9) * a.pull() / (a.axis.motor.ke * a.ratio() * a.yield)
			a.from, a.grows = r.between(0.755, 0.78), r.between(1500, 3000)
		}),
		built(name("weak-lift", Trouble, "the lift's controller is set to little current"), 0.07, "lift", func(a *arm, r random) {
			m := &a.axis.motor
			hold := a.pull() / (m.ke * a.ratio() * a.yield)
			m.windingMax = hold * r.between(1.5, 2)
		}),
		sent(name("changes-mind", Confounder, "the operator sends the lift elsewhere on its way, and back again"), 0.10, func(o *orders, _ random) {
			o.doubts = 0.5
		}),
		sent(name("trembling-target", Confounder, "the lift's target trembles within its tolerance"), 0.08, func(o *orders, r random) {
			o.tremble = r.between(0.002, 0.007)
		}),
		sent(name("small-changes", Confounder, "the lift's target is set anew by less than its tolerance"), 0.08, func(o *orders, r random) {
			o.nudge = r.between(0.004, 0.008)
		}),
	}
}
