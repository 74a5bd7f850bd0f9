package sim

import "math"

// faultConditions are about sensors that say what cannot be true.
func faultConditions() []condition {
	return []condition{
		sensor("frozen-sensor", "one sensor repeats its last reading for 3 to 30 s", func(s *scenario, r random) {
			from, length := r.between(s.leadS+15, s.end()-70), r.spread(3, 30)
			s.change(func(_ *world, rec *recorder) {
				if c := rec.pick(r, (*channel).mayFail); c != nil {
					c.faults = append(c.faults, &fault{kind: frozen, note: "repeats its last reading", from: from, to: from + length})
				}
			})
		}),
		sensor("dead-sensor", "one sensor reads 0 all match", func(s *scenario, r random) {
			s.change(func(_ *world, rec *recorder) {
				if c := rec.pick(r, (*channel).mayBeDead); c != nil {
					c.faults = append(c.faults, &fault{
						kind: dead, note: "reads 0 from first to last sample", from: math.Inf(-1), to: math.Inf(1),
						reads: func(float64) float64 { return 0 },
					})
				}
			})
		}),
		sensor("no-readings", "one to three sensors say for moments that they have no reading", func(s *scenario, r random) {
			n := 1 + r.IntN(3)
			s.change(func(_ *world, rec *recorder) {
				for range n {
					c := rec.pick(r, func(c *channel) bool { return c.measured() && !c.unlogged })
					if c == nil {
						return
					}
					for _, m := range newBursts(r, s.end(), 15, 80, 0.03, 4) {
						c.faults = append(c.faults, &fault{
							kind: noReading, note: "not a number", from: m.start, to: m.start + m.length,
							reads: func(float64) float64 { return math.NaN() },
						})
					}
				}
			})
		}),
	}
}

// mayFail are the sensors without which the log still tells what happened. (Of a voltage or
// a place that stands still nobody could say what it hid.)
func (c *channel) mayFail() bool {
	return c.measured() && !c.unlogged && (c.isCurrent() || c.role == "path.stages.speed" || c.role == "balance.tilt" || c.role == "balance.rate")
}

// mayBeDead are those of which that is so for a whole match.
func (c *channel) mayBeDead() bool {
	return c.mayFail() && c.role != "balance.tilt" && c.device() != "power"
}
