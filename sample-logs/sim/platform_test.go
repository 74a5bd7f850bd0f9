package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// away is a robot that is nowhere near the board.
func away() *chassis { return &chassis{x: 50, wheelbase: 0.6, left: &axis{}, right: &axis{}} }

// peaks are the largest angles of a board let go at 0.1 rad, one a swing.
func peaks(p *platform, seconds float64) []float64 {
	const dt = 1e-4
	p.half, p.halfWidth, p.stop, p.angle = 1, 1, 1, 0.1
	out, robot := []float64{p.angle}, away()
	for range int(seconds / dt) {
		was, rate := p.angle, p.rate
		p.step(robot, dt)
		if rate > 0 && p.rate <= 0 {
			out = append(out, was)
		}
	}
	return out
}

// The logarithmic decrement of a board that swings by itself: after n swings it is smaller by
// the ratio r when its damping is ln(r)/sqrt((2 pi n)^2 + ln(r)^2) (Thomson, Theory of
// Vibration; Rao, Mechanical Vibrations; dampings as computed from it).
func TestFreeSwingDecays(t *testing.T) {
	for _, c := range []struct {
		n          int
		ratio, has float64
	}{{1, 2, 0.10965258}, {1, 16, 0.40371275}, {2, 4, 0.10965258}, {5, 4, 0.04408422}} {
		const inertia, stiff = 45.0, 400.0
		p := &platform{inertia: inertia, stiff: stiff, damp: 2 * c.has * math.Sqrt(inertia*stiff)}
		assert.InEpsilon(t, c.ratio, peaks(p, 15)[0]/peaks(&platform{inertia: inertia, stiff: stiff, damp: p.damp}, 15)[c.n], 0.005, "%+v", c)
	}
}

// Dry friction takes the same from every swing, 4 F/k from peak to peak, and holds the board
// once less than it pulls (Thomson, Theory of Vibration, on Coulomb damping; from memory).
func TestDryFrictionTakesTheSameEachSwing(t *testing.T) {
	p := &platform{inertia: 45, stiff: 400, dry: 1.5, static: 2.0}
	found := peaks(p, 20)
	require.Greater(t, len(found), 4)
	for i := 1; i < 5; i++ {
		assert.InDelta(t, 4*1.5/400, found[i-1]-found[i], 3e-4, "swing %d", i)
	}
	assert.Zero(t, p.rate)
	assert.LessOrEqual(t, math.Abs(p.angle), 2.0/400)
}

// energy of a board that no robot is on: of its motion, its springs and its detent.
func energy(p *platform) float64 {
	stretch := math.Max(0, math.Abs(p.angle)-p.slack)
	out := p.inertia*p.rate*p.rate/2 + p.stiff*stretch*stretch/2
	if a := math.Min(math.Abs(p.angle), p.catchW); p.catchW > 0 {
		out += 4 * p.click * (a*a/(2*p.catchW) - a*a*a/(3*p.catchW*p.catchW))
	}
	return out
}

// A board that nobody touches never gains energy, whatever it is made of. (A step of the
// integration may borrow a little: it is paid back within the swing.)
func TestFreeBoardGainsNoEnergy(t *testing.T) {
	t.Parallel()
	r := stream(4, "boards")
	for range 60 {
		p := &platform{
			half: 1.2, halfWidth: 1.1, stop: 0.21, inertia: r.between(30, 60), stiff: r.between(0, 1100), damp: r.between(0, 300),
			bounce: r.between(0, 0.6), angle: r.between(-0.2, 0.2), rate: r.between(-2, 2),
		}
		if r.Float64() < 0.5 {
			p.dry = r.between(5, 40)
			p.static = 1.5 * p.dry
		}
		if r.Float64() < 0.3 {
			p.click, p.catchW = 50, 2*degree
		}
		if r.Float64() < 0.3 {
			p.slack = 2 * degree
		}
		if r.Float64() < 0.3 {
			p.latch = 40
		}
		robot := away()
		first := energy(p)
		for i := range 8000 {
			p.step(robot, step)
			require.LessOrEqual(t, energy(p), first*1.02+0.01, "step %d of %+v", i, p)
			require.LessOrEqual(t, math.Abs(p.angle), p.stop)
			if i%500 == 499 {
				first = math.Min(first, energy(p))
			}
		}
	}
}

// A detent holds the board level against less than it takes to leave it: the most it pulls
// with, at half its width.
func TestDetentHolds(t *testing.T) {
	for _, c := range []struct {
		push  float64
		holds bool
	}{{0.95 * 40, true}, {1.05 * 40, false}} {
		p := &platform{half: 1, stop: 0.2, inertia: 45, damp: 200, click: 40, catchW: 2 * degree}
		robot := away()
		for range 20000 {
			p.push = math.Min(c.push, p.push+0.005)
			p.step(robot, step)
		}
		assert.Equal(t, c.holds, p.angle < 2*degree, "%g N m", c.push)
	}
}

// A stop with a latch keeps the board until the latch's torque is pulled.
func TestStopLatches(t *testing.T) {
	p := &platform{half: 1, stop: 0.2, inertia: 45, damp: 200, latch: 30, push: 60}
	robot := away()
	run := func(push float64) {
		p.push = push
		for range 3000 {
			p.step(robot, step)
		}
	}
	run(60)
	assert.Equal(t, 0.2, p.angle)
	run(-29)
	assert.Equal(t, 0.2, p.angle)
	run(-31)
	assert.Less(t, p.angle, 0.1)
}

// Within its slack nothing holds the board; beyond it the springs do.
func TestSlackIsFree(t *testing.T) {
	p := &platform{half: 1, stop: 0.2, inertia: 45, stiff: 400, damp: 100, slack: 2 * degree, rate: 0.05}
	robot := away()
	p.step(robot, step)
	assert.Equal(t, 0.05, p.rate, "nothing slows it there")
	p.angle, p.rate = 3*degree, 0
	p.step(robot, step)
	assert.InDelta(t, -400*degree/45*step, p.rate, 1e-12)
}

// Two robots on one board balance it when their moments are equal (statics), and a guest that
// comes on tips a board that was level.
func TestGuestOnBoard(t *testing.T) {
	robot := away()
	robot.x, robot.y, robot.mass = 7-0.4, 5.5, 50
	p := &platform{x: 7, y: 5.5, half: 1.2, halfWidth: 1.1, stop: 0.2, inertia: 45, stiff: 300, damp: 200}
	p.guests = []*guest{{mass: 40, base: 0.6, aboard: true, s: -0.5, goal: -0.5}}
	for range 5000 {
		p.step(robot, step)
	}
	assert.InDelta(t, 0, p.angle, 1e-9)

	robot.x = 7
	p.levelFor = 0
	p.guests = []*guest{{mass: 50, base: 0.6, goal: 0.6, speed: 1, after: 2, level: true}}
	for i := range 8000 {
		p.step(robot, step)
		if i < 1990 {
			require.False(t, p.guests[0].aboard)
			require.InDelta(t, 0, p.angle, 1e-9)
		}
	}
	assert.True(t, p.guests[0].aboard)
	assert.Equal(t, -0.2, p.angle)
}

// A fence keeps a robot on a board whose end is up, at any speed it has there, and lets it
// off where the end is down.
func TestFenceKeepsRobotOn(t *testing.T) {
	for _, speed := range []float64{0.3, 1, 1.6} {
		robot := away()
		robot.x, robot.y, robot.heading, robot.mass, robot.v = 7-0.5, 5.5, math.Pi, 54, speed
		p := &platform{x: 7, y: 5.5, half: 1.2, halfWidth: 1.1, stop: 0.21}
		farthest := 0.0
		for range 3000 {
			robot.v += p.flaps(robot) * step
			robot.x -= robot.v * step
			farthest = math.Max(farthest, math.Abs(p.along(robot)))
		}
		assert.Less(t, farthest, 0.9, "level board at %g m/s", speed)
		assert.Greater(t, farthest, 0.79)
		p.angle, robot.x = -0.21, 7-0.85
		assert.Zero(t, p.flaps(robot), "the far end is down")
	}
}

// On a slick board wheels have less grip, and all of it again behind it.
func TestSlickBoard(t *testing.T) {
	robot := away()
	robot.y, robot.grip = 5.5, 1
	p := &platform{x: 7, y: 5.5, half: 1.2, halfWidth: 1.1, stop: 0.21, slick: 0.4}
	robot.x = 7
	p.underfoot(robot)
	p.underfoot(robot)
	assert.InDelta(t, 0.4, robot.grip, 1e-12)
	robot.x = 12
	p.underfoot(robot)
	assert.InDelta(t, 1, robot.grip, 1e-12)
}
