package power

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// The load test of two service manuals of vehicles: 9.6 V at 20 °C and so on down to 8.5 V at
// -18 °C, straight between the rows.
func TestLoadTestTable(t *testing.T) {
	for degrees, want := range map[float64]float64{
		20: 9.6, 16: 9.5, 10: 9.4, 4: 9.3, -1: 9.1, -7: 8.9, -12: 8.7, -18: 8.5,
		18: 9.55, 13: 9.45, -15: 8.6, 35: 9.6,
	} {
		got, ok := loadTestVolts(degrees)
		assert.True(t, ok)
		assert.InDelta(t, want, got, 1e-12, "%g °C", degrees)
	}
	for _, degrees := range []float64{-18.1, math.NaN(), math.Inf(-1)} {
		_, ok := loadTestVolts(degrees)
		assert.False(t, ok, "%g °C", degrees)
	}
}

// A battery known by its equations, asked for its resistance to a load of a second and for the
// current that takes it to 9.6 V within 15 s: the closed form of a resistor and two RC pairs.
func TestSlowerResistanceAndLoadTest(t *testing.T) {
	after := func(c cell, s float64) float64 {
		return c.ohm + c.ohm1*(1-math.Exp(-s/c.tau1)) + c.ohm2*(1-math.Exp(-s/c.tau2))
	}
	for name, c := range map[string]cell{
		"healthy":         healthy,
		"slow":            {open: 12.7, ohm: 0.015, ohm1: 0.006, tau1: 2, ohm2: 0.012, tau2: 40},
		"worn":            {open: 12.4, ohm: 0.04, ohm1: 0.02, tau1: 0.7, ohm2: 0.015, tau2: 15},
		"hardly relaxing": {open: 12.6, ohm: 0.02, ohm1: 0.001, tau1: 1, ohm2: 0.001, tau2: 10},
	} {
		covered, tested := 0, 0
		const matches = 12
		for seed := range uint64(matches) {
			v, i := match(seed, c, sensor{50, 0, 0.01, 1.0 / 64}, sensor{50, 0, 0.5, 0.1}, 120)
			b := measure(v, i).Battery
			require.NotNil(t, b.Resistance1sOhm, "%s: %s", name, b.Reason)
			want := after(c, 1)
			assert.InEpsilon(t, want, *b.Resistance1sOhm, 0.06, name)
			assert.GreaterOrEqual(t, *b.Resistance1sOhm, *b.ResistanceOhm)
			if *b.Resistance1sLowOhm <= want && want <= *b.Resistance1sHighOhm {
				covered++
			}
			amps := (c.open - 9.6) / after(c, 15)
			require.NotNil(t, b.LoadTestA)
			assert.InEpsilon(t, amps, *b.LoadTestA, 0.08, name)
			if *b.LoadTestLowA <= amps {
				tested++
			}
		}
		t.Logf("%s: resistance at 1 s covered %d, load test %d of %d", name, covered, tested, matches)
		assert.GreaterOrEqual(t, covered, matches-2, name)
		assert.GreaterOrEqual(t, tested, matches-2, name)
	}
}

// IEEE 1159-2019's words for a sag, at 60 Hz (from memory; a meter maker's manual prints the
// same): instantaneous from half a cycle to 30 cycles, momentary to 3 s, temporary to a minute.
func TestLengthInTheWordsOfTheStandard(t *testing.T) {
	for seconds, want := range map[float64]string{
		0.001: schemas.LengthTransient, 0.0083: schemas.LengthTransient, 0.0084: schemas.LengthInstantaneous,
		0.16: schemas.LengthInstantaneous, 0.5: schemas.LengthInstantaneous, 0.501: schemas.LengthMomentary,
		2.9: schemas.LengthMomentary, 3: schemas.LengthMomentary, 3.1: schemas.LengthTemporary, 60: schemas.LengthTemporary, 61: schemas.LengthLong,
	} {
		assert.Equal(t, want, lengthWord(seconds), "%g s", seconds)
	}
	for length, want := range map[int]string{8: schemas.LengthInstantaneous, 25: schemas.LengthInstantaneous, 26: schemas.LengthMomentary, 155: schemas.LengthTemporary} {
		v := steady(0, 10, 50, 12)
		for k := 50; k < 50+length; k++ {
			v.V[k] = 6
		}
		b := brownouts(v, 6.8, 7.4).Brownouts
		require.Len(t, b, 1)
		assert.Equal(t, want, b[0].Length, "%d samples at 50 Hz", length)
	}
	v := steady(0, 10, 50, 12)
	v.V[len(v.V)-1] = 6
	assert.Empty(t, brownouts(v, 6.8, 7.4).Brownouts[0].Length, "the log ends in it")
}

// The interval of the voltage at no load: that of the line through a match whose every moment
// is known to the test.
func TestOpenCircuitIntervalOfTheReport(t *testing.T) {
	covered := 0
	const matches = 40
	for seed := range uint64(matches) {
		rng := rand.New(rand.NewPCG(seed, 61))
		load := drive(rng, 90)
		real := healthy.volts(load, fine)
		want := 0.0
		for k, v := range real {
			want += (v + healthy.ohm*load[k]) / float64(len(load))
		}
		volts, amps := board(50, 0)
		b := measure(volts.read(rng, real), amps.read(rng, load)).Battery
		require.NotNil(t, b.OpenCircuitLowV, b.Reason)
		if *b.OpenCircuitLowV <= want && want <= *b.OpenCircuitHighV {
			covered++
		}
		meets := (want - 6.8) / healthy.ohm
		in := Detect(Input{Voltage: volts.read(rng, real), Current: amps.read(rng, load), EnterV: 6.8, LeaveV: 7.4, End: 90_000_000}, DefaultConfig()).Battery
		assert.InEpsilon(t, meets, *in.BrownoutA, 0.05)
		assert.Less(t, *in.BrownoutLowA, *in.BrownoutA)
		assert.Greater(t, *in.BrownoutHighA, meets*0.98)
	}
	t.Logf("covers %d of %d", covered, matches)
	assert.GreaterOrEqual(t, covered, 36)
}
