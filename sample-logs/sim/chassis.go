package sim

import "math"

const gravity = 9.81 // m/s2

// chassis is the drive base: two sides of wheels on geared motors, driven and steered like
// a tank. Wheels grip by slip: the push of a side is grip*load*tanh(slip speed/knee), so
// hard starts spin the wheels. It cannot move sideways.
type chassis struct {
	mass      float64 // kg
	inertia   float64 // kg m2 about the upright
	halfTrack float64 // m
	wheelbase float64 // m
	wheel     float64 // m, radius
	gear      float64 // rotor turns a wheel turn
	yield     float64 // part of the torque that gets through the gears
	rotating  float64 // kg m2 of one side, at the wheel
	grip      float64 // friction coefficient
	knee      float64 // m/s of slip at which grip is nearly full
	rolling   float64 // N
	drag      float64 // N s/m
	scrub     float64 // N m against turning on the spot

	left, right         *axis
	leftRear, rightRear *axis   // second motors of the sides with controllers of their own, or nil
	leftBind, rightBind float64 // N m at the wheels of a side that binds

	x, y    float64 // m, the middle of the robot
	heading float64 // rad, 0 along x
	v       float64 // m/s, forward
	yaw     float64 // rad/s
	accel   float64 // m/s2, of the last step
}

// step moves the base; along is the pull of a slope in m/s2, forward positive.
func (c *chassis) step(along, dt float64) {
	left := c.side(c.left, c.leftRear, c.leftBind, c.v-c.yaw*c.halfTrack, dt)
	right := c.side(c.right, c.rightRear, c.rightBind, c.v+c.yaw*c.halfTrack, dt)
	resist := c.rolling*math.Tanh(c.v/0.02) + c.drag*c.v
	c.accel = (left+right-resist)/c.mass + along
	turn := (right-left)*c.halfTrack - c.scrub*math.Tanh(c.yaw/0.08)
	c.v += c.accel * dt
	c.yaw += turn / c.inertia * dt
	c.heading += c.yaw * dt
	c.x += c.v * math.Cos(c.heading) * dt
	c.y += c.v * math.Sin(c.heading) * dt
}

// side turns one side's wheels and gives its push on the ground, N. ground is the speed of
// the floor under it.
func (c *chassis) side(a, rear *axis, bind, ground, dt float64) float64 {
	w := a.speed / c.gear
	push := c.grip * c.mass * gravity / 2 * math.Tanh((w*c.wheel-ground)/c.knee)
	motors := a.torque()
	if rear != nil {
		motors += rear.torque()
	}
	torque := motors*c.gear*c.yield - push*c.wheel
	if bind > 0 {
		torque -= bind * math.Tanh(w/1.5)
	}
	a.speed += torque / c.rotating * dt * c.gear
	return push
}

// wheelSpeed is how fast the wheels of a side roll, m/s: what its encoder sees.
func (c *chassis) wheelSpeed(a *axis) float64 { return a.speed / c.gear * c.wheel }

// ahead is where a point lies seen from the robot: forward and to the left, m.
func (c *chassis) ahead(x, y float64) (forward, left float64) {
	sin, cos := math.Sincos(c.heading)
	dx, dy := x-c.x, y-c.y
	return dx*cos + dy*sin, -dx*sin + dy*cos
}

func wrap(angle float64) float64 { return math.Remainder(angle, 2*math.Pi) }

func clamp(v, limit float64) float64 { return max(-limit, min(limit, v)) }
