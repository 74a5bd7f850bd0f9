package power

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/stat"
)

// lowPass is x behind a low-pass of first order, by its definition y' = (x - y)/tau in
// steps far below tau.
func lowPass(x []float64, tau float64) []float64 {
	out := make([]float64, len(x))
	y := x[0]
	for k, v := range x {
		y += (v - y) * fine / tau
		out[k] = y
	}
	return out
}

// A battery of known resistance and a current sensor that smooths, by up to four times the
// time between readings, with a fast relaxation or a slow one.
func TestResistanceBehindASlowCurrentSensor(t *testing.T) {
	for _, c := range []struct{ hz, tau, relax, within float64 }{
		{50, 0.02, 1, 4},
		{50, 0.05, 1, 4},
		{50, 0.08, 0.35, 6},
		{200, 0.02, 1, 3},
		{200, 0.05, 0.35, 5},
		{500, 0.03, 1, 3},
	} {
		var found []float64
		covered := 0
		const matches = 12
		for seed := range uint64(matches) {
			battery := healthy
			battery.tau1 = c.relax
			rng := rand.New(rand.NewPCG(seed, 7))
			load := drive(rng, 60)
			volts, amps := board(c.hz, 0)
			r := measure(volts.read(rng, battery.volts(load, fine)), amps.read(rng, lowPass(load, c.tau)))
			require.NotNil(t, r.Line, r.Battery.Reason)
			found = append(found, r.Line.ResistanceOhm)
			if r.Line.ResistanceLowOhm <= healthy.ohm && healthy.ohm <= r.Line.ResistanceHighOhm {
				covered++
			}
			assert.Contains(t, strings.Join(r.Notes, "\n"), "the current's sensor smooths over about", "%v", c)
			assert.InDelta(t, c.tau, r.Line.SmoothedS+r.Line.LagS, 0.25*c.tau+0.004, "%v", c)
		}
		off := 100 * (stat.Median(found)/healthy.ohm - 1)
		t.Logf("%v: %+.2f %% off, covers %d of %d", c, off, covered, matches)
		assert.InDelta(t, 0, off, c.within, "%v", c)
		assert.GreaterOrEqual(t, covered, 10, "%v", c)
	}
}

// A program that takes the current as some part of its last value and the rest of the new reading,
// as many do, 50 times a second.
func TestResistanceBehindAProgramThatSmooths(t *testing.T) {
	for _, part := range []float64{1. / 3, 0.6} {
		var found []float64
		covered := 0
		const matches = 12
		for seed := range uint64(matches) {
			rng := rand.New(rand.NewPCG(seed, 8))
			load := drive(rng, 60)
			volts, amps := board(50, 0)
			current := amps.read(rng, load)
			for k := 1; k < len(current.V); k++ {
				current.V[k] = part*current.V[k-1] + (1-part)*current.V[k]
			}
			r := measure(volts.read(rng, healthy.volts(load, fine)), current)
			require.NotNil(t, r.Line, r.Battery.Reason)
			found = append(found, r.Line.ResistanceOhm)
			if r.Line.ResistanceLowOhm <= healthy.ohm && healthy.ohm <= r.Line.ResistanceHighOhm {
				covered++
			}
			assert.InDelta(t, -0.02/math.Log(part), r.Line.SmoothedS, 0.004)
			assert.Zero(t, r.Line.LagS)
		}
		assert.InDelta(t, 0, 100*(stat.Median(found)/healthy.ohm-1), 1.5)
		assert.GreaterOrEqual(t, covered, 10)
	}
}

// By hand: of a step 1/3 is left after the first reading, 1/9 after the second: the mean of the filter's
// weights 2/3, 2/9, 2/27 ... lies half a reading back.
func TestHowLateASmoothedReadingIs(t *testing.T) {
	by := response{tauS: -0.02 / math.Log(1./3), stepped: true}
	assert.InDelta(t, 1./3, by.keep(0.02), 1e-12)
	assert.Equal(t, int64(10_000), by.late(0.02))
	by.stepped = false
	assert.Equal(t, int64(18_205), by.late(0.02))
	assert.Zero(t, response{}.late(0.02))
}

// The answer of a low-pass to a ramp from rest is known: t - tau (1 - exp(-t/tau)).
func TestSmoothedRamp(t *testing.T) {
	ramp := steady(0, 1, 100, 0)
	for k, at := range ramp.T {
		ramp.V[k] = float64(at) / 1e6
	}
	c := newTrace(ramp, nil, DefaultConfig())
	for k, v := range c.smoothed(response{tauS: 0.05}).V {
		s := float64(ramp.T[k]) / 1e6
		assert.InDelta(t, s-0.05*(1-math.Exp(-s/0.05)), v, 1e-9)
	}
	assert.Equal(t, c.V, c.smoothed(response{}).V)
}

// Branches that are right show by how much the sensor of the whole current is wrong.
func TestScaleOfTheWholeCurrent(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	var each [4][]float64
	whole := make([]float64, int(100/fine))
	for b := range each {
		each[b] = drive(rng, 100)
		for k, v := range each[b] {
			whole[k] += v / 4
			each[b][k] = v / 4
		}
	}
	volts, amps := board(50, 0)
	volts.noise, amps.noise = 0.005, 0.1
	supplied := func(gain, missing float64) Result {
		read := make([]float64, len(whole))
		for k, v := range whole {
			read[k] = gain*v + missing*each[0][k]
		}
		in := Input{Voltage: volts.read(rng, healthy.volts(whole, fine)), Current: amps.read(rng, read), End: 100_000_000}
		for b := range each {
			in.Branches = append(in.Branches, Branch{string(rune('a' + b)), amps.read(rng, each[b])})
		}
		r := Detect(in, DefaultConfig())
		require.NotNil(t, r.Line, r.Battery.Reason)
		return r
	}
	right, wrong, partly := supplied(1, 0), supplied(1.06, 0), supplied(1, 2)
	assert.InEpsilon(t, healthy.ohm, right.Line.ResistanceOhm, 0.02)
	assert.NotContains(t, strings.Join(right.Notes, "\n"), "disagree")
	assert.InEpsilon(t, healthy.ohm, wrong.Line.ResistanceOhm, 0.03, "6 %% too much, of which a fifth may be the branches")
	assert.Contains(t, strings.Join(wrong.Notes, "\n"), "disagree by some")
	assert.Greater(t, wrong.Line.ResistanceHighOhm-wrong.Line.ResistanceLowOhm, right.Line.ResistanceHighOhm-right.Line.ResistanceLowOhm)
	assert.NotContains(t, strings.Join(partly.Notes, "\n"), "disagree", "what draws past the branches is no scale")
}

// Two motors on one shaft draw nearly the same, and what is left beside them in a log that reads
// slower than they switch goes with their difference. Scales half off on either side would tell
// it, which no sensors of a robot are.
func TestNoScaleTellsWhatScalesAreNot(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 10))
	one, rest := drive(rng, 100), drive(rng, 100)
	two, whole, read := make([]float64, len(one)), make([]float64, len(one)), make([]float64, len(one))
	for k := range one {
		apart := 0.04 * one[k] * math.Sin(float64(k)*fine*3)
		two[k] = one[k] + apart
		whole[k] = one[k] + two[k] + rest[k]
		read[k] = whole[k] + 0.6*apart
	}
	volts, amps := board(50, 0)
	volts.noise, amps.noise = 0.005, 0.1
	r := Detect(Input{
		Voltage: volts.read(rng, healthy.volts(whole, fine)), Current: amps.read(rng, read), End: 100_000_000,
		Branches: []Branch{{"front", amps.read(rng, one)}, {"rear", amps.read(rng, two)}, {"roller", amps.read(rng, rest)}},
	}, DefaultConfig())
	require.NotNil(t, r.Line, r.Battery.Reason)
	assert.NotContains(t, strings.Join(r.Notes, "\n"), "disagree")
	assert.InEpsilon(t, healthy.ohm, r.Line.ResistanceOhm, 0.03)
	assert.Less(t, r.Line.ResistanceHighOhm-r.Line.ResistanceLowOhm, 0.1*healthy.ohm)
}

// A connection whose resistance jumps each second between three levels, by a battery that
// keeps its own.
func TestAConnectionThatJumps(t *testing.T) {
	covered := 0
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 5))
		load := drive(rng, 150)
		volts := healthy.volts(load, fine)
		sum, more := 0.0, 0.0
		for k := range volts {
			if k%int(1/fine) == 0 {
				more = []float64{0.002, 0.02, 0.04}[rng.IntN(3)]
			}
			volts[k] -= more * load[k]
			sum += healthy.ohm + more
		}
		b50, a50 := board(50, 0)
		r := measure(b50.read(rng, volts), a50.read(rng, load))
		require.NotNil(t, r.Line, r.Battery.Reason)
		mean := sum / float64(len(volts))
		if r.Line.ResistanceLowOhm <= mean && mean <= r.Line.ResistanceHighOhm {
			covered++
		}
		assert.InDelta(t, healthy.ohm+0.002, r.Line.TightOhm, 0.008, "relaxation at every jump blurs it")
		assert.InDelta(t, healthy.ohm+0.04, r.Line.LooseOhm, 0.012)
		assert.Contains(t, strings.Join(r.Notes, "\n"), "jumps between")

		r = measure(b50.read(rng, healthy.volts(load, fine)), a50.read(rng, load))
		require.NotNil(t, r.Line)
		assert.Zero(t, r.Line.LooseOhm, "a sound one")
	}
	assert.GreaterOrEqual(t, covered, 10)
}

func TestMeanOfMoments(t *testing.T) {
	r := resistances{T: []int64{2e6, 6e6}, R: []float64{0.01, 0.03}}
	ohm, _ := r.mean(0, 10e6)
	assert.InDelta(t, 0.018, ohm, 1e-12, "6 s as first seen, 4 s as seen last")
	_, _, loose := r.loose(DefaultConfig())
	assert.False(t, loose, "two readings tell nothing")
}

// A voltage read to a tenth of a volt is the truer for being smoothed, on either side of each
// reading. A sensor that smooths the current shows it late: none is early by as much as it smooths.
func TestACoarseVoltageIsNoSlowCurrent(t *testing.T) {
	low := 0
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 55))
		load := lowPass(drive(rng, 100), 0.08)
		r := measure(sensor{100, 0, 0.02, 0.1}.read(rng, healthy.volts(load, fine)), sensor{100, 0, 0.5, 0.5}.read(rng, load))
		require.NotNil(t, r.Line, r.Battery.Reason)
		assert.GreaterOrEqual(t, r.Line.LagS, -0.0101, "%d: no earlier than a step", seed)
		if r.Line.ResistanceHighOhm < healthy.ohm {
			low++
		}
	}
	assert.LessOrEqual(t, low, 2)
}
