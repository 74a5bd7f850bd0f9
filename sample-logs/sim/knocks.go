package sim

import "math"

// knocks are hits by other robots: a push along, a twist, a shove aside that no wheel
// feels, and a jolt.
type knocks struct {
	r     random
	at    []float64
	aside float64 // m/s, dying away
}

func newKnocks(r random, start, end float64) *knocks {
	k := &knocks{r: r}
	for t := start; ; {
		t += -30 * math.Log(1-r.Float64()) // about one in half a minute
		if t > end-25 {
			return k
		}
		k.at = append(k.at, t)
	}
}

func (k *knocks) step(w *world) {
	if len(k.at) > 0 && w.now() >= k.at[0] {
		k.at = k.at[1:]
		from, to := w.field.open()
		if c := w.chassis; c.x > from+0.5 && c.x < to-0.5 && !w.platform.carries(c) {
			c.v += k.r.normal(0, 0.35)
			c.yaw += k.r.normal(0, 0.7)
			k.aside = k.r.normal(0, 0.7)
			w.body.rate += k.r.normal(0, 1.3)
		}
	}
	w.chassis.x -= k.aside * math.Sin(w.chassis.heading) * step
	w.chassis.y += k.aside * math.Cos(w.chassis.heading) * step
	k.aside *= 1 - step/0.06
}
