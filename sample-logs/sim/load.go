package sim

import "math"

// load draws from the bus by itself: a pump that fills a tank when it runs low, or lights.
// It does not depend on the voltage, which a regulated or slow load nearly does not.
type load struct {
	name   string
	r      random
	run    float64 // A while on
	inrush float64 // A more at the start, dying away
	dying  float64 // s
	onFor  [2]float64
	offFor [2]float64
	wander float64 // A, standard deviation of a slow wander about what it runs with
	when   func() bool

	on   bool
	left float64 // s until it changes
	age  float64 // s since it came on
	away float64 // A off by wandering
	amps float64
}

func (l *load) step(dt float64) {
	if l.when != nil && !l.when() {
		l.on, l.left, l.amps = false, 0, 0
		return
	}
	if l.left <= 0 {
		l.on = !l.on
		span := l.offFor
		if l.on {
			span, l.age = l.onFor, 0
		}
		l.left = l.r.between(span[0], span[1])
	}
	l.left -= dt
	l.age += dt
	if l.wander > 0 {
		const slow = 3.0 // s
		l.away += -l.away*dt/slow + l.wander*math.Sqrt(2*dt/slow)*l.r.normal(0, 1)
	}
	l.amps = 0
	if l.on {
		l.amps = max(0, l.run+l.inrush*math.Exp(-l.age/l.dying)+l.away)
	}
}

// contact is a connection that went bad: a lug that came loose, a blade that only touches.
// Its resistance jumps between a few steps when it is shaken, oftener under current, which
// burns and welds its spots, and is noisy about each step while it is shaken.
type contact struct {
	r      random
	levels []float64 // ohm
	calm   float64   // jumps a second when at rest
	shaken float64   // jumps a second more under a full shake
	shake  func() float64

	level int
	noise float64 // part of the level, about 0
	ohm   float64
}

// full is the current that counts as much as a full shake, A.
const fullCurrent = 150.0

func (c *contact) resistance() float64 {
	if c == nil {
		return 0
	}
	return c.ohm
}

func (c *contact) step(current, dt float64) {
	if c == nil {
		return
	}
	shake := min(1, c.shake())
	rate := c.calm + c.shaken*(0.6*shake+0.4*min(1, math.Abs(current)/fullCurrent))
	if c.r.Float64() < rate*dt {
		c.level = c.r.IntN(len(c.levels))
	}
	const quick = 0.015 // s, how long a noisy spot lasts
	c.noise += -c.noise*dt/quick + 0.12*shake*math.Sqrt(2*dt/quick)*c.r.normal(0, 1)
	c.ohm = c.levels[c.level] * max(0.3, 1+c.noise)
}
