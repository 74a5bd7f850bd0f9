package sim

import (
	"fmt"
	"slices"
)

// rateConditions change how often the robot logs. A match has one of them at most.
func rateConditions() []condition {
	whole := func(hz int, odds float64) condition {
		name, summary := fmt.Sprintf("log-%d-hz", hz), fmt.Sprintf("all that is logged steadily is logged %d times a second", hz)
		return sensor(name, summary, func(s *scenario, _ random) {
			s.sensors.loop = 1000 / hz
			s.change(func(_ *world, rec *recorder) {
				for _, c := range rec.those((*channel).periodic) {
					c.every = 1
				}
			})
		}).often(odds)
	}
	return in(
		"rates",
		whole(20, 0.05), whole(50, 0.04), whole(100, 0.04), whole(200, 0.05), whole(250, 0.04),
		whole(1000, 0.03), // costs time
		sensor("mixed-rates", "each device of the robot is logged at a rate of its own, 10 to 200 a second", func(s *scenario, r random) {
			s.sensors.loop = 5
			s.change(func(_ *world, rec *recorder) {
				every := map[string]int{}
				for _, c := range rec.those((*channel).periodic) {
					if every[c.device()] == 0 {
						every[c.device()] = []int{1, 2, 4, 5, 8, 10, 20}[r.IntN(7)]
					}
					c.every = every[c.device()]
				}
			})
		}).often(0.06),
		sensor("odd-rates", "some devices send when they like, at rates such as 33.3 a second", func(s *scenario, r random) {
			s.change(func(_ *world, rec *recorder) {
				hz := map[string]float64{}
				for _, c := range rec.those((*channel).periodic) {
					d := c.device()
					if _, drawn := hz[d]; !drawn {
						hz[d] = []float64{0, 12.5, 17, 33.3, 62.5, 71, 90, 143}[r.IntN(8)]
					}
					c.hz = hz[d]
				}
			})
		}).often(0.05),
	)
}

// linkConditions are about the way from the robot to the file, and its clock.
func linkConditions() []condition {
	return []condition{
		sensor("radio-gaps", "the radio is out several times, for 0.2 to 3 s", func(s *scenario, r random) {
			s.gaps = slices.Clone(s.gaps)
			for t := r.between(5, 40); t < s.end()-5; t += r.between(12, 60) {
				g := gap{t, r.spread(0.2, 3)}
				s.gaps = append(s.gaps, g)
				t += g.length
			}
		}),
		sensor("silent-device", "one device sends nothing for 1 to 12 s", func(s *scenario, r random) {
			g := gap{r.between(20, s.end()-40), r.spread(1, 12)}
			s.change(func(_ *world, rec *recorder) {
				one := rec.pick(r, (*channel).periodic)
				if one == nil {
					return
				}
				for _, c := range rec.those((*channel).periodic) {
					if c.device() != one.device() {
						continue
					}
					usually := c.when
					c.when = func(w *world) bool {
						return (w.now() < g.start || w.now() >= g.start+g.length) && (usually == nil || usually(w))
					}
					if usually == nil {
						rec.silent = append(rec.silent, silence{c.id, g})
					}
				}
			})
		}),
		sensor("late-rows", "one row in fifty reaches the file up to 4 s late, out of order", func(s *scenario, r random) {
			s.sensors.arrival.late, s.sensors.arrival.most = 0.02, 4
			s.sensors.arrival.r = r
		}),
		sensor("doubled-rows", "some rows are written twice, the first time now and then with old values", func(s *scenario, r random) {
			s.sensors.arrival.doubled = r.spread(0.005, 0.1)
			s.sensors.arrival.r = r
		}),
		sensor("wrong-clock", "the robot's clock is 20 to 300 parts in a million too fast or too slow", func(s *scenario, r random) {
			s.sensors.clock.ppm = r.spread(20, 300) * r.signed(1, 1)
		}),
		sensor("clock-step", "something sets the robot's clock 0.3 to 3 s onward in mid-match", func(s *scenario, r random) {
			s.sensors.clock.stepAt, s.sensors.clock.stepS = r.between(s.leadS+24, s.end()-50), r.spread(0.3, 3)
		}),
		sensor("reboot", "the robot's computer restarts in mid-match: 4 to 9 s of nothing, then counters and odometry begin anew", func(s *scenario, r random) {
			s.sensors.rebootAt = []float64{r.between(s.leadS+25, s.end()-50)}
			s.sensors.rebootFor = []float64{r.between(4, 9)}
		}),
		sensor("log-begins-late", "logging starts when the match runs already", func(s *scenario, r random) {
			s.sensors.from = r.between(s.leadS+1, s.leadS+45)
		}),
		sensor("log-ends-early", "the battery falls out in mid-match and the log ends there", func(s *scenario, r random) {
			s.sensors.until = r.between(s.leadS+55, s.end()-20)
		}),
	}
}

// end of the match, s since the log's begin.
func (s *scenario) end() float64 { return s.starts() + s.driving() }
