package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// lifted is an arm after its loop has had some seconds to bring it to a target, on a stiff
// 12 V supply.
func lifted(a *arm, l *armLoop, target, seconds float64) (most float64) {
	l.target = target
	for i := range int(seconds / step) {
		if i%programs == 0 {
			a.axis.command = l.command(a, programs*step)
		}
		a.axis.settle(12, false, step)
		a.step(step)
		most = math.Max(most, a.position)
	}
	return most
}

func testLift() *arm {
	return &arm{
		axis: &axis{motor: motor{r: 0.11, ke: 0.0205, windingMax: 60, inputMax: 40}}, gear: 10, drum: 0.024, yield: 0.85,
		mass: 7, rotor: 9e-5, highest: 1,
	}
}

func testPivot() *arm {
	a := testLift()
	a.length, a.lean, a.gear, a.mass = 0.55, -0.3, 90, 5
	return a
}

// What holds an arm still is gravity's torque through the gears: u*12/R*Ke*G*eta = m*g*r for
// a lift on a drum of radius r, m*g*L*cos(angle) for an arm on a pivot (statics and the
// motor's own equation). Neither has friction here.
func TestHoldingCommand(t *testing.T) {
	for _, c := range []struct {
		name   string
		a      *arm
		torque float64 // N m at the gearbox
		target float64
	}{
		{"lift", testLift(), 7 * 9.81 * 0.024, 0.85},
		{"pivot, low", testPivot(), 5 * 9.81 * 0.55 * math.Cos(0.12-0.3), 0.12},
		{"pivot, high", testPivot(), 5 * 9.81 * 0.55 * math.Cos(0.85-0.3), 0.85},
	} {
		want := c.torque / (c.a.gear * 0.85 * 0.0205) * 0.11 / 12
		l := armLoop{top: 1.1, ramp: 4, kp: 9, kd: 0.9, holdUp: want}
		if c.a.length > 0 {
			l.holdUp /= math.Cos(c.target - 0.3)
		}
		lifted(c.a, &l, c.target, 6)
		assert.InDelta(t, want, c.a.axis.command, 1e-4, c.name)
		assert.InDelta(t, c.target, c.a.position, 1e-3, c.name)

		// Without it the loop stays short by what its proportional term must make up.
		c.a.position, c.a.v = 0, 0
		lifted(c.a, &armLoop{top: 1.1, ramp: 4, kp: 3, kd: 0.9}, c.target, 8)
		short := c.target - c.a.position
		assert.InDelta(t, c.a.pull()/(c.a.ratio()*0.85*0.0205)*0.11/12/3, short, 2e-3, c.name)
	}
}

// A load that grows on the way up stops the lift where it equals the most its motor can.
func TestHeavyLiftStopsWhereTheMotorCanNoMore(t *testing.T) {
	a := testLift()
	a.axis.motor.windingMax = 16
	force := 16 * 0.0205 * 10 / 0.024 * 0.85
	a.from, a.rub = 0.6, 2
	a.grows = (force - 7*9.81) / 0.1
	lifted(a, &armLoop{top: 1.1, ramp: 4, kp: 9, kd: 0.9}, 0.85, 20)
	assert.InDelta(t, 0.7, a.position, 2/a.grows+0.002, "but for friction")
}

// Static friction keeps an arm where it is until the motor pulls more; a buffer before the
// stop pushes back.
func TestArmSticksAndHasBuffers(t *testing.T) {
	a := testLift()
	a.static, a.position = 30, 0.5
	hold := a.mass * gravity / (a.ratio() * a.yield * a.axis.motor.ke)
	per := 1 / (a.ratio() * a.yield * a.axis.motor.ke) // A a N
	a.axis.winding = hold + 29*per
	a.step(step)
	assert.Zero(t, a.v)
	a.axis.winding = hold + 31*per
	a.step(step)
	assert.Positive(t, a.v)

	b := testLift()
	b.soft, b.buffer, b.position = 0.1, 200, 0.95
	b.axis.winding = b.mass * gravity / (b.ratio() * b.yield * b.axis.motor.ke)
	b.step(step)
	assert.InEpsilon(t, -200*0.5/(b.mass+b.rotor*b.ratio()*b.ratio())*step, b.v, 1e-9)
}
