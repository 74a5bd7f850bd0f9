package power

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

func match(seed uint64, c cell, volts, amps sensor, seconds float64) (v, i *series.Float) {
	rng := rand.New(rand.NewPCG(seed, 61))
	load := drive(rng, seconds)
	return volts.read(rng, c.volts(load, fine)), amps.read(rng, load)
}

func measure(v, i *series.Float) Result {
	return Detect(Input{Voltage: v, Current: i, Start: v.T[0], End: v.T[len(v.T)-1]}, DefaultConfig())
}

// The sensors of a usual power board: 1/64 V and 0.1 A, a little noise beyond that.
func board(hz, late float64) (volts, amps sensor) {
	return sensor{hz, 0, 0.01, 1.0 / 64}, sensor{hz, late, 0.5, 0.1}
}

// The estimate is checked against a battery whose resistance is known because the test made
// it, from other equations than the estimate uses. No log of a real lead-acid battery with
// its current was to be had.
func TestResistanceOfAKnownBattery(t *testing.T) {
	const matches = 100
	for _, at := range []struct{ hz, late float64 }{
		{20, 0},
		{50, 0},
		{200, 0},
		{1000, 0},
		{20, 0.05},
		{50, 0.02},
		{200, 0.005},
		{1000, 0.001},
	} {
		volts, amps := board(at.hz, at.late)
		var found, naive, width []float64
		covered := 0
		for seed := range uint64(matches) {
			v, i := match(seed, healthy, volts, amps, 40)
			r := measure(v, i)
			require.NotNil(t, r.Line, r.Battery.Reason)
			found = append(found, r.Line.ResistanceOhm)
			width = append(width, (r.Line.ResistanceHighOhm-r.Line.ResistanceLowOhm)/2)
			if r.Line.ResistanceLowOhm <= healthy.ohm && healthy.ohm <= r.Line.ResistanceHighOhm {
				covered++
			}
			shared := newTrace(i, nil, DefaultConfig())
			plain, ok := stat.FitLine(shared.sample(v.T[20:], 0), v.V[20:])
			require.True(t, ok)
			naive = append(naive, -plain.Slope)
		}
		off := func(ohms []float64) float64 { return 100 * (stat.Median(ohms)/healthy.ohm - 1) }
		t.Logf("%4.0f Hz, %2.0f ms late: %+.2f %% off, half width %.2f %%, covers %d of %d; V on I %+.0f %% off",
			at.hz, at.late*1e3, off(found), 100*stat.Median(width)/healthy.ohm, covered, matches, off(naive))
		assert.InDelta(t, 0, off(found), 2, "%v", at)
		assert.GreaterOrEqual(t, covered, 88, "%v", at)
		assert.Less(t, stat.Median(width), 0.1*healthy.ohm, "%v: the interval must say something", at)
		assert.Greater(t, math.Abs(off(naive)), 10.0, "%v: the plain regression is the error this avoids", at)
	}
}

// Other batteries and sensors than those the measurement was thought out for.
func TestResistanceElsewhere(t *testing.T) {
	for name, c := range map[string]struct {
		cell        cell
		volts, amps sensor
		within      float64
	}{
		"worn":                    {cell{12.2, 0.045, 0.02, 0.6, 0.02, 8}, sensor{100, 0, 0.02, 0.01}, sensor{100, 0, 1, 0.125}, 0.04},
		"no relaxation, no noise": {cell{12.6, 0.015, 0, 1, 0, 1}, sensor{200, 0, 0, 0}, sensor{200, 0, 0, 0}, 0.01},
		"fast voltage":            {healthy, sensor{1000, 0, 0.01, 0.001}, sensor{50, 0, 0.5, 0.1}, 0.03},
		"fast current":            {healthy, sensor{50, 0, 0.01, 0.001}, sensor{400, 0, 0.5, 0.1}, 0.03},
		"early current":           {healthy, sensor{50, 0.04, 0.01, 0.001}, sensor{50, 0, 0.5, 0.1}, 0.03},
		"24 V":                    {cell{25.4, 0.030, 0.01, 2, 0.01, 30}, sensor{50, 0, 0.02, 0.02}, sensor{50, 0, 0.5, 0.1}, 0.03},
	} {
		v, i := match(5, c.cell, c.volts, c.amps, 90)
		r := measure(v, i)
		require.NotNil(t, r.Line, "%s: %s", name, r.Battery.Reason)
		l := r.Line
		assert.InEpsilon(t, c.cell.ohm, l.ResistanceOhm, c.within, name)
		assert.LessOrEqual(t, l.ResistanceLowOhm, c.cell.ohm, name)
		assert.GreaterOrEqual(t, l.ResistanceHighOhm, c.cell.ohm, name)
		assert.InDelta(t, c.cell.open, l.OpenCircuitV, 0.15, name)
	}
}

func TestOpenCircuitVoltage(t *testing.T) {
	covered := 0
	for seed := range uint64(40) {
		volts, amps := board(50, 0)
		v, i := match(seed, healthy, volts, amps, 150)
		l := measure(v, i).Line
		require.NotNil(t, l)
		assert.InDelta(t, healthy.open, l.OpenCircuitV, 0.1)
		if l.OpenCircuitLow <= healthy.open && healthy.open <= l.OpenCircuitHigh {
			covered++
		}
	}
	t.Logf("open circuit: covers %d of 40", covered)
	assert.GreaterOrEqual(t, covered, 35)
}

func TestLagIsFoundAndSaid(t *testing.T) {
	volts, amps := board(50, 0.04)
	v, i := match(1, healthy, volts, amps, 60)
	r := measure(v, i)
	require.NotNil(t, r.Line)
	assert.Equal(t, 0.04, r.Line.LagS)
	assert.Contains(t, r.Notes, "the current's reading comes +40 ms after the voltage's; corrected")
}

func TestResistanceIsRefused(t *testing.T) {
	quiet := steady(0, 60, 50, 12.5)
	volts, amps := board(50, 0)
	v, i := match(1, healthy, volts, amps, 60)
	turned := &series.Float{T: i.T}
	for _, a := range i.V {
		turned.V = append(turned.V, -a)
	}
	few := steady(0, 60, 50, 2)
	fewV := steady(0, 60, 50, 12.564)
	for _, second := range []int{10, 20, 30, 40} { // four bursts, one step up and one down each
		for k := second * 50; k < second*50+5; k++ {
			few.V[k], fewV.V[k] = 102, 10.764
		}
	}
	unrelated := rand.New(rand.NewPCG(9, 9))
	noisy := &series.Float{T: v.T}
	for range v.T {
		noisy.V = append(noisy.V, 12+unrelated.NormFloat64())
	}
	for name, c := range map[string]struct {
		v, i   *series.Float
		reason string
	}{
		"no current":        {v, nil, "no current reading"},
		"steady":            {quiet, steady(0, 60, 50, 20), "loads too steady"},
		"four events":       {fewV, few, "loads too steady: 4 separate steps"},
		"turned sign":       {v, turned, "sign of the current"},
		"sampled slowly":    {steady(0, 60, 2, 12), steady(0, 60, 2, 20), "sampled too slowly"},
		"one reading":       {steady(5, 0.01, 50, 12), steady(5, 0.01, 50, 20), "a single reading"},
		"unrelated":         {noisy, i, "does not follow the current"},
		"current elsewhere": {v, steady(100, 60, 50, 5), "loads too steady"},
	} {
		r := measure(c.v, c.i)
		assert.Contains(t, r.Battery.Reason, c.reason, name)
		assert.Nil(t, r.Line, name)
		assert.Nil(t, r.Battery.ResistanceOhm, name)
		assert.Nil(t, r.Battery.ResistanceLowOhm, name)
		assert.Nil(t, r.Battery.ResistanceHighOhm, name)
		assert.Nil(t, r.Battery.OpenCircuitV, name)
	}
}

// The current in a gap is unknown; reading across it would make steps that never were.
func TestResistanceWithHolesInTheLog(t *testing.T) {
	volts, amps := board(50, 0)
	v, i := match(2, healthy, volts, amps, 120)
	cut := func(s *series.Float, from, to float64) *series.Float {
		out := &series.Float{}
		for k, at := range s.T {
			if float64(at) < from*1e6 || float64(at) >= to*1e6 {
				out.T, out.V = append(out.T, at), append(out.V, s.V[k])
			}
		}
		return out
	}
	r := measure(cut(v, 20, 30), cut(i, 50, 65))
	require.NotNil(t, r.Line, r.Battery.Reason)
	assert.InEpsilon(t, healthy.ohm, r.Line.ResistanceOhm, 0.02)
	assert.Contains(t, r.Notes, "the current is not known for 15.0 s of the match: energy and charge leave that out")
}

func TestSameLogSameInterval(t *testing.T) {
	volts, amps := board(50, 0)
	v, i := match(3, healthy, volts, amps, 60)
	assert.Equal(t, measure(v, i), measure(v, i))
}

// The line of the report goes through the readings: what it leaves has no mean.
func TestTheReportedLineGoesThroughTheReadings(t *testing.T) {
	volts, amps := board(50, 0)
	v, i := match(3, healthy, volts, amps, 150)
	r := measure(v, i)
	require.NotNil(t, r.Battery.OpenCircuitV)
	left := 0.0
	for k := range v.T {
		left += v.V[k] - (*r.Battery.OpenCircuitV - *r.Battery.ResistanceOhm*i.V[k])
	}
	assert.InDelta(t, 0, left/float64(len(v.T)), 0.02)
	assert.Less(t, *r.Battery.OpenCircuitV, r.Line.OpenCircuitV, "relaxation lowers a battery at work")
}
