package sim

// visitConditions are what happens on the platform beside levelling.
func visitConditions() []condition {
	visit := func(name, kind, summary string, odds float64, set func(*scenario, random)) condition {
		return condition{
			Condition: Condition{Name: name, Subject: "balance", Kind: kind, Summary: summary},
			odds:      odds, group: "visit", set: set,
		}
	}
	earlier := func(s *scenario, r random, by float64) { s.climbS += by * r.between(0.8, 1.2) }
	return []condition{
		visit("drives-over", Trouble, "drives on over the platform and off its far end", 0.08, func(s *scenario, _ random) {
			s.balance.tries = []try{{over: true}}
		}),
		visit("backs-off", Trouble, "comes down the near side again, and stays off", 0.08, func(s *scenario, r random) {
			s.balance.tries = []try{{mostS: r.between(0.3, 2.5), stalled: r.Float64() < 0.5}}
		}),
		visit("touches", Confounder, "comes up a little way and turns back at once, then climbs", 0.09, func(s *scenario, r random) {
			s.balance.tries = []try{{touches: true, touch: r.between(-0.35, 0.35)}, {}}
			earlier(s, r, 6)
		}),
		visit("tries-again", Trouble, "comes down and climbs a second time", 0.09, func(s *scenario, r random) {
			s.balance.tries = []try{{mostS: r.between(1, 4)}, {}}
			earlier(s, r, 10)
		}),
		visit("leaves-level", Trouble, "is level, comes down, and climbs again", 0.06, func(s *scenario, r random) {
			s.balance.tries = []try{{levelS: r.between(1.2, 3)}, {}}
			earlier(s, r, 12)
		}),
		visit("late-climb", Trouble, "comes to the platform so late that the bell may end it", 0.09, func(s *scenario, r random) {
			s.climbS = r.between(8, 14)
		}),
		visit("lets-go", Trouble, "stops levelling soon after it was level", 0.06, func(s *scenario, r random) {
			s.balance.tries = []try{{letGoS: r.between(0.1, 1.5)}}
		}),
		{
			Condition: Condition{Name: "climbs-in-autonomous", Subject: "balance", Kind: Trouble, Summary: "climbs in the autonomous period too"},
			odds:      0.10,
			set:       func(s *scenario, r random) { s.balance.autoAtS = r.between(2, 9) },
		},
	}
}

// floorConditions tilt a robot that is on no platform.
func floorConditions() []condition {
	uneven := func(name, summary string, odds float64, set func(*floor, random)) condition {
		return condition{
			Condition: Condition{Name: name, Subject: "balance", Kind: Confounder, Summary: summary},
			odds:      odds,
			set: func(s *scenario, r random) {
				s.parts = append(s.parts, func(w *world, _ random) {
					if w.body.floor == nil {
						w.body.floor = &floor{r: r, side: r.between(0.2, 0.5)}
					}
					set(w.body.floor, r)
				})
			},
		}
	}
	return []condition{
		uneven("bumps", "edges tilt the robot by 6 to 12 deg for a moment", 0.10, func(f *floor, r random) {
			f.bumps, f.least, f.most = r.between(8, 25), 0.03, 0.18
		}),
		uneven("cable", "a cable lifts first its front and then its rear for almost 0.3 s", 0.08, func(f *floor, r random) {
			f.bumps, f.least, f.most, f.cable = r.between(12, 40), 0.20, 0.27, true
		}),
		uneven("rough-floor", "the floor shakes the robot wherever it drives", 0.10, func(f *floor, r random) {
			f.rough = r.between(0.5, 2)
		}),
		uneven("starts-on-slope", "it stands tilted until it has driven off at the start", 0.08, func(f *floor, r random) {
			f.slope = r.between(7, 11) * degree
			if r.Float64() < 0.5 {
				f.slope = -f.slope
			}
		}),
	}
}
