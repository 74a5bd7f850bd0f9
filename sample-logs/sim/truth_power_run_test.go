package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// powerRun is a match stepped by hand, with what its supply did at every step noted beside
// what the truth is told from.
type powerRun struct {
	world *world
	truth *schemas.Report
	fresh battery
	volts []float64 // bus
	amps  []float64 // whole
	quiet []float64 // besides the branches
	loose []float64 // ohm of a bad connection
	parts [][]float64

	inWires, inContact, inBattery, inRelaxation float64 // J of heat
	openJ                                       float64 // J given up by the open-circuit voltage
}

func runPower(t *testing.T, o Options) *powerRun {
	t.Helper()
	w, _, err := worldOf(o)
	require.NoError(t, err)
	run := watchPower(w)
	for last := int(w.until / step); w.steps < last; w.steps++ {
		run.advance()
	}
	run.finish()
	return run
}

// watchPower is a run about to begin.
func watchPower(w *world) *powerRun {
	n := int(w.until/step) + 1
	series := func() []float64 { return make([]float64, 0, n) }
	run := &powerRun{world: w, fresh: *w.battery, volts: series(), amps: series(), quiet: series(), loose: series()}
	for range breakers(w) {
		run.parts = append(run.parts, series())
	}
	return run
}

// advance is one step of the world, noted.
func (p *powerRun) advance() {
	w, b := p.world, p.world.battery
	open, u1, u2, slow, ohms := b.openCircuit(), b.u1, b.u2, b.relaxation(), b.series()
	w.advance()
	i := w.supply.current
	p.volts, p.amps = append(p.volts, w.supply.voltage), append(p.amps, i)
	p.quiet, p.loose = append(p.quiet, w.supply.quiet()), append(p.loose, w.supply.contact.resistance())
	p.openJ += open * i * step
	p.inBattery += i * i * ohms * step
	p.inContact += i * i * w.supply.contact.resistance() * step
	u1, u2 = (u1+b.u1)/2, (u2+b.u2)/2
	p.inRelaxation += (u1*u1/(b.r1*slow) + u2*u2/(b.r2*slow)) * step
	for k, br := range breakers(w) {
		p.parts[k] = append(p.parts[k], br.current())
		p.inWires += (w.supply.voltage - br.at) * br.current() * step
	}
}

// finish is told that the match is over.
func (p *powerRun) finish() {
	p.truth = truth(p.world, &Match{Log: p.world.recorder.log(), Robot: p.world.scenario.robot})
}

// balanced checks charge and energy from every side: what left the battery as charge, what
// the bus gave and where it went, and what the open-circuit voltage gave up and where that
// went.
func (p *powerRun) balanced(t *testing.T, name string) {
	t.Helper()
	b := p.world.battery
	charge, bus, idle := 0.0, 0.0, 0.0
	for k, v := range p.volts {
		charge += p.amps[k] * step
		bus += v * p.amps[k] * step
		idle += v * p.quiet[k] * step
	}
	assert.InEpsilon(t, charge, b.drawn, 1e-9, name)
	assert.InEpsilon(t, charge, (p.fresh.charge-b.charge)*b.capacity, 1e-9, name)
	assert.InEpsilon(t, bus, b.energy, 1e-9, name)
	used := idle + p.inWires
	for _, a := range p.world.axes {
		used += a.heat + a.work
	}
	assert.InEpsilon(t, bus, used, 1e-9, name)

	// A relaxation is a capacity tau/R charged to u.
	stored := func(u, r, tau float64) float64 { return u * u / 2 * tau / r }
	slow := b.relaxation()
	held := stored(b.u1, b.r1*slow, b.tau1) + stored(b.u2, b.r2*slow, b.tau2)
	assert.InEpsilon(t, p.openJ, bus+p.inContact+p.inBattery+p.inRelaxation+held, 1e-3, name)
	if b.store > 0 {
		heat := p.inBattery + p.inRelaxation
		for _, i := range p.amps {
			heat -= i * i * b.wiring * step
		}
		assert.InEpsilon(t, p.fresh.degrees+heat/b.store, b.degrees, 1e-3, name)
	}
}

// oracle is the truth about power worked out again, otherwise: from the voltage and current
// of every step, by looking back and ahead from each reading instead of walking a state, by
// regressing changes instead of averaging what is known, and by summing what each past
// current still does to the battery instead of running one.
type oracle struct{ *powerRun }

// readings are the steps of the voltage's samples.
func (o oracle) readings() []int { return o.world.recorder.clean("power/voltage").step }

// dips are the sample numbers from, to (len(readings) when it does not end).
func (o oracle) dips() [][2]int {
	at, rule := o.readings(), o.world.supply
	n := len(at)
	back := make([]int, n+1) // next sample from here that is back over leave
	back[n] = n
	for i := n - 1; i >= 0; i-- {
		back[i] = back[i+1]
		if o.volts[at[i]] >= rule.recover {
			back[i] = i
		}
	}
	var out [][2]int
	for i := range at {
		if o.volts[at[i]] < rule.cutOff && (len(out) == 0 || out[len(out)-1][1] <= i) {
			out = append(out, [2]int{i, back[i]})
		}
	}
	return out
}

// line is the slope and the intercept of voltage over current while the match runs. The
// slope is that of the millisecond changes, which nothing but the ohmic part can bring about,
// with what a bad connection took put back, and its mean added.
func (o oracle) line(amps func(k int) float64) (ohms, noLoad float64) {
	var sxx, sxy, v, i, loose, n float64
	w := o.world
	now := w.steps
	defer func() { w.steps = now }()
	for k := range o.volts {
		w.steps = k
		if !w.inPeriod() {
			continue
		}
		v, i, loose, n = v+o.volts[k], i+amps(k), loose+o.loose[k], n+1
		if k > 0 {
			di := o.amps[k] - o.amps[k-1]
			dv := o.volts[k] + o.loose[k]*o.amps[k] - o.volts[k-1] - o.loose[k-1]*o.amps[k-1]
			sxx, sxy = sxx+di*di, sxy+di*dv
		}
	}
	ohms = -sxy/sxx + loose/n
	return ohms, v/n + ohms*i/n
}

// counterfactual is the bus voltage at step k from the battery nothing was done to, which
// does not warm, by the sum over what was drawn before.
func (o oracle) counterfactual(k int) float64 {
	b := *o.world.sound
	drawn, u1, u2 := 0.0, 0.0, 0.0
	for j := range k {
		drawn += o.amps[j] * step
		ago := float64(k-j-1) * step
		if ago < 8*b.tau1 {
			u1 += o.amps[j] * math.Exp(-ago/b.tau1)
		}
		u2 += o.amps[j] * math.Exp(-ago/b.tau2)
	}
	slow := b.relaxation()
	u1 *= b.r1 * slow * step / b.tau1
	u2 *= b.r2 * slow * step / b.tau2
	b.charge -= drawn / b.capacity
	return b.openCircuit() - u1 - u2 - b.series()*o.amps[k]
}
