package sim

func pathRobot(name, group string, odds float64, summary string, set func(*scenario, random)) condition {
	return condition{
		Condition: Condition{Name: name, Subject: "path", Kind: Robot, Summary: summary},
		odds:      odds, group: group, set: set,
	}
}

// pathRobots are other paths and other programs for them.
func pathRobots() []condition {
	return []condition{
		pathRobot("path-build", "", 0.15, "another path: three to six stages, some without a beam", func(s *scenario, r random) {
			s.path.build = drawPath
			s.path.program = append(s.path.program, func(f *feeder) {
				for i := range f.speeds {
					f.speeds[i] = r.between(0.70, 0.95)
				}
				f.speeds[len(f.speeds)-1] = r.between(0.40, 0.55)
			})
		}),
		pathRobot("program-all-stages", "path program", 0.06, "all stages run while a piece is on its way or the intake button is held", func(s *scenario, _ random) {
			s.path.program = append(s.path.program, func(f *feeder) { f.way = feedAll })
		}),
		pathRobot("program-stage-by-stage", "path program", 0.06, "a stage runs only while a piece is in it or comes to it", func(s *scenario, _ random) {
			s.path.program = append(s.path.program, func(f *feeder) { f.way = feedPieces })
		}),
		pathRobot("program-one-speed", "path program", 0.06, "all stages run at one command", func(s *scenario, r random) {
			u := r.between(0.6, 0.85)
			s.path.program = append(s.path.program, func(f *feeder) {
				for i := range f.speeds {
					f.speeds[i] = u
				}
				f.release = []float64{u, u}
			})
		}),
		pathRobot("low-current-limit", "", 0.06, "the path's controllers limit their motors to 14 to 24 A", func(s *scenario, r random) {
			amps := r.between(14, 24)
			s.parts = append(s.parts, func(w *world, _ random) {
				for _, b := range w.path.belts {
					b.axis.motor.windingMax = amps
				}
			})
		}),
	}
}
