package power

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// chattering is a drive by a healthy battery behind a lug that comes loose for the last two of every 20 s
// and then takes ohm more or nothing, by turns of 0.03 s and more: what flowed, for motors left with less
// take less, and the voltage.
func chattering(rng *rand.Rand, ohm float64) (load, volts []float64) {
	const supplyV = 12
	load = lowPass(drive(rng, 100), 0.15)
	more := make([]float64, len(load))
	open, next := false, 0
	for k := range load {
		if s := float64(k) * fine; int(s)%20 < 18 {
			continue
		}
		if k >= next {
			open, next = !open, k+int((0.03+0.15*rng.ExpFloat64())/fine)
		}
		if open {
			more[k] = ohm
			load[k] /= 1 + ohm*load[k]/supplyV
		}
	}
	volts = healthy.volts(load, fine)
	for k := range volts {
		volts[k] -= more[k] * load[k]
	}
	return load, volts
}

// The voltage of a lug that chatters jumps by what no current explains. No current sensor is late
// because of it.
func TestAContactThatChattersIsNoLateSensor(t *testing.T) {
	told := 0
	for seed := range uint64(8) {
		rng := rand.New(rand.NewPCG(seed, 21))
		load, volts := chattering(rng, 0.08)
		b, a := board(50, 0)
		r := measure(b.read(rng, volts), a.read(rng, load))
		if r.Line != nil {
			told++
			assert.InDelta(t, healthy.ohm, r.Line.TightOhm, 0.006)
			assert.InDelta(t, healthy.ohm+0.08, r.Line.LooseOhm, 0.025)
		}
		notes := strings.Join(r.Notes, "\n")
		assert.NotContains(t, notes, "the current's sensor smooths")
		assert.NotContains(t, notes, "the current's reading comes")
	}
	assert.GreaterOrEqual(t, told, 6)
}

// A peak of the current between two of its readings, in a battery that has nothing to do with it:
// what the readings do not explain is no bad connection.
func TestAPeakThatNobodyRead(t *testing.T) {
	dip := func(c cell, amps, pullS float64, apartUS int64) (Judged, bool) {
		rng := rand.New(rand.NewPCG(5, 5))
		load := drive(rng, 60)
		for k := int(29 / fine); k < int(33/fine); k++ {
			load[k] = 5
			if s := float64(k)*fine - 30; -0.004 <= s && s < pullS {
				load[k] = amps
			}
		}
		v := sensor{20, 0, 0.01, 0.01}.read(rng, c.volts(load, fine))
		late := sensor{20, -float64(apartUS) / 1e6, 0.5, 0.1}.read(rng, load) // what flowed then
		r := Detect(Input{Voltage: v, Current: shifted(late, apartUS), EnterV: 6.8, LeaveV: 7.4, End: 60_000_000}, DefaultConfig())
		for k, b := range r.Brownouts {
			if b.StartS > 29.9 && b.StartS < 30.1 {
				return r.Judged[k], true
			}
		}
		return Judged{}, false
	}
	j, ok := dip(healthy, 320, 0.01, 25_000)
	require.True(t, ok)
	require.NotNil(t, j.UnexplainedV)
	assert.Greater(t, *j.UnexplainedV, 2.0, "no reading saw it")
	assert.Empty(t, j.Cause)
	worn := cell{open: 12.6, ohm: 0.05, ohm1: 0.02, tau1: 1, ohm2: 0.01, tau2: 20}
	j, ok = dip(worn, 125, 0.01, 25_000)
	require.True(t, ok)
	assert.Equal(t, CauseWeakBattery, j.Cause)
}

// A lug that chatters for some seconds here and there, in a battery that is sound: the dips in
// those seconds are its doing, whatever flowed just before or after.
func TestDipsOfAContactThatChatters(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 22))
	load, volts := chattering(rng, 0.09)
	b, a := board(50, 0)
	r := Detect(Input{Voltage: b.read(rng, volts), Current: a.read(rng, load), EnterV: 6.8, LeaveV: 7.4, End: 100_000_000}, DefaultConfig())
	require.NotEmpty(t, r.Brownouts)
	for _, d := range r.Brownouts {
		assert.Equal(t, CauseBadConnection, d.Cause, "%v", d.StartS)
	}
}

// By hand: 18 milliohm, and 90 at some readings.
func TestLooseAtTimes(t *testing.T) {
	of := func(each int, at ...int64) (far []int64, high float64, is bool) {
		var r resistances
		for k := range int64(1000) {
			ohm := 0.018
			for _, s := range at {
				if k >= 50*s && k < 50*s+int64(each) {
					ohm = 0.09
				}
			}
			r.T, r.R = append(r.T, k*20_000), append(r.R, ohm)
		}
		return r.looseAtTimes(func(t int64) bool { return t >= 18_000_000 }, DefaultConfig())
	}
	far, high, is := of(3, 2, 8, 14)
	assert.True(t, is)
	assert.InDelta(t, 0.09, high, 1e-12)
	assert.Len(t, far, 9)
	_, _, is = of(3, 2, 8)
	assert.False(t, is, "twice")
	_, _, is = of(3, 2, 8, 18)
	assert.False(t, is, "and once when it is not clear")
	_, _, is = of(2, 2, 8, 14)
	assert.False(t, is, "a reading or two")
	_, _, is = of(9, 2)
	assert.False(t, is, "once")
}

func TestMotorsLetGoBetweenReadings(t *testing.T) {
	a := &aligned{apart: true, step: 50_000}
	for k := range int64(100) {
		v := 11.0
		if k == 50 {
			v = 7.3
		}
		a.T, a.V = append(a.T, k*50_000), append(a.V, v)
	}
	assert.True(t, a.letGo(2_400_000, 7.4), "two steps before")
	assert.False(t, a.letGo(2_399_999, 7.4))
	assert.False(t, a.letGo(2_500_000, 7.3), "at the recovery voltage they have taken hold")
	a.apart = false
	assert.False(t, a.letGo(2_500_000, 7.4), "read together")
}

// A cell of six that gives way as acid runs short in it under a load that lasts, and recovers at
// rest, makes the resistance seen from moment to moment twice as large within seconds: by and by.
func TestACellThatGivesWayIsNoLooseContact(t *testing.T) {
	for seed := range uint64(8) {
		rng := rand.New(rand.NewPCG(seed, 41))
		load := drive(rng, 120)
		for k := range load {
			if s := float64(k) * fine; s > 6 && s < 116 && int(s)%24 < 16 {
				load[k] += 20
			}
		}
		volts := healthy.volts(load, fine)
		short := 0.0 // A s, made good with a time constant of 8 s
		for k := range volts {
			short += (load[k] - short/8) * fine
			volts[k] -= 2 * max(0, 1-math.Exp(-3*(short/250-0.5)))
		}
		b, a := board(50, 0)
		r := measure(b.read(rng, volts), a.read(rng, load))
		assert.NotContains(t, strings.Join(r.Notes, "\n"), "loose connection", "%d", seed)
	}
}
