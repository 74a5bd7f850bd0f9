package sim

import (
	"math"
	"slices"
)

// balancePlan is what is special about the platform, the loop and the arm.
type balancePlan struct {
	tries   []try   // what the driver does on the platform, visit by visit
	hand    *byHand // nil: the program levels
	autoAtS float64 // s into the autonomous period from which the program goes there; 0 never
	armLoop func(*armLoop, random)
	orders  func(*orders)
}

func balanceConditions() []condition {
	return slices.Concat(
		boardConditions(), levellerConditions(), visitConditions(), floorConditions(), moveConditions(),
	)
}

// onBoard is a condition that changes the board before the match.
func (s *scenario) onBoard(change func(*platform)) {
	s.parts = append(s.parts, func(w *world, _ random) { change(w.platform) })
}

// boardConditions are the platforms there are: what holds them level, and what slows them.
// Sizes are of the right order for a board of 45 kg m2 with stops at 12 deg; chosen by us.
func boardConditions() []condition {
	board := func(name, kind, summary string, odds float64, set func(*platform, random)) condition {
		return condition{
			Condition: Condition{Name: name, Subject: "balance", Kind: kind, Summary: summary},
			odds:      odds, group: "board",
			set: func(s *scenario, r random) { s.onBoard(func(p *platform) { set(p, r) }) },
		}
	}
	with := func(name, summary string, odds float64, g func(random) *guest) condition {
		return condition{
			Condition: Condition{Name: name, Subject: "balance", Kind: Trouble, Summary: summary},
			odds:      odds, group: "partner",
			set: func(s *scenario, r random) {
				guest := g(r)
				s.onBoard(func(p *platform) { p.guests = append(p.guests, guest) })
			},
		}
	}
	side := func(r random, from, to float64) float64 {
		return math.Copysign(r.between(from, to), r.Float64()-0.5)
	}
	return []condition{
		board("springy-board", Robot, "stiff springs and little damping: the board swings by itself", 0.10, func(p *platform, r random) {
			p.stiff, p.damp, p.rub = r.between(500, 1100), r.between(60, 200), 0
		}),
		board("free-board", Robot, "hardly any springs: nothing but the robot brings it level", 0.10, func(p *platform, r random) {
			p.stiff, p.damp, p.rub = r.between(0, 40), r.between(150, 500), 0
		}),
		board("damped-board", Robot, "a strong damper and little friction", 0.12, func(p *platform, r random) {
			p.stiff, p.damp, p.rub = r.between(20, 250), r.between(250, 600), r.between(0, 3)
		}),
		board("smooth-board", Robot, "weak springs, some damping and hardly any friction", 0.15, func(p *platform, r random) {
			p.stiff, p.damp, p.rub = r.between(0, 200), r.between(100, 350), r.between(0, 0.5)
		}),
		board("sticky-board", Trouble, "dry friction in the pivot: the board sticks and slips", 0.10, func(p *platform, r random) {
			p.dry, p.rub = r.between(12, 40), 0
			p.static = p.dry * r.between(1.2, 1.8)
		}),
		board("clicking-board", Robot, "a detent holds the board level, and latches at its stops", 0.08, func(p *platform, r random) {
			p.click, p.catchW = r.between(25, 70), r.between(1.5, 3)*degree
			p.latch = r.between(20, 60)
		}),
		board("slack-board", Robot, "play in the pivot: the board rattles about level", 0.08, func(p *platform, r random) {
			p.slack, p.rub = r.between(1, 2.5)*degree, r.between(0, 4)
		}),
		board("bouncing-board", Robot, "the stops throw the board back", 0.08, func(p *platform, r random) {
			p.bounce, p.damp = r.between(0.35, 0.6), p.damp*r.between(0.4, 0.8)
		}),
		{
			Condition: Condition{Name: "slick-board", Subject: "balance", Kind: Robot, Summary: "wheels slip on the board"},
			odds:      0.08,
			set: func(s *scenario, r random) {
				slick := r.between(0.3, 0.6)
				s.onBoard(func(p *platform) { p.slick = slick })
			},
		},
		with("partner-on-board", "another robot sits on the board from the beginning", 0.07, func(r random) *guest {
			g := &guest{mass: r.between(25, 55), base: r.between(0.5, 0.7), aboard: true, s: r.between(-0.45, 0.1)}
			g.goal = g.s
			return g
		}),
		with("partner-joins", "another robot drives onto the board while this one levels", 0.09, func(r random) *guest {
			return &guest{
				mass: r.between(25, 55), base: r.between(0.5, 0.7), goal: side(r, 0.1, 0.7), speed: r.between(0.4, 1.1),
				after: r.between(0.3, 3), shift: side(r, 0, 0.25),
			}
		}),
		with("partner-tips-late", "another robot tips the board after it was level", 0.09, func(r random) *guest {
			return &guest{
				mass: r.between(40, 58), base: r.between(0.5, 0.7), goal: side(r, 0.3, 0.8), speed: r.between(0.5, 1.2),
				after: r.between(1.1, 3.5), level: true,
			}
		}),
	}
}

// levellerConditions are the ways a robot is brought level. Gains are drawn widely about
// what a team would find by trying; chosen by us.
func levellerConditions() []condition {
	loop := func(name, kind, summary string, odds float64, set func(*leveller, random)) condition {
		return condition{
			Condition: Condition{Name: name, Subject: "balance", Kind: kind, Summary: summary},
			odds:      odds, group: "levelling",
			set: func(s *scenario, r random) { s.levelling(func(l *leveller) { set(l, r) }) },
		}
	}
	usual := func(l *leveller, r random) {
		l.kp, l.kd = r.between(0.004, 0.012), r.between(0.003, 0.006)
		l.quiet, l.most, l.late = max(0, r.between(-0.8, 0.8)), r.between(0.25, 0.5), r.IntN(4)
	}
	return []condition{
		loop("levels-well", Robot, "tilt and rate in good measure, with gains of its own", 0.12, func(l *leveller, r random) {
			usual(l, r)
			l.kd = l.kp * r.between(0.5, 0.9)
		}),
		loop("tilt-only", Trouble, "the loop answers tilt and not its rate", 0.10, func(l *leveller, r random) {
			usual(l, r)
			l.kd = 0
		}),
		loop("little-rate", Trouble, "the loop answers the rate too little: it swings before it rests", 0.09, func(l *leveller, r random) {
			usual(l, r)
			l.kd = l.kp * r.between(0.08, 0.3)
		}),
		loop("much-rate", Trouble, "the loop answers the rate too much: it creeps to level", 0.08, func(l *leveller, r random) {
			usual(l, r)
			l.kp, l.kd = r.between(0.002, 0.005), r.between(0.006, 0.010)
		}),
		loop("full-or-nothing", Trouble, "the loop drives up the slope at one speed and stops when level", 0.08, func(l *leveller, r random) {
			usual(l, r)
			l.bang, l.quiet = r.between(0.08, 0.2), r.between(0.5, 2)
		}),
		loop("slow-command", Trouble, "the levelling command may change only slowly", 0.07, func(l *leveller, r random) {
			usual(l, r)
			l.ramp = r.between(0.08, 0.4)
		}),
		loop("noisy-rate", Trouble, "the rate the loop uses is noisy", 0.07, func(l *leveller, r random) {
			usual(l, r)
			l.jitter, l.share = r.between(4, 15), r.between(0.3, 1)
		}),
		loop("weak-command", Trouble, "the levelling command is at its limit most of the time", 0.07, func(l *leveller, r random) {
			usual(l, r)
			l.kp, l.most = r.between(0.012, 0.03), r.between(0.05, 0.12)
		}),
		loop("sticky-drive", Trouble, "a small command does not move the robot", 0.07, func(l *leveller, r random) {
			usual(l, r)
			l.sticky, l.quiet = r.between(0.03, 0.07), 0
		}),
		loop("winds-up", Trouble, "an integral goes on growing while the board is at its stop", 0.07, func(l *leveller, r random) {
			usual(l, r)
			l.quiet, l.ki, l.sumMost = 0, r.between(0.002, 0.008), r.between(0.05, 0.2)
		}),
		{
			Condition: Condition{Name: "by-hand", Subject: "balance", Kind: Trouble, Summary: "the driver levels with the sticks"},
			odds:      0.10, group: "levelling",
			set: func(s *scenario, r random) {
				s.balance.hand = &byHand{
					late: r.delay(0.25, 0.2), gain: r.between(0.012, 0.035), rate: r.between(0, 0.012),
					blind: r.between(0.5, 2), most: r.between(0.2, 0.5),
				}
			},
		},
		{
			Condition: Condition{Name: "late-levelling", Subject: "balance", Kind: Trouble, Summary: "the loop works from tilts 0.05 to 0.12 s old"},
			odds:      0.12,
			set:       func(s *scenario, r random) { s.levelling(func(l *leveller) { l.late = 5 + r.IntN(8) }) },
		},
	}
}

// levelling adds a change of the levelling loop to those there are.
func (s *scenario) levelling(change func(*leveller)) {
	before := s.leveller
	s.leveller = func(l *leveller, r random) {
		if before != nil {
			before(l, r)
		}
		change(l)
	}
}
