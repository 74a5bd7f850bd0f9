package sim

import "math"

// odometry is where the robot believes it is: wheels and gyro carried on, pulled towards
// the truth where its camera sees the shelf.
type odometry struct {
	x, y, heading float64
	scale         float64 // of the wheels as it believes them
	drift         float64 // rad/s
	slip          float64 // part by which the wheels turn too much (or too little) when they are pushed hard
}

const hardMS2 = 1.5 // from here on a slipping wheel slips

func newOdometry(r random, c *chassis) odometry {
	return odometry{
		x: c.x + r.normal(0, 0.02), y: c.y + r.normal(0, 0.02), heading: c.heading + r.normal(0, 0.004),
		scale: r.normal(1, 0.004), drift: r.normal(0, 1e-4),
	}
}

func (o *odometry) step(w *world, dt float64) {
	c := w.chassis
	v := o.scale * (c.wheelSpeed(c.left) + c.wheelSpeed(c.right)) / 2
	if o.slip != 0 && math.Abs(c.accel) > hardMS2 {
		v *= 1 + math.Copysign(o.slip, c.accel*v)
	}
	o.heading += (c.yaw + o.drift) * dt
	sin, cos := math.Sincos(o.heading)
	o.x += v * cos * dt
	o.y += v * sin * dt
	if c.x > w.field.goals[0].x0-1.5 && math.Abs(c.v) < 1.5 {
		pull := 1.2 * dt
		o.x += (c.x - o.x) * pull
		o.y += (c.y - o.y) * pull
		o.heading += (c.heading - o.heading) * pull
	}
}

// restart begins anew where a robot usually starts, as its computer does after a reboot.
func (o *odometry) restart() { o.x, o.y, o.heading = 9, 1.5, math.Pi }

// off is how far it is from the truth, m.
func (o *odometry) off(c *chassis) float64 { return math.Hypot(o.x-c.x, o.y-c.y) }
