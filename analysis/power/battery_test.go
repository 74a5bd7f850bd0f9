package power

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// 12 V at 30 A for ten minutes is 60 Wh and 5 Ah: power and charge by their definitions.
func TestEnergyAndChargeOfTheMatch(t *testing.T) {
	in := Input{
		Voltage: steady(-30, 700, 50, 12), Current: steady(-30, 700, 10, 30), End: 670_000_000, Start: -30_000_000,
		Periods: []schemas.Period{{Name: "autonomous", StartS: 0, EndS: 100}, {Name: "driver", StartS: 105, EndS: 600}},
	}
	b := Detect(in, DefaultConfig()).Battery
	assert.InDelta(t, 60, *b.EnergyWh, 1e-6, "first start to last end, not the whole log")
	assert.InDelta(t, 5, *b.ChargeAh, 1e-6)
	assert.Equal(t, 30.0, *b.PeakA)

	// A ramp from 0 to 60 A on a line from 12 V to 9 V: the integral of their product.
	ramp, sink := steady(0, 600.1, 10, 0), steady(0, 600.1, 50, 0)
	for k, at := range ramp.T {
		ramp.V[k] = float64(at) / 1e7
	}
	for k, at := range sink.T {
		sink.V[k] = 12 - float64(at)/2e8
	}
	in = Input{Voltage: sink, Current: ramp, End: 600_000_000}
	b = Detect(in, DefaultConfig()).Battery
	assert.InDelta(t, 5, *b.ChargeAh, 1e-6)
	assert.InDelta(t, (0.1*12*600*600/2-0.1*0.005*600*600*600/3)/3600, *b.EnergyWh, 1e-3)
}

func TestEnergyNeedsACurrentForTheMatch(t *testing.T) {
	r := Detect(Input{Voltage: steady(0, 100, 50, 12), Current: steady(0, 30, 50, 10), End: 100_000_000}, DefaultConfig())
	assert.Nil(t, r.Battery.EnergyWh)
	assert.Nil(t, r.Battery.ChargeAh)
	assert.Contains(t, r.Notes, "energy and charge are not known: the current is for less than half of the match")
}

func TestRestVoltage(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	before := func(seconds float64, volts func(s float64) float64, amps float64) Input {
		v, i := steady(-seconds, seconds+60, 50, 11), steady(-seconds, seconds+60, 50, 40)
		for k, at := range v.T {
			if at < 0 {
				v.V[k], i.V[k] = volts(float64(at)/1e6+seconds)+0.01*rng.NormFloat64(), amps
			}
		}
		return Input{Voltage: v, Current: i, Start: v.T[0], End: 60_000_000, Periods: []schemas.Period{{Name: "driver", StartS: 0, EndS: 60}}}
	}
	flat := func(float64) float64 { return 12.7 }
	recovering := func(s float64) float64 { return 12.7 - 0.4*math.Exp(-s/20) }
	for name, c := range map[string]struct {
		in   Input
		want float64 // 0 for none
	}{
		"ten seconds of rest":     {before(10, flat, 1.5), 12.7},
		"no current to tell":      {func() Input { in := before(10, flat, 1.5); in.Current = nil; return in }(), 12.7},
		"no periods to tell":      {func() Input { in := before(10, flat, 1.5); in.Periods = nil; return in }(), 12.7},
		"neither":                 {func() Input { in := before(10, flat, 1.5); in.Periods, in.Current = nil, nil; return in }(), 0},
		"two seconds of rest":     {before(2, flat, 1.5), 0},
		"no rest before":          {before(0, flat, 0), 0},
		"something drew 20 A":     {before(10, flat, 20), 0},
		"recovering after a load": {before(10, recovering, 1.5), 0},
		"recovered":               {before(120, recovering, 1.5), 12.7},
	} {
		got := Detect(c.in, DefaultConfig()).Battery.RestV
		if c.want == 0 {
			assert.Nil(t, got, name)
			continue
		}
		if assert.NotNil(t, got, name) {
			assert.InDelta(t, c.want, *got, 0.01, name)
		}
	}
}

func TestWhichBattery(t *testing.T) {
	in := Input{Voltage: steady(0, 1, 50, 12), Periods: []schemas.Period{{Name: "driver", StartS: 0.5, EndS: 1}}}
	id := func(texts ...string) string {
		in.Battery = &series.Text{}
		for k, s := range texts {
			in.Battery.T, in.Battery.V = append(in.Battery.T, int64(k)*400_000), append(in.Battery.V, s)
		}
		return Detect(in, DefaultConfig()).Battery.ID
	}
	assert.Equal(t, "B2", id("B1", "B2", "B3"), "the one in force when the match starts")
	assert.Equal(t, "B3", id("", "", "B3"), "the first one named, when none was yet")
	assert.Equal(t, "", id())
	in.Battery = nil
	assert.Equal(t, "", Detect(in, DefaultConfig()).Battery.ID)
}

// The load line of a battery without relaxation is known: it meets 6.8 V at (12.6-6.8)/0.02.
func TestBrownoutCurrent(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	load := drive(rng, 60)
	plain := cell{open: 12.6, ohm: 0.02, tau1: 1, tau2: 1}
	v, i := sensor{hz: 100}.read(rng, plain.volts(load, fine)), sensor{hz: 100}.read(rng, load)
	b := Detect(Input{Voltage: v, Current: i, EnterV: 6.8, LeaveV: 7.4, End: 60_000_000}, DefaultConfig()).Battery
	require.NotNil(t, b.BrownoutA, b.Reason)
	assert.InEpsilon(t, 290, *b.BrownoutA, 0.02)
}
