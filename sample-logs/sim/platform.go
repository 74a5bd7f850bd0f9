package sim

import "math"

// platform is a board on a pivot that robots balance on: springs bring it level, a damper
// and friction slow it, stops end its swing, and a hook keeps it tipped to the near side
// until a robot outweighs it. Its angle is in radians, positive when the far end is up,
// that is nose up for a robot that came on from the near side.
//
// Boards differ. The zero of each of the later fields leaves that feature out.
type platform struct {
	x, y      float64 // m, the pivot
	halfWidth float64 // m
	half      float64 // m from the pivot to each end
	inertia   float64 // kg m2
	stiff     float64 // N m/rad
	damp      float64 // N m s/rad
	rub       float64 // N m, friction that is smooth about standing still
	stop      float64 // rad
	hook      float64 // N m it takes to tear it off
	bounce    float64

	dry    float64 // N m, dry friction while it moves
	static float64 // N m, and what it takes to start it
	click  float64 // N m, the most with which a detent pulls it level
	catchW float64 // rad from level over which the detent reaches
	latch  float64 // N m it takes to tear it off a stop it has come to rest at
	slack  float64 // rad each way in which neither springs nor damper touch it
	slick  float64 // part of the floor's grip that wheels have on it

	guests []*guest // other robots on it, or on their way
	push   float64  // N m from outside, on the bench only

	hooked      bool
	latched     float64 // side of the stop that holds it: 1, -1, or 0
	angle, rate float64
	boarded     bool
	clock       float64 // s since the log's begin
	levelFor    float64 // s it has been level with the robot on it
	tippedFor   float64 // s since it was off its hook with the robot on it
}

// along is how far the robot is past the pivot, m; robots come from the far end of the
// field facing down it, so that is against x.
func (p *platform) along(c *chassis) float64 { return p.x - c.x }

// carries says whether the robot has a wheel on the board.
func (p *platform) carries(c *chassis) bool {
	return math.Abs(p.along(c)) < p.half+c.wheelbase/2 && math.Abs(c.y-p.y) < p.halfWidth
}

// height of what a point s past the pivot stands on, m. A robot with its middle on the
// board leans on the board's edge where an axle is past it and the edge is up.
func (p *platform) height(s float64, leans bool) float64 {
	h := p.half*math.Sin(p.stop) + s*math.Sin(p.angle)
	if math.Abs(s) <= p.half {
		return h
	}
	if leans {
		return max(0, h)
	}
	return 0
}

// pitch of a robot standing there, rad, nose up positive.
func (p *platform) pitch(c *chassis) float64 {
	if !p.carries(c) {
		return 0
	}
	s, b := p.along(c), c.wheelbase/2
	leans := math.Abs(s) < p.half
	return math.Asin(clamp((p.height(s+b, leans)-p.height(s-b, leans))/c.wheelbase, 0.9))
}

// underfoot is the pull of the slope on the robot, m/s2 forward. It also gives the wheels
// the grip of what they stand on.
func (p *platform) underfoot(c *chassis) float64 {
	on := p.carries(c)
	if on != p.boarded && p.slick > 0 {
		if on {
			c.grip *= p.slick
		} else {
			c.grip /= p.slick
		}
	}
	p.boarded = on
	if !on {
		return p.flaps(c)
	}
	return -gravity*math.Sin(p.pitch(c)) + p.flaps(c)
}

// At each end of the board hangs a flap: it lies on the floor as a ramp when that end is
// down, and stands as a fence when it is up. A fence gives a little.
const (
	flapUp    = 0.12 // m the end must be up
	flapDeep  = 0.10 // m over which a fence pushes back
	flapStiff = 1500 // m/s2 of the robot for a m
	flapDamp  = 30   // m/s2 for a m/s
)

// flaps is what standing flaps push the robot with, m/s2 forward. A robot on the board is
// kept on it, one that is not is kept off.
func (p *platform) flaps(c *chassis) float64 {
	s := p.along(c)
	end := math.Copysign(1, s)
	if p.half*(math.Sin(p.stop)+end*math.Sin(p.angle)) < flapUp || math.Abs(c.y-p.y) > p.halfWidth {
		return 0
	}
	away := math.Abs(s) // outward from here on
	outward := end * c.v * -math.Cos(c.heading)
	facing := end * -math.Copysign(1, math.Cos(c.heading))
	if away < p.half {
		if deep := away + c.wheelbase/2 - (p.half - flapDeep); 0 < deep && deep < flapDeep {
			return -facing * max(0, flapStiff*deep+flapDamp*outward)
		}
		return 0
	}
	if deep := p.half + flapDeep - (away - c.wheelbase/2); 0 < deep && deep < flapDeep {
		return facing * max(0, flapStiff*deep-flapDamp*outward)
	}
	return 0
}

// step tilts the board under the robot's two axles, and under those of its guests.
func (p *platform) step(c *chassis, dt float64) {
	load, inertia := 0.0, p.inertia
	if p.carries(c) {
		for _, s := range [2]float64{p.along(c) + c.wheelbase/2, p.along(c) - c.wheelbase/2} {
			if math.Abs(s) < p.half {
				load -= c.mass / 2 * gravity * s * math.Cos(p.angle)
				inertia += c.mass / 2 * s * s
			}
		}
		// With its middle past an edge that is up, the rest of the robot hangs on the edge.
		if s := p.along(c); math.Abs(s) > p.half && p.height(math.Copysign(p.half, s), false) > 0.03 {
			load -= c.mass / 2 * gravity * math.Copysign(p.half, s) * math.Cos(p.angle)
		}
	}
	p.clock += dt
	p.watch(c, dt)
	for _, g := range p.guests {
		g.step(p, dt)
		for _, s := range [2]float64{g.s + g.base/2, g.s - g.base/2} {
			if g.aboard && math.Abs(s) < p.half {
				load -= g.mass / 2 * gravity * s * math.Cos(p.angle)
				inertia += g.mass / 2 * s * s
			}
		}
	}
	torque := load - p.stiff*p.angle - p.damp*p.rate - p.rub*math.Tanh(p.rate/0.01)
	if p.slack > 0 {
		torque = load - p.rub*math.Tanh(p.rate/0.01)
		if beyond := math.Abs(p.angle) - p.slack; beyond > 0 {
			torque -= p.stiff*math.Copysign(beyond, p.angle) + p.damp*p.rate
		}
	}
	torque += p.extra(c)
	if p.hooked && torque > -p.hook {
		p.angle, p.rate = p.stop, 0
		return
	}
	p.hooked = false
	if p.latched != 0 && torque*p.latched > -p.latch {
		return
	}
	p.latched = 0
	p.turn(torque, inertia, dt)
	if math.Abs(p.angle) > p.stop {
		p.angle = math.Copysign(p.stop, p.angle)
		p.rate *= -p.bounce
		if p.latch > 0 && math.Abs(p.rate) < 0.05 {
			p.latched, p.rate = math.Copysign(1, p.angle), 0
		}
	}
}

// turn moves the board on. Dry friction holds it where it stands until more than static
// pulls, and never turns a motion round.
func (p *platform) turn(torque, inertia, dt float64) {
	if p.dry > 0 || p.static > 0 {
		if p.rate == 0 {
			if math.Abs(torque) <= max(p.static, p.dry) {
				return
			}
			torque -= math.Copysign(p.dry, torque)
		} else {
			torque -= math.Copysign(p.dry, p.rate)
			if next := p.rate + torque/inertia*dt; next*p.rate < 0 {
				p.angle += p.rate * dt / 2
				p.rate = 0
				return
			}
		}
	}
	p.rate += torque / inertia * dt
	p.angle += p.rate * dt
}

// bumperN is how hard a robot presses on the edge of the board that it comes up to from
// the floor, of the order of half its weight: an edge that is up goes down before it.
const bumperN = 250

// extra is the rest of the torque, N m: the detent, a robot's bumper, and the bench.
func (p *platform) extra(c *chassis) float64 {
	torque := p.push
	if a := math.Abs(p.angle); a < p.catchW && p.click > 0 {
		torque -= 4 * p.click * p.angle / p.catchW * (1 - a/p.catchW)
	}
	if s := p.along(c); math.Abs(c.y-p.y) < p.halfWidth {
		if off := math.Abs(s) - p.half - c.wheelbase/2; 0 <= off && off < 0.4 {
			torque -= math.Copysign(bumperN*p.half, s)
		}
	}
	return torque
}

// watch keeps what guests go by.
func (p *platform) watch(c *chassis, dt float64) {
	switch on := p.carries(c) && !p.hooked; {
	case !on:
		p.levelFor, p.tippedFor = 0, 0
	case math.Abs(p.angle) < levelDeg*degree:
		p.levelFor += dt
		p.tippedFor += dt
	default:
		p.levelFor = 0
		p.tippedFor += dt
	}
}

// guest is another robot on the board: it sits there from the beginning, or drives on from
// one end once it has seen what it waits for, and may shift its place later.
type guest struct {
	mass  float64 // kg
	base  float64 // m between its axles
	goal  float64 // m past the pivot, where it stops
	speed float64 // m/s
	shift float64 // m it moves on by after it has stood for shiftS
	after float64 // s that the board must have been level, or off its hook, before it comes
	level bool    // it waits for level

	aboard     bool
	s          float64 // m past the pivot
	stood      float64 // s
	appearedAt float64 // s since the log's begin
	settledAt  float64 // s, when it last moved
}

const shiftS = 1.5

func (g *guest) step(p *platform, dt float64) {
	if !g.aboard {
		waited := p.tippedFor
		if g.level {
			waited = p.levelFor
		}
		if waited < g.after || waited == 0 {
			return
		}
		g.aboard, g.appearedAt = true, p.clock
		g.s = math.Copysign(p.half+g.base/2, g.goal)
	}
	if away := g.goal - g.s; math.Abs(away) > g.speed*dt {
		g.s += math.Copysign(g.speed*dt, away)
		g.settledAt = p.clock
		return
	}
	if g.stood += dt; g.shift != 0 && g.stood >= shiftS {
		g.goal, g.shift = g.goal+g.shift, 0
	}
}
