package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A permanent-magnet motor's example from Fitzgerald, Kingsley and Umans, Electric
// Machinery, 6th edition: armature 1.03 ohm, no load 50 V 1.25 A at 2100 r/min, then 48 V
// at 1700 r/min. Input figures from memory; the book rounds Ke to 0.22.
func TestMotorAgainstTextbook(t *testing.T) {
	const rpm = 2 * math.Pi / 60
	const noLoad = 50 - 1.03*1.25
	m := motor{r: 1.03, ke: noLoad / (2100 * rpm)}
	assert.InEpsilon(t, 0.2215096, m.ke, 1e-6)

	i, input := m.currents(50, 1, 2100*rpm)
	assert.InEpsilon(t, 1.25, i, 1e-9)
	assert.InEpsilon(t, 1.25, input, 1e-9)
	loss := m.ke * i * 2100 * rpm
	assert.InEpsilon(t, 60.890625, loss, 1e-9)

	a := axis{motor: m, command: 1, speed: 1700 * rpm}
	a.settle(48, false, 1)
	assert.InEpsilon(t, 8.316574, a.winding, 1e-6)
	power := a.torque() * a.speed
	assert.InEpsilon(t, 327.9552, power, 1e-6)
	assert.InEpsilon(t, 267.0646, power-loss, 1e-6)
}

// A chopper loses nothing: what goes in is what the winding heats and the rotor takes.
func TestControllerPassesPowerOn(t *testing.T) {
	for _, m := range []motor{{r: 0.05, ke: 0.02}, {r: 0.05, ke: 0.02, windingMax: 95, inputMax: 75}} {
		for u := -1.0; u <= 1; u += 0.25 {
			for w := -600.0; w <= 600; w += 100 {
				i, input := m.currents(11, u, w)
				assert.InDelta(t, 11*input, i*(i*m.r+m.ke*w), 1e-6, "u %g w %g", u, w)
			}
		}
	}
}

func TestControllerLimits(t *testing.T) {
	m := motor{r: 0.05, ke: 0.02, windingMax: 95, inputMax: 75}
	for _, c := range []struct {
		name           string
		u, w           float64
		winding, input float64 // 0: only the limits are checked
	}{
		{"stalled, the winding limit holds", 1, 0, 95, 0},
		{"stalled backwards", -1, 0, -95, 0},
		{"half speed, the input limit holds", 1, 300, 0, 75},
		{"no command: a shorted rotor brakes and draws nothing", 0, 100, -40, 0},
		{"at free speed nothing flows", 1, 600, 0, 0},
	} {
		i, input := m.currents(12, c.u, c.w)
		assert.LessOrEqual(t, math.Abs(i), 95+1e-9, c.name)
		assert.LessOrEqual(t, input, 75+1e-9, c.name)
		if c.winding != 0 {
			assert.InDelta(t, c.winding, i, 1e-9, c.name)
		}
		if c.input != 0 {
			assert.InDelta(t, c.input, input, 1e-9, c.name)
		}
	}
	_, input := m.currents(12, 0, 100)
	assert.InDelta(t, 0, input, 1e-9)
	i, _ := m.currents(12, 1, 600)
	assert.InDelta(t, 0, i, 1e-9)
}

// Under a steady current each relaxation follows I*R*(1-exp(-t/tau)), the answer of an R
// parallel to a C (circuit theory, common practice), and the charge falls by I*t.
func TestBatteryUnderSteadyCurrent(t *testing.T) {
	b := battery{capacity: 64800, charge: 0.9, r0: 0.02, r1: 0.006, tau1: 0.9, r2: 0.008, tau2: 25}
	full := b.openCircuit()
	for range 2000 {
		b.draw(50, 11, 0.001)
	}
	assert.InEpsilon(t, 50*0.006*(1-math.Exp(-2/0.9)), b.u1, 1e-9)
	assert.InEpsilon(t, 50*0.008*(1-math.Exp(-2.0/25)), b.u2, 1e-9)
	assert.InEpsilon(t, 100, b.drawn, 1e-9)
	assert.InEpsilon(t, 1100, b.energy, 1e-9)
	assert.InEpsilon(t, 0.9-100.0/64800, b.charge, 1e-9)
	assert.Less(t, b.openCircuit(), full)
}

// A rested 12 V battery of this kind: 12.8 to 13.2 V full, 12.3 to 12.6 V at half, 12.0 or
// below when empty (the table of a vehicle maker's owner's manual for AGM batteries; ±0.1).
func TestBatteryRestVoltage(t *testing.T) {
	for _, c := range []struct{ charge, low, high float64 }{{1, 12.7, 13.2}, {0.6, 12.25, 12.6}, {0.05, 10.5, 12.0}} {
		v := (&battery{charge: c.charge}).openCircuit()
		assert.GreaterOrEqual(t, v, c.low, "charge %g", c.charge)
		assert.LessOrEqual(t, v, c.high, "charge %g", c.charge)
	}
}

// One stalled motor without limits is a resistor seen through the chopper, R/u^2, so the
// bus is a voltage divider: v = (emf - r0*idle)/(1 + r0*u^2/R).
func TestSupplyDividesVoltage(t *testing.T) {
	for _, u := range []float64{0, 0.3, 0.7, 1} {
		b := &battery{capacity: 64800, charge: 0.9, r0: 0.03, tau1: 1, tau2: 1}
		s := &supply{battery: b, idle: 2, smooth: 0.02}
		a := &axis{motor: motor{r: 0.06, ke: 0.02}, command: u}
		want := (b.emf() - 0.03*2) / (1 + 0.03*u*u/0.06)
		s.solve([]*axis{a}, 0.001)
		assert.InDelta(t, want, s.voltage, 1e-8, "u %g", u)
		assert.InDelta(t, 2+a.input, s.current, 1e-12)
	}
}

// With limits and many motors there is no formula, but the bus must balance all the same.
func TestSupplyBalances(t *testing.T) {
	r := stream(1, "supply test")
	for range 500 {
		b := &battery{capacity: 64800, charge: 0.9, r0: r.between(0.01, 0.08), tau1: 1, tau2: 1}
		s := &supply{battery: b, idle: 2, smooth: 0.02, voltage: r.between(4, 13)}
		var axes []*axis
		for range 6 {
			axes = append(axes, &axis{
				motor:   motor{r: 0.05, ke: 0.02, windingMax: 95, inputMax: 75},
				command: r.between(-1, 1), speed: r.between(-500, 500),
			})
		}
		emf := b.emf()
		s.solve(axes, 0.001)
		assert.InDelta(t, emf-b.r0*s.current, s.voltage, 1e-6)
	}
}

// Below the cut-off nothing is driven until the voltage has been back for a while.
func TestSupplyCutsOut(t *testing.T) {
	b := &battery{capacity: 64800, charge: 0.9, r0: 0.06, tau1: 1, tau2: 1}
	s := &supply{battery: b, idle: 2, cutOff: 6.8, recover: 7.4, smooth: 0.02, least: 0.15, seen: 12}
	a := &axis{motor: motor{r: 0.05, ke: 0.02}, command: 1}
	off, below := 0, 0
	for range 1000 {
		s.solve([]*axis{a}, 0.001)
		if s.off {
			off++
		}
		if s.voltage < 6.8 {
			below++
		}
	}
	assert.Greater(t, s.trips, 1, "it comes back and trips again")
	assert.Greater(t, off, 150)
	assert.Greater(t, below, 10, "the cut-off takes a moment to see it")
}

// A platform with springs and a damper: J 0.5, b 0.2, k 1.5 with 10 more from a loop that
// pushes back by the tilt, then 1 more of damping from its rate. GNU Octave's damp gives
// wn 4.79583152 rad/s and damping 0.04170288 and 0.25021730.
func TestPlatformAgainstOctave(t *testing.T) {
	for _, c := range []struct{ damp, zeta float64 }{{0.2, 0.04170288}, {1.2, 0.25021730}} {
		p := platform{inertia: 0.5, stiff: 1.5 + 10, damp: c.damp, stop: 1, half: 1, halfWidth: 1, angle: 0.1}
		away := &chassis{x: 50, wheelbase: 0.6}
		var peaks, times []float64
		was, rate := p.angle, 0.0
		for i := range 6000 {
			p.step(away, 0.001)
			if rate > 0 && p.rate <= 0 {
				peaks, times = append(peaks, was), append(times, float64(i)*0.001)
			}
			was, rate = p.angle, p.rate
		}
		n := len(peaks) - 1
		wd := 2 * math.Pi * float64(n) / (times[n] - times[0])
		decay := math.Log(peaks[0]/peaks[n]) / (times[n] - times[0])
		wn := math.Hypot(wd, decay)
		assert.InEpsilon(t, 4.79583152, wn, 0.003, "damping %g", c.damp)
		assert.InEpsilon(t, c.zeta, decay/wn, 0.01, "damping %g", c.damp)
	}
}

// A robot standing past the pivot holds the board down against the springs:
// k*angle = -m*g*s*cos(angle) in balance (statics).
func TestPlatformUnderRobot(t *testing.T) {
	p := platform{x: 7, y: 5.5, halfWidth: 1, half: 1.2, inertia: 44, stiff: 360, damp: 165, stop: 0.21}
	c := &chassis{x: 7 - 0.05, y: 5.5, mass: 54, wheelbase: 0.6}
	for range 8000 {
		p.step(c, 0.001)
	}
	assert.InDelta(t, -54*gravity*0.05*math.Cos(p.angle)/360, p.angle, 1e-6)
	assert.InDelta(t, p.angle, p.pitch(c), 1e-3, "a robot that stands on it tilts with it")
}

// At a steady command a robot runs where its motors' push meets what resists it:
// 2*Ke*G*eta/r*(u*V - Ke*G*v/r)/R = rolling + drag*v.
func TestChassisTopSpeed(t *testing.T) {
	m := motor{r: 0.05, ke: 0.02}
	c := &chassis{
		mass: 54, inertia: 3.6, halfTrack: 0.28, wheel: 0.051, gear: 8.5, yield: 0.86, rotating: 0.0125,
		grip: 1.05, knee: 0.12, rolling: 24, drag: 3, scrub: 24, left: &axis{motor: m, command: 0.7}, right: &axis{motor: m, command: 0.7},
	}
	for range 6000 {
		c.left.settle(12, false, 0.001)
		c.right.settle(12, false, 0.001)
		c.step(0, 0.001)
	}
	k := m.ke * c.gear / c.wheel
	want := (2*k*c.yield*0.7*12/m.r - c.rolling) / (2*k*k*c.yield/m.r + c.drag)
	assert.InEpsilon(t, want, c.v, 0.01)
	assert.InDelta(t, 0, c.yaw, 1e-12)
	assert.InDelta(t, c.v*6, c.x, 1.5, "straight on, less the start")
}

// A belt under a piece slows down along its motor's line: the winding carries the friction
// of belt and piece, (friction + drag*r)/(Ke*G*eta), and the speed falls by its share of R.
func TestBeltUnderLoad(t *testing.T) {
	m := motor{r: 0.3, ke: 0.022, windingMax: 40}
	b := &belt{from: 0, to: 10, beam: 5, axis: &axis{motor: m, command: 0.8}, radius: 0.03, gear: 18, yield: 0.75, inertia: 0.006, friction: 0.62}
	p := &path{belts: []*belt{b}, end: 10}
	c := &piece{length: 0.22, mass: 0.42, press: 78, mu: 0.8, drag: 24, x: 0.3}
	p.pieces = []*piece{c}
	for range 2000 {
		b.axis.settle(12, false, 0.001)
		p.step(func(*belt) bool { return true }, 0.001)
	}
	amps := (0.62 + 24*0.03) / (0.022 * 18 * 0.75)
	assert.InEpsilon(t, amps, b.axis.winding, 0.01)
	assert.InEpsilon(t, (0.8*12-amps*0.3)/0.022, b.axis.speed, 0.01)
	assert.Less(t, c.v, b.surface(), "it is dragged, so it slips a little")
	assert.Greater(t, c.v, 0.8*b.surface())
}

// A caught piece stands, its belt's motor ends stalled at u*V/R, and only pulling back long
// enough frees it.
func TestCatch(t *testing.T) {
	m := motor{r: 0.3, ke: 0.022, windingMax: 40}
	b := &belt{from: 0, to: 10, beam: 5, axis: &axis{motor: m, command: 0.9}, radius: 0.03, gear: 18, yield: 0.75, inertia: 0.006, friction: 0.62}
	p := &path{belts: []*belt{b}, end: 10}
	c := &piece{length: 0.22, mass: 0.42, press: 78, mu: 0.8, drag: 24, x: 0.3}
	c.catch = &catch{at: 0.8, deepen: 3000, most: 620, hold: 400, loosen: 2, left: 1}
	p.pieces = []*piece{c}
	run := func(command, seconds float64) {
		b.axis.command = command
		for range int(seconds / 0.001) {
			b.axis.settle(11, false, 0.001)
			p.step(func(*belt) bool { return true }, 0.001)
		}
	}
	run(0.9, 4)
	assert.True(t, c.held())
	assert.Equal(t, 0.8, c.x)
	assert.InEpsilon(t, 0.9*11/0.3, b.axis.winding, 0.05)
	assert.Less(t, b.speed(), 1.0)
	run(-0.8, 0.3)
	assert.True(t, c.held(), "not at once")
	assert.Equal(t, 0.8, c.x)
	run(-0.8, 0.8)
	assert.False(t, c.held())
	assert.Less(t, c.x, 0.7)
	run(0.9, 3)
	assert.Greater(t, c.x, 0.9, "it catches only once")
}

// A piece pushed from behind presses into the one ahead by no more than the push over the
// stiffness of the two, with a little for the blow of its coming.
func TestPiecesPressOnEachOther(t *testing.T) {
	r := stream(3, "pieces")
	p := newPath(r)
	a, b := newPiece(r), newPiece(r)
	a.catch = &catch{at: 0.9, hold: 1e9, left: 1} // the belts go on turning
	p.admit(a, 0.5)
	a.x = 0.5
	p.admit(b, 0.5)
	for _, bl := range p.belts {
		bl.axis.command = 0.8
	}
	for range 4000 {
		for _, bl := range p.belts {
			bl.axis.settle(12, false, 0.001)
		}
		p.step(func(*belt) bool { return true }, 0.001)
		assert.LessOrEqual(t, b.x, a.x-a.length+1.3*b.mu*b.press/softN)
	}
	assert.Equal(t, 0.9, a.x)
	weight := b.mass * gravity // most of it: the lift goes straight up
	assert.InDelta(t, a.x-a.length+(b.mu*b.press-0.8*weight)/softN, b.x, 0.0005, "at rest the spring carries the push")
}

// The lift goes to its target and stays, carried by what feeds gravity forward.
func TestArmReachesTarget(t *testing.T) {
	w := newWorld(scenarios()[0], Options{Seed: 5})
	l := &w.program.loop
	l.target = placeAt
	over := 0.0
	for i := range 3000 {
		if i%10 == 0 {
			w.arm.axis.command = l.command(w.arm, 0.01)
		}
		w.arm.axis.settle(12, false, 0.001)
		w.arm.step(0.001)
		over = math.Max(over, w.arm.position-placeAt)
	}
	assert.InDelta(t, placeAt, w.arm.position, 0.005)
	assert.Less(t, over, 0.03)
	hold := w.arm.mass * gravity * w.arm.drum / (w.arm.gear * w.arm.yield * w.arm.axis.motor.ke)
	assert.InEpsilon(t, hold, w.arm.axis.winding, 0.25, "friction holds a part")
}
