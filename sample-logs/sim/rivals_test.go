package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Newton's third law: what one robot gets the other loses, along and across the line of
// centres, and no collision makes energy.
func TestBumpsKeepMomentum(t *testing.T) {
	r := stream(1, "bumps")
	met := 0
	for range 2000 {
		a := disc{0, 0, r.between(-3, 3), r.between(-3, 3), r.between(40, 70)}
		angle := r.between(0, 2*math.Pi)
		b := disc{0.75 * math.Cos(angle), 0.75 * math.Sin(angle), r.between(-3, 3), r.between(-3, 3), r.between(40, 70)}
		nx, ny, over, jx, jy := meet(a, b)
		assert.InDelta(t, 0.05, over, 1e-9)
		if jx == 0 && jy == 0 {
			assert.LessOrEqual(t, (a.vx-b.vx)*nx+(a.vy-b.vy)*ny, 0.0, "they part by themselves")
			continue
		}
		met++
		after := func(d disc, sign float64) disc {
			d.vx, d.vy = d.vx+sign*jx/d.mass, d.vy+sign*jy/d.mass
			return d
		}
		c, d := after(a, -1), after(b, 1)
		assert.InDelta(t, a.mass*a.vx+b.mass*b.vx, c.mass*c.vx+d.mass*d.vx, 1e-9)
		assert.InDelta(t, a.mass*a.vy+b.mass*b.vy, c.mass*c.vy+d.mass*d.vy, 1e-9)
		energy := func(x, y disc) float64 {
			return x.mass*(x.vx*x.vx+x.vy*x.vy) + y.mass*(y.vx*y.vx+y.vy*y.vy)
		}
		assert.LessOrEqual(t, energy(c, d), energy(a, b)+1e-9)
		// Newton's experimental law: they part at e times what they closed at.
		closed, parted := (a.vx-b.vx)*nx+(a.vy-b.vy)*ny, (d.vx-c.vx)*nx+(d.vy-c.vy)*ny
		assert.InDelta(t, bounciness*closed, parted, 1e-9)
	}
	assert.Greater(t, met, 500)
}

// On the field too: in the step of a bump between two robots that no wheel drives, the
// momentum of both together changes by what floor and wheels take and no more.
func TestRobotBumpedOnTheFieldKeepsMomentum(t *testing.T) {
	for _, angle := range []float64{0, 0.5, 1.5, 2.5, -2} {
		s := usual()
		s.drive.rivals = 1
		w := newWorld(s, Options{Seed: 3})
		c, o := w.chassis, w.rivals[0]
		c.x, c.y, c.v, c.heading = 6, 2, 0.5, math.Pi
		o.x, o.y = c.x+0.78*math.Cos(angle), c.y+0.78*math.Sin(angle)
		o.vx, o.vy = -2*math.Cos(angle), -2*math.Sin(angle)
		o.tx, o.ty, o.push = o.x, o.y, 0
		vx, vy := w.velocity()
		px, py := c.mass*vx+o.mass*o.vx, c.mass*vy+o.mass*o.vy
		w.jostle()
		ax, ay := w.velocity()
		assert.InDelta(t, px, c.mass*ax+o.mass*o.vx, 1e-9)
		assert.InDelta(t, py, c.mass*ay+o.mass*o.vy, 1e-9)
		assert.NotEqual(t, vx, ax, "it was hit")
	}
}

// A start at full stick against the equations of motion solved here by themselves, with the
// wheels rolling without slip: two motors, each at the smallest of what voltage, winding
// limit and input limit allow, against the mass and the turning parts,
//
//	(m + 2*Jw/r2) dv/dt = 2*tau*G*eta/r - F_roll - c*v,
//
// by Heun's method. The simulator lets wheels slip; with grip to spare it must come out the
// same within what the slip eats (3 %), and with less grip than push no faster than grip*g.
func TestFullStickStart(t *testing.T) {
	const volts, dt = 12.0, 0.001
	m := motor{r: 0.05, ke: 0.02, windingMax: 95, inputMax: 75}
	base := func(grip float64) *chassis {
		return &chassis{
			mass: 54, inertia: 3.6, halfTrack: 0.28, wheel: 0.051, gear: 8.5, yield: 0.86, rotating: 0.0125,
			grip: grip, knee: 0.12, rolling: 24, drag: 3, scrub: 24,
			left: &axis{motor: m, command: 1}, right: &axis{motor: m, command: 1},
		}
	}
	rate := func(v float64) float64 {
		w := v / 0.051 * 8.5
		e := 0.02 * w
		amps := math.Min(95, (volts-e)/0.05)
		// Power in at the controller is amps*(R*amps + e): at the limit, a quadratic.
		if amps*(0.05*amps+e) > 75*volts {
			amps = (-e + math.Sqrt(e*e+4*0.05*75*volts)) / (2 * 0.05)
		}
		push := 2 * 0.02 * amps * 8.5 * 0.86 / 0.051
		roll := 24 * math.Tanh(v/0.02)
		return (push - roll - 3*v) / (54 + 2*0.0125/(0.051*0.051))
	}
	c, v := base(5), 0.0
	for i := range 2500 {
		c.left.settle(volts, false, dt)
		c.right.settle(volts, false, dt)
		c.step(0, dt)
		k1 := rate(v)
		k2 := rate(v + k1*dt)
		v += (k1 + k2) / 2 * dt
		if i%100 == 99 {
			assert.InDelta(t, v, c.v, 0.03*v+0.02, "at %d ms", i+1)
		}
	}
	assert.Greater(t, v, 2.5)

	slippery := base(0.4)
	most := 0.0
	for range 1000 {
		slippery.left.settle(volts, false, dt)
		slippery.right.settle(volts, false, dt)
		slippery.step(0, dt)
		most = math.Max(most, slippery.accel)
	}
	assert.LessOrEqual(t, most, 0.4*gravity)
	assert.Greater(t, most, 0.9*(0.4*gravity-24.0/54), "and nearly that much")
}

// Robots never stay in each other, and nothing flies off the field, whatever the traffic.
func TestTrafficStaysOnTheField(t *testing.T) {
	t.Parallel()
	s := usual()
	s.drive.rivals, s.climbS = 3, 0
	w := newWorld(s, Options{Seed: 9})
	touches := 0
	for last := int(w.bell / step); w.steps < last; w.steps++ {
		w.advance()
		if w.steps%20 != 0 {
			continue
		}
		for _, o := range w.rivals {
			require.Less(t, math.Hypot(o.vx, o.vy), 5.0)
			require.True(t, o.x > -1 && o.x < 15 && o.y > -1 && o.y < 6, "%g %g", o.x, o.y)
			if d := math.Hypot(o.x-w.chassis.x, o.y-w.chassis.y); d < 2*bodyRadius+0.01 {
				touches++
				require.Greater(t, d, 1.9*bodyRadius)
			}
		}
	}
	assert.Positive(t, touches, "they do meet")
	assert.Positive(t, w.field.score, "and it scores all the same")
}
