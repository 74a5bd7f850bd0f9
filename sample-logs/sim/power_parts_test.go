package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A step of current from rest: v(t) = E(q) - I*(R0 + R1*(1-exp(-t/tau1)) + R2*(1-exp(-t/tau2))),
// the closed form of a resistor and two RC pairs in series (circuit theory, common practice),
// with the resistances of 5 degrees and of the charge worked out here by hand.
func TestBatteryStepResponse(t *testing.T) {
	const amps, degrees, charge, capacity = 60.0, 5.0, 0.7, 60000.0
	b := &battery{
		capacity: capacity / 0.84, charge: charge, r0: 0.0185, r1: 0.006, tau1: 0.9, r2: 0.008, tau2: 25,
	}
	b.real(degrees, 0.0035)
	b.store = 0 // held at that temperature
	require.InEpsilon(t, capacity, b.capacity, 1e-12, "a fifth of the way to freezing and beyond: 0.8 % a degree")
	s := &supply{battery: b, smooth: 0.02}
	s.solve(nil, 0.001)
	rest := s.voltage
	assert.InDelta(t, 11.58+1.28*charge, rest, 1e-6, "no current, no drop")

	s.idle = amps
	inside, slow := (0.0185-0.0035)*(1+0.012*20), 1+0.018*20
	for k := range 30001 {
		s.solve(nil, 0.001)
		switch k {
		case 1, 10, 100, 1000, 30000:
			at := float64(k) * 0.001
			q := charge - amps*at/capacity
			ohms := inside*(1+0.7*(1-q)*(1-q)) + 0.0035 +
				slow*(0.006*(1-math.Exp(-at/0.9))+0.008*(1-math.Exp(-at/25)))
			assert.InDelta(t, 11.58+1.28*q-amps*ohms, s.voltage, 2e-6, "after %g s", at)
		}
	}
}

// The two-point d.c. internal resistance: 4*I10 for 20 s, rest, 20*I10 for 5 s,
// Ri = (Ua-Ub)/(Ib-Ia) (IEC 60896-21:2004; currents and times from memory, the arithmetic
// checked by its own example). Of our battery it must be the ohmic part and what relaxation
// adds after 20 and 5 s, no more and no less.
func TestTwoPointResistance(t *testing.T) {
	ri := func(ua, ub, ia, ib float64) float64 { return (ua - ub) / (ib - ia) }
	assert.InEpsilon(t, 0.0180555556, ri(12.42, 11.90, 7.2, 36), 1e-8)

	const ia, ib = 4 * 1.8, 20 * 1.8
	b := &battery{capacity: 64800, charge: 0.95, r0: 0.0185, r1: 0.006, tau1: 0.9, r2: 0.008, tau2: 25}
	s := &supply{battery: b, smooth: 0.02}
	after := func(amps, seconds float64) float64 {
		s.idle = amps
		for range int(seconds / 0.001) {
			s.solve(nil, 0.001)
		}
		return s.voltage
	}
	ua := after(ia, 20)
	qa := b.charge
	after(0, 180)
	ub := after(ib, 5)
	z := func(at float64) float64 { return 0.0185 + 0.006*(1-math.Exp(-at/0.9)) + 0.008*(1-math.Exp(-at/25)) }
	emptied := 1.28 * (qa - b.charge) // V by which the battery itself fell in between
	got := ri(ua, ub, ia, ib)
	assert.InDelta(t, (ib*z(5)-ia*z(20)+emptied)/(ib-ia), got, 3e-6)
	assert.Greater(t, got, 0.0185)
	assert.Less(t, got, 0.0185+0.006+0.008)
}

// Trip times of IEC 60255-149's thermal model, t = tau*ln((I^2-Ip^2)/(I^2-(k*Ib)^2)), for
// I = 2*k*Ib and tau = 600 s: 172.609243 s from cold, 67.997211 s after 0.8*k*Ib (formula
// from memory). The winding's temperature crosses the rise that k*Ib ends at just then.
func TestWindingWarmsByThermalModel(t *testing.T) {
	for _, c := range []struct{ before, seconds float64 }{{0, 172.609243}, {0.8, 67.997211}} {
		const away, base = 0.5, 40.0 // W/K, and W at k*Ib
		h := &warmth{cold: 0.05, store: 600 * away, away: away, rise: c.before * c.before * base / away}
		at := 0.0
		for h.rise < base/away {
			h.step(4*base, 0.02)
			at += 0.02
		}
		assert.InEpsilon(t, c.seconds, at, 1e-3)
	}
}

// Copper that carries a current ends where loss and cooling meet: rise = P/(away - P*perK)
// with P the loss when cold (first-order heat balance, common practice).
func TestWarmWindingDrawsLess(t *testing.T) {
	a := &axis{motor: motor{r: 0.05, ke: 0.02}, command: 0.1}
	a.warmth = &warmth{cold: 0.05, store: 90, away: 0.6, perK: copperPerK}
	a.settle(12, false, 0.001)
	cold := a.winding
	for range 4000 * 100 {
		a.settle(12, false, 0.01)
	}
	// A stalled motor at a steady duty: loss is (u*V)^2/r, r = cold*(1+perK*rise).
	rise := a.warmth.rise
	assert.InEpsilon(t, 1.2*1.2/(0.05*(1+0.0039*rise))/0.6, rise, 1e-6)
	assert.InEpsilon(t, 0.05*(1+0.0039*rise), a.motor.r, 1e-6)
	assert.InEpsilon(t, 24, cold, 1e-9)
	assert.Less(t, a.winding, 0.9*cold)
}

// A branch's controllers see the bus less what the wires take: a stalled motor is R/u^2
// behind them, so v = bus/(1 + ohms*u^2/R) (a voltage divider), also with wires so bad that
// the drop is larger than what is left.
func TestBranchWires(t *testing.T) {
	for _, ohms := range []float64{0.005, 0.05, 0.2} {
		b := &battery{capacity: 64800, charge: 0.9, r0: 0.02, tau1: 1, tau2: 1}
		a := &axis{motor: motor{r: 0.05, ke: 0.02}, command: 0.9}
		s := &supply{battery: b, smooth: 0.02, branches: []*branch{{axes: []*axis{a}, ohms: ohms}}}
		for range 40 {
			s.solve([]*axis{a}, 0.001)
		}
		at := s.branches[0].at
		assert.InEpsilon(t, s.voltage/(1+ohms*0.81/0.05), at, 1e-6, "%g ohm", ohms)
		assert.InEpsilon(t, (s.voltage-at)/ohms, a.input, 1e-6)
	}
}

// Each branch lets go at its own cut-off, comes back by itself, and ramps up from nothing;
// the others go on.
func TestBranchCutsOutAlone(t *testing.T) {
	b := &battery{capacity: 64800, charge: 0.9, r0: 0.02, tau1: 1, tau2: 1}
	strong, weak := &axis{motor: motor{r: 0.1, ke: 0.02}, command: 0.9}, &axis{motor: motor{r: 0.1, ke: 0.02}, command: 0.9, slew: 10}
	s := &supply{battery: b, smooth: 0.02, seen: 12, cutOff: 6, recover: 6.6, least: 0.15, branches: []*branch{
		{axes: []*axis{strong}, ohms: 0.002, cutOff: 7, recover: 7.6, smooth: 0.01, least: 0.1},
		{axes: []*axis{weak}, ohms: 0.07, cutOff: 7, recover: 7.6, smooth: 0.01, least: 0.1},
	}}
	off, biggest := 0, 0.0
	was := 0.0
	for range 2000 {
		s.solve([]*axis{strong, weak}, 0.001)
		if s.branches[1].off {
			off++
		}
		biggest = math.Max(biggest, weak.duty()-was)
		was = weak.duty()
	}
	assert.Zero(t, s.branches[0].trips)
	assert.Zero(t, s.trips)
	assert.Greater(t, s.branches[1].trips, 2)
	assert.Greater(t, off, 2*100)
	assert.LessOrEqual(t, biggest, 10*0.001+1e-12, "its controller ramps up")
	assert.Greater(t, strong.input, 50.0)
}

// Dips of d.c. supplies as IEC 61000-4-29 tests them (levels and durations from memory): to
// 40 % and 70 % of 12 V for 0.01 to 1 s, put on the bus by a bench supply at times that know
// nothing of the samples. The truth holds each dip that has a sample, from its first sample
// to the first after it, and no other.
func TestBenchDipsAreFound(t *testing.T) {
	s, _ := findScenario("clean")
	s.power.still = true
	w := newWorld(s, Options{Seed: 5})
	w.supply.cutOff, w.supply.recover = 9, 9.6
	r := stream(5, "bench")
	type dip struct {
		from, to int
		volts    float64
	}
	var dips []dip
	at := 12000
	for range 8 {
		for _, volts := range []float64{0.4 * 12, 0.7 * 12} {
			for _, seconds := range []float64{0.01, 0.03, 0.1, 0.3, 1} {
				dips = append(dips, dip{at, at + int(math.Round(seconds*1000)), volts})
				at += int(math.Round(seconds*1000)) + 400 + r.IntN(60)
			}
		}
	}
	level := func(k int) float64 {
		for _, d := range dips {
			if d.from <= k && k < d.to {
				return d.volts
			}
		}
		return 12
	}
	for last := int(w.until / step); w.steps < last; w.steps++ {
		w.supply.forced = level(w.steps)
		w.advance()
	}
	truth := truth(w, &Match{Log: w.recorder.log(), Robot: s.robot})
	volts := w.recorder.clean("power/voltage")
	found, short := 0, 0
	for _, d := range dips {
		first, after := -1, -1
		for i, k := range volts.step {
			if d.from <= k && k < d.to && first < 0 {
				first = i
			}
			if first >= 0 && k >= d.to {
				after = i
				break
			}
		}
		if first < 0 {
			short++
			assert.LessOrEqual(t, d.to-d.from, 22, "a dip of %d ms has a sample", d.to-d.from)
			continue
		}
		require.Less(t, found, len(truth.Brownouts))
		b := truth.Brownouts[found]
		found++
		assert.InDelta(t, float64(volts.t[first])*1e-6, b.StartS, 1e-6)
		assert.InDelta(t, float64(volts.t[after])*1e-6, *b.EndS, 1e-6)
		assert.InDelta(t, d.volts, b.MinV, 1e-9)
	}
	assert.Len(t, truth.Brownouts, found)
	assert.Greater(t, short, 2, "some of 10 ms fall between two samples")
	assert.Greater(t, found, 8*8)
}

// What tells a resistance: eight changes of 5 A, each within a tenth of a second and apart
// from the others, at samples close enough to see that they were so quick.
func TestExcitedCurrent(t *testing.T) {
	w := &world{opens: 10, closes: 100}
	current := func(apart float64, value func(at float64) float64) *clean {
		out := &clean{}
		for at := 0.0; at < 120; at += apart {
			out.step, out.v = append(out.step, int(math.Round(at/step))), append(out.v, value(at))
		}
		return out
	}
	square := func(amps float64, until float64) func(float64) float64 {
		return func(at float64) float64 {
			if at >= 11 && at < until && int(at)%2 == 0 {
				return amps
			}
			return 0
		}
	}
	assert.True(t, w.excited(current(0.02, square(6, 100))))
	assert.True(t, w.excited(current(0.1, square(6, 100))))
	assert.False(t, w.excited(current(0.2, square(6, 100))), "too far apart to see how quick")
	assert.False(t, w.excited(current(0.02, square(4, 100))), "too small")
	assert.False(t, w.excited(current(0.02, square(6, 15.5))), "too few")
	assert.False(t, w.excited(current(0.02, func(at float64) float64 { return 10 * math.Sin(at) })), "too slow")
	assert.False(t, w.excited(current(0.02, func(at float64) float64 {
		if at < 10 || at > 100 {
			return square(20, 200)(at + 12)
		}
		return 3
	})), "not in the match")
}
