package sim

import "math"

func pathLookalike(name, group string, odds float64, summary string, set func(*scenario, random)) condition {
	return condition{
		Condition: Condition{Name: name, Subject: "path", Kind: Confounder, Summary: summary},
		odds:      odds, group: group, set: set,
	}
}

// pathLookalikes are what looks like a jam and is none.
func pathLookalikes() []condition {
	return []condition{
		pathLookalike("preloaded", "loaded", 0.06, "a piece is in the last stage before the log begins", preloaded),
		pathLookalike("loaded-by-hand", "loaded", 0.06, "a person pushes a piece into the mouth while the robot stands disabled", loadedByHand),
		pathLookalike("held-on-purpose", "", 0.06, "the belts are stopped for seconds while a piece is on its way", func(s *scenario, r random) {
			for range 2 {
				s.onTrip(s.freeTrip(r, 2, 9), func(f fitting) {
					f.c.pause = &pause{at: r.between(0.12, f.w.path.last().beam-0.05), seconds: r.between(1, 5)}
				})
			}
		}),
		pathLookalike("waits-at-gate", "", 0.06, "pieces wait for seconds at the last stage, ready, before the driver lets them go", func(s *scenario, r random) {
			s.drive.lingerS = r.between(2.5, 6)
		}),
		pathLookalike("pressed-on-gate", "", 0.06, "a small command holds waiting pieces against a shut gate", func(s *scenario, r random) {
			s.barred()
			u := r.between(0.1, 0.4)
			s.path.program = append(s.path.program, func(f *feeder) { f.holding = u })
		}),
		pathLookalike("pressed-queue", "", 0.06, "a second piece is driven against the one that waits at a shut gate", func(s *scenario, r random) {
			s.barred()
			u := r.between(0.5, 0.75)
			s.path.program = append(s.path.program, func(f *feeder) { f.presses = u })
			for range 2 {
				s.trip(s.freeTrip(r, 2, 9), func(t *tripPlan) { t.pieces = 2 })
			}
		}),
		pathLookalike("three-at-once", "", 0.06, "three pieces are in the path at once on two trips", func(s *scenario, r random) {
			for range 2 {
				s.trip(s.freeTrip(r, 3, 8), func(t *tripPlan) { t.pieces = 3 })
			}
		}),
		pathLookalike("belts-run-empty", "", 0.06, "the belts run for seconds with nothing inside", func(s *scenario, r random) {
			every, long, shift := r.between(7, 14), r.between(2, 5), r.between(0, 7)
			s.path.program = append(s.path.program, func(f *feeder) {
				f.idles = func(now float64) bool { return math.Mod(now+shift, every) < long }
			})
		}),
		pathLookalike("touch-and-go", "", 0.06, "a piece touches the mouth and is gone again", func(s *scenario, r random) {
			once := map[int]bool{2 + r.IntN(3): true, 5 + r.IntN(4): true}
			s.path.touches = func(trip int) *hand {
				if !once[trip] {
					return nil
				}
				once[trip] = false
				return &hand{from: r.between(0.11, 0.19), to: -1, v: -r.between(0.3, 0.8)}
			}
		}),
		pathLookalike("snags", "", 0.06, "every other piece stops for less than 0.3 s on its way", func(s *scenario, r random) {
			s.path.fits = append(s.path.fits, func(f fitting) {
				if f.nth%2 == 0 {
					f.snag(r)
				}
			})
		}),
		pathLookalike("slick-pieces", "", 0.06, "some pieces are slick and take about twice as long", func(s *scenario, r random) {
			s.path.fits = append(s.path.fits, func(f fitting) {
				if r.Float64() < 0.45 {
					slick(f, r.between(0.40, 0.55))
				}
			})
		}),
		pathLookalike("skew-pieces", "", 0.06, "some pieces lie skew: shorter or longer across a beam", func(s *scenario, r random) {
			s.path.fits = append(s.path.fits, func(f fitting) {
				if r.Float64() < 0.5 {
					f.c.length = r.between(0.17, 0.25)
					f.c.drag *= 1.1
				}
			})
		}),
		pathLookalike("mixed-weights", "", 0.06, "pieces are lighter and heavier than usual, and softer", func(s *scenario, r random) {
			s.path.fits = append(s.path.fits, func(f fitting) {
				f.c.mass, f.c.press = r.between(0.18, 0.85), r.between(62, 95)
			})
		}),
		pathLookalike("heavy-rollers", "slow path", 0.06, "rollers turn hard: slow passes and more current", func(s *scenario, r random) {
			more := r.between(1.6, 2.3)
			s.parts = append(s.parts, func(w *world, _ random) {
				for _, b := range w.path.belts {
					b.friction *= more
				}
			})
		}),
		pathLookalike("thin-path-wires", "slow path", 0.06, "thin wires to the path's motors: slow under load, and weak", func(s *scenario, r random) {
			more := r.between(1.5, 2.0)
			s.parts = append(s.parts, func(w *world, _ random) {
				for _, b := range w.path.belts {
					b.axis.motor.r *= more
				}
			})
		}),
	}
}

// barred puts a gate into the path that opens to release.
func (s *scenario) barred() {
	s.parts = append(s.parts, func(w *world, _ random) { w.path.bar = w.path.last().beam + 0.03 })
}

// slick makes a piece slip so much that it loses a part of the slowest belt's speed, where it
// goes straight up.
func slick(f fitting, part float64) {
	c, slowest := f.c, math.Inf(1)
	for i, b := range f.w.path.belts[:len(f.w.path.belts)-1] {
		free := f.w.program.feed.speeds[i] * 12 / b.axis.motor.ke / b.gear * b.radius
		slowest = min(slowest, 0.85*free)
	}
	// Where little grip is left a lubricated piece would only creep: it has less drag too.
	c.drag = min(c.drag, 0.5*c.mu*c.press-c.mass*gravity)
	load := (c.drag + c.mass*gravity) / (c.mu * c.press)
	c.knee = max(slipKnee, part*slowest/math.Atanh(load))
}

// preloaded puts a piece where it waits for its release.
func preloaded(s *scenario, r random) {
	s.path.loaded = true
	s.path.start = append(s.path.start, func(w *world) {
		c := newPiece(r)
		w.scenario.grips(w, c)
		w.path.admit(c, 0)
		c.x = w.path.last().beam + 0.015
		w.program.inside = 1
		w.program.feed.reached = []int{len(w.path.belts) - 1}
		w.program.feed.was[len(w.path.belts)-1] = true
		w.driver.phase = toGoal
	})
}

// loadedByHand has a person push one in some seconds before the match.
func loadedByHand(s *scenario, r random) {
	s.path.loaded = true
	s.path.start = append(s.path.start, func(w *world) {
		c := newPiece(r)
		w.scenario.grips(w, c)
		w.path.admit(c, 0)
		before := r.between(2, 7)
		deep := w.path.belts[0].beam + r.between(0.03, 0.09)
		c.hand = &hand{wait: w.scenario.leadS - before, from: 0, to: deep, v: r.between(0.08, 0.25)}
		w.driver.phase = toGoal
	})
}
