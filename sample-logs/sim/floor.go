package sim

import "math"

// floor is a field that is not even: cables and edges that a robot drives over, a slope it
// was set down on, and roughness all over.
type floor struct {
	r     random
	rough float64 // rad/s of rock for a metre driven, by the root of it
	bumps float64 // m/s times s between two bumps on average, that is m driven; 0 for none
	least float64 // s that a bump is beyond mount, from
	most  float64 // s, to
	cable bool    // a bump lifts first the front, then the rear

	slope float64 // rad, of the place where it stands at first
	side  float64 // m it reaches

	next   float64 // m still to drive to the next bump
	height float64 // rad, of the bump under it
	length float64 // s it takes
	at     float64 // s into it
	rear   bool    // the second half of a cable is to come
	from   *spot
}

// shake is what roughness adds to the rate of rocking in one step, rad/s.
func (f *floor) shake(v, dt float64, aboard bool) float64 {
	if f.rough == 0 || aboard {
		return 0
	}
	return f.rough * math.Sqrt(math.Abs(v)*dt) * f.r.NormFloat64()
}

// under is the slope of the floor under the robot, rad.
func (f *floor) under(w *world, dt float64) float64 {
	return f.start(w) + f.bump(w, dt)
}

// start is the slope of the place it was set down on, which ends some way off.
func (f *floor) start(w *world) float64 {
	if f.slope == 0 {
		return 0
	}
	c := w.chassis
	if f.from == nil {
		f.from = &spot{c.x, c.y}
	}
	off := math.Hypot(c.x-f.from.x, c.y-f.from.y) - f.side
	if off > c.wheelbase {
		f.slope = 0 // nobody comes back to it
		return 0
	}
	return f.slope * (1 - max(0, off/c.wheelbase))
}

// bump lifts one end of the robot and lets it down again. None comes near the platform or
// where pieces are taken and placed.
func (f *floor) bump(w *world, dt float64) float64 {
	c := w.chassis
	if f.bumps == 0 {
		return 0
	}
	if f.length == 0 {
		from, to := w.field.open()
		clear := c.x > from && c.x < to-0.5 && math.Abs(c.v) > 0.8 &&
			(math.Abs(c.y-w.platform.y) > w.platform.halfWidth || math.Abs(w.platform.along(c)) > w.platform.half+3.5)
		if !clear {
			return 0
		}
		if f.next == 0 {
			f.next = -f.bumps * math.Log(1-f.r.Float64())
		}
		if f.next -= math.Abs(c.v) * dt; f.next > 0 {
			return 0
		}
		f.begin(math.Copysign(1, c.v))
	}
	f.at += dt
	if f.at < f.length {
		s := math.Sin(math.Pi * f.at / f.length)
		return f.height * s * s
	}
	// Behind a bump the robot stands level again for a while.
	if f.at < f.length+0.4 {
		return 0
	}
	if f.cable && !f.rear {
		f.rear, f.at, f.height = true, 0, -0.9*f.height
		return 0
	}
	f.length, f.next = 0, 0
	return 0
}

// begin draws the next bump: how high, and how long by the time it is beyond mount.
func (f *floor) begin(way float64) {
	high := f.r.between(7, 12)
	beyond := f.r.between(f.least, f.most)
	f.height, f.at, f.rear = way*high*degree, 0, false
	f.length = beyond / (1 - 2/math.Pi*math.Asin(math.Sqrt(mountDeg/high)))
}
