package sim

import (
	"math"

	"github.com/goccy/go-yaml"
)

// imuConditions are about the sensor of tilt and tilt rate.
func imuConditions() []condition {
	return []condition{
		sensor("imu-spikes", "single tilt readings are 4 to 40 degrees off", func(s *scenario, r random) {
			chance := r.spread(0.002, 0.02)
			onTilt(s, func(_ *world, c *channel) {
				left, off := 0, 0.0
				c.wrong(func(_, v float64) float64 {
					if left == 0 && r.Float64() < chance {
						left, off = 1+r.IntN(2), r.signed(4, 40)
					}
					if left > 0 {
						left--
						return v + off
					}
					return v
				})
			})
		}),
		sensor("imu-drifts", "tilt and tilt rate have a bias, and the tilt's changes slowly", func(s *scenario, r random) {
			bias, drift, rate := r.signed(0.2, 1.2), r.signed(0.1, 0.8)/60, r.signed(0.2, 1.5)
			onTilt(s, func(_ *world, c *channel) {
				c.wrong(func(now, v float64) float64 { return v + bias + drift*now })
			})
			onRate(s, func(_ *world, c *channel) { c.wrong(func(_, v float64) float64 { return v + rate }) })
		}),
		sensor("imu-mounted-askew", "the tilt sensor is mounted 0.8 to 2.5 degrees off", func(s *scenario, r random) {
			off := r.signed(0.8, 2.5)
			onTilt(s, func(_ *world, c *channel) { c.wrong(func(_, v float64) float64 { return v + off }) })
		}),
		sensor("imu-turned-round", "nose down reads positive; the profile says so in half the cases", func(s *scenario, r random) {
			known := r.Float64() < 0.5
			turn := func(_ *world, c *channel) {
				c.wrong(func(_, v float64) float64 { return -v })
				if known {
					c.says = append(c.says, yaml.MapItem{Key: "invert", Value: true})
				}
			}
			onTilt(s, turn)
			onRate(s, turn)
		}),
		sensor("imu-feels-turns", "turning at speed shows in the tilt, as gravity leans over", func(s *scenario, r random) {
			part := r.signed(0.15, 0.6)
			onTilt(s, func(w *world, c *channel) {
				c.wrong(func(_, v float64) float64 {
					return v + part*math.Atan(w.chassis.v*w.chassis.yaw/gravity)/degree
				})
			})
			onRate(s, func(w *world, c *channel) {
				c.wrong(func(_, v float64) float64 { return v + 0.05*part*w.chassis.yaw/degree })
			})
		}),
		sensor("imu-drops-out", "the tilt reads 0 for moments of up to 1.5 s", func(s *scenario, r random) {
			moments := newBursts(r, s.end(), 8, 40, 0.05, 1.5)
			onTilt(s, func(_ *world, c *channel) {
				for _, m := range moments {
					c.faults = append(c.faults, &fault{
						kind: frozen, note: "reads 0 for a moment", from: m.start, to: m.start + m.length,
						reads: func(float64) float64 { return 0 },
					})
				}
			})
		}),
	}
}

func onTilt(s *scenario, change func(*world, *channel)) { onOne(s, "imu/pitch", change) }

func onRate(s *scenario, change func(*world, *channel)) { onOne(s, "imu/pitch_rate", change) }

func onOne(s *scenario, id string, change func(*world, *channel)) {
	s.change(func(w *world, rec *recorder) {
		if c := rec.channel(id); c != nil {
			change(w, c)
		}
	})
}
