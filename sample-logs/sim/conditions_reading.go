package sim

import (
	"math"
)

// readingConditions are about sensors that are poor but not broken.
func readingConditions() []condition {
	return []condition{
		sensor("other-noise", "each device is 0.3 to 4 times as noisy as usual", func(s *scenario, r random) {
			s.change(func(_ *world, rec *recorder) {
				factor := map[string]float64{}
				for _, c := range rec.those((*channel).measured) {
					if factor[c.device()] == 0 {
						factor[c.device()] = r.spread(0.3, 4)
					}
					c.noise *= factor[c.device()]
				}
			})
		}),
		sensor("coarse-steps", "readings come in steps 2 to 10 times as wide as usual", func(s *scenario, r random) {
			s.change(func(_ *world, rec *recorder) {
				for _, c := range rec.those((*channel).measured) {
					c.per /= math.Round(r.spread(2, 10))
				}
			})
		}),
		sensor("jitter", "the logging loop is late by some milliseconds, and now and then by tens of them", func(s *scenario, r random) {
			s.sensors.jitter = r.between(4, 10)
		}),
		sensor("late-currents", "currents of the supply come 10 to 60 ms behind its voltage", func(s *scenario, r random) {
			lag := int(r.between(10, 60))
			s.change(func(_ *world, rec *recorder) {
				for _, c := range rec.those(under("power")) {
					if c.isCurrent() {
						c.lates(lag, 0)
					}
				}
			})
		}),
		sensor("late-device", "what one device measures comes 20 to 100 ms late", func(s *scenario, r random) {
			lag := int(r.between(20, 100))
			s.change(func(_ *world, rec *recorder) {
				slow := func(c *channel) bool { return c.measured() && c.device() != "power" }
				one := rec.pick(r, slow)
				if one == nil {
					return
				}
				for _, c := range rec.those(slow) {
					if c.device() == one.device() {
						c.lates(lag, 0)
					}
				}
			})
		}),
		sensor("slow-currents", "all currents are smoothed over 20 to 80 ms by their sensors", func(s *scenario, r random) {
			tau := r.between(0.02, 0.08)
			s.change(func(_ *world, rec *recorder) {
				for _, c := range rec.those((*channel).isCurrent) {
					c.lates(0, tau)
				}
			})
		}),
		sensor("current-errors", "each current is a few per cent and up to 1.5 A off", func(s *scenario, r random) {
			s.change(func(_ *world, rec *recorder) {
				for _, c := range rec.those((*channel).isCurrent) {
					gain, offset := r.normal(1, 0.025), r.between(-1.5, 1.5)
					c.wrong(func(_, v float64) float64 { return gain*v + offset })
				}
			})
		}),
		sensor("roller-encoder-slips", "the encoder of one roller slips: for moments its speed reads too low", func(s *scenario, r random) {
			s.change(func(_ *world, rec *recorder) {
				c := rec.pick(r, func(c *channel) bool { return c.role == "path.stages.speed" })
				if c == nil {
					return
				}
				bursts := newBursts(r, s.end(), 4, 15, 0.1, 1)
				c.wrong(func(now, v float64) float64 {
					if bursts.on(now) {
						return v * 0.4
					}
					return v
				})
			})
		}),
		sensor("wheels-slip", "wheels slip when pushed hard, and odometry takes it for way", func(s *scenario, r random) {
			s.sensors.wheelSlip = r.between(0.1, 0.35)
		}),
	}
}

// bursts are stretches of trouble, in order.
type bursts []gap

// newBursts draws stretches of length least to most, some pause to pause apart, up to end.
func newBursts(r random, end, pauseLeast, pauseMost, least, most float64) bursts {
	var out bursts
	for t := r.between(0, pauseMost); t < end; {
		g := gap{t, r.spread(least, most)}
		out = append(out, g)
		t += g.length + r.between(pauseLeast, pauseMost)
	}
	return out
}

func (b *bursts) on(now float64) bool {
	for len(*b) > 0 && now >= (*b)[0].start+(*b)[0].length {
		*b = (*b)[1:]
	}
	return len(*b) > 0 && now >= (*b)[0].start
}
