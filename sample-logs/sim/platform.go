package sim

import "math"

// platform is a board on a pivot that robots balance on: springs bring it level, a damper
// and dry friction slow it, stops end its swing, and a hook keeps it tipped to the near side
// until a robot outweighs it. Its angle is in radians, positive when the far end is up,
// that is nose up for a robot that came on from the near side.
type platform struct {
	x, y      float64 // m, the pivot
	halfWidth float64 // m
	half      float64 // m from the pivot to each end
	inertia   float64 // kg m2
	stiff     float64 // N m/rad
	damp      float64 // N m s/rad
	rub       float64 // N m
	stop      float64 // rad
	hook      float64 // N m it takes to tear it off
	bounce    float64

	hooked      bool
	angle, rate float64
}

// along is how far the robot is past the pivot, m; robots come from the far end of the
// field facing down it, so that is against x.
func (p *platform) along(c *chassis) float64 { return p.x - c.x }

// carries says whether the robot has a wheel on the board.
func (p *platform) carries(c *chassis) bool {
	return math.Abs(p.along(c)) < p.half+c.wheelbase/2 && math.Abs(c.y-p.y) < p.halfWidth
}

// height of the ground under a point s past the pivot, m.
func (p *platform) height(s float64) float64 {
	if math.Abs(s) > p.half {
		return 0
	}
	return p.half*math.Sin(p.stop) + s*math.Sin(p.angle)
}

// pitch of a robot standing there, rad, nose up positive.
func (p *platform) pitch(c *chassis) float64 {
	if !p.carries(c) {
		return 0
	}
	s, b := p.along(c), c.wheelbase/2
	return math.Asin(clamp((p.height(s+b)-p.height(s-b))/c.wheelbase, 0.9))
}

// step tilts the board under the robot's two axles.
func (p *platform) step(c *chassis, dt float64) {
	load, inertia := 0.0, p.inertia
	if p.carries(c) {
		for _, s := range [2]float64{p.along(c) + c.wheelbase/2, p.along(c) - c.wheelbase/2} {
			if math.Abs(s) < p.half {
				load -= c.mass / 2 * gravity * s * math.Cos(p.angle)
				inertia += c.mass / 2 * s * s
			}
		}
	}
	torque := load - p.stiff*p.angle - p.damp*p.rate - p.rub*math.Tanh(p.rate/0.01)
	if p.hooked && torque > -p.hook {
		p.angle, p.rate = p.stop, 0
		return
	}
	p.hooked = false
	p.rate += torque / inertia * dt
	p.angle += p.rate * dt
	if math.Abs(p.angle) > p.stop {
		p.angle = math.Copysign(p.stop, p.angle)
		p.rate *= -p.bounce
	}
}
