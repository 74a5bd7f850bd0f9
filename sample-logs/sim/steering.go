package sim

import "math"

const freeSpeed = 3.4 // m/s at full stick, as the driver feels it

// towards drives to a point, backwards if asked, slowing down for it.
func (d *driver) towards(w *world, x, y, top float64, backwards bool) (forward, turn float64) {
	c := w.chassis
	x, y, top = d.avoid(w, x, y, top)
	dx, dy := x-c.x, y-c.y
	dist := math.Hypot(dx, dy)
	want := min(top, math.Sqrt(2*3.2*max(0, dist-0.05)))
	facing := c.heading
	if backwards {
		facing += math.Pi
		want = -want
	}
	off := wrap(math.Atan2(dy, dx) - facing)
	if dist < 0.3 {
		off = wrap(math.Pi - c.heading) // near: only straighten up
	}
	if math.Abs(off) > 1 {
		want *= 0.3
	}
	return d.speed(w, want), clamp(0.75*off, 0.4) - 0.12*c.yaw
}

// line drives forwards along a line of constant y, down the field.
func (d *driver) line(w *world, y, top float64) (forward, turn float64) {
	c := w.chassis
	lean := clamp(1.3*(y-c.y), 1.35)
	off := wrap(math.Pi - lean - c.heading)
	return d.speed(w, top*max(0.3, math.Cos(off))), clamp(0.8*off, 0.4) - 0.12*c.yaw
}

// speed is the stick for a wanted speed, m/s.
func (d *driver) speed(w *world, want float64) float64 {
	return want/freeSpeed + 0.35*(want-w.chassis.v)
}
