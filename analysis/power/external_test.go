package power

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas/series"
)

// The classes of an owner's manual of a vehicle maker for a 12 V AGM battery, and the
// trade's rule OCV = 6 (SG + 0.84): an acid of 1.28 is a full battery.
func TestChargeAtRest(t *testing.T) {
	for _, c := range []struct{ volts, low, high float64 }{
		{13.0, 1, 1},
		{6 * (1.28 + 0.84), 0.75, 1},
		{12.7, 0.75, 1},
		{12.45, 0.5, 0.75},
		{12.15, 0.25, 0.5},
		{11.9, 0, 0.25},
		{12.6, 0.5, 1}, // on the edge of two classes
		{12.32, 0.25, 0.75},
		{13.2, 1, 1},
		{10.5, 0, 0.25},
	} {
		low, high, ok := chargeAtRest(c.volts)
		assert.True(t, ok, "%g V", c.volts)
		assert.Equal(t, c.low, low, "%g V, low", c.volts)
		assert.Equal(t, c.high, high, "%g V, high", c.volts)
	}
	for _, v := range []float64{13.21, 10.49, 25, 0, math.NaN(), math.Inf(1)} {
		_, _, ok := chargeAtRest(v)
		assert.False(t, ok, "%g V", v)
	}
}

func TestAFullerBatteryIsNeverSaidToBeEmptier(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := rapid.Float64Range(emptyV, chargingV).Draw(rt, "volts")
		w := rapid.Float64Range(v, chargingV).Draw(rt, "more volts")
		lowV, highV, _ := chargeAtRest(v)
		lowW, highW, _ := chargeAtRest(w)
		if lowW < lowV || highW < highV || lowV > highV {
			rt.Fatalf("%g V: %g to %g, %g V: %g to %g", v, lowV, highV, w, lowW, highW)
		}
	})
}

// Under load nothing is said of the charge; at rest it is.
func TestChargeIsToldAtRestOnly(t *testing.T) {
	in := Input{Voltage: steady(0, 20, 50, 12.45), Current: steady(0, 20, 50, 30), End: 20_000_000}
	b := Detect(in, DefaultConfig()).Battery
	assert.Nil(t, b.RestV)
	assert.Nil(t, b.RestChargeLow)
	in.Current = steady(0, 20, 50, 1)
	b = Detect(in, DefaultConfig()).Battery
	require.NotNil(t, b.RestChargeLow)
	assert.Equal(t, 0.5, *b.RestChargeLow)
	assert.Equal(t, 0.75, *b.RestChargeHigh)
}

// The two-point method of IEC 60896-21 for the d.c. internal resistance: 4 and 20 times the
// ten-hour current, R = (Ua-Ub)/(Ib-Ia), short-circuit current (Ua Ib - Ub Ia)/(Ua - Ub).
// Currents and formulas from memory; figures by that arithmetic. A battery that is switched
// between the two loads must come out the same.
func TestTwoPointResistance(t *testing.T) {
	const ia, ib, ua, ub = 4 * 1.8, 20 * 1.8, 12.42, 11.90
	in := Input{Voltage: &series.Float{}, Current: &series.Float{}, EnterV: 1e-12, LeaveV: 1e-12}
	for k := range 50 * 30 {
		v, i := ua, ia
		if k/50%2 == 1 { // a second each
			v, i = ub, ib
		}
		at := int64(k) * 20_000
		in.Voltage.T, in.Voltage.V = append(in.Voltage.T, at), append(in.Voltage.V, v)
		in.Current.T, in.Current.V = append(in.Current.T, at), append(in.Current.V, i)
		in.End = at
	}
	b := Detect(in, DefaultConfig()).Battery
	require.NotNil(t, b.ResistanceOhm, b.Reason)
	assert.InEpsilon(t, 0.0180555556, *b.ResistanceOhm, 1e-8)
	assert.InEpsilon(t, 12.55, *b.OpenCircuitV, 1e-8)
	assert.InEpsilon(t, 695.0769231, *b.BrownoutA, 1e-8, "the load line meets 0 V at the short-circuit current")
}

// The shortfall of a threshold shared out over all 24 orders of four branches, by
// enumeration; the linear drops alone would be 1.44, 1.08, 0.72 and 0.216 V.
func TestShortfallOfFourBranches(t *testing.T) {
	got := shortfallParts([]float64{80, 60, 40, 12}, 0.018, 12.6, 9.5)
	assert.InDeltaSlice(t, []float64{0.1006666667, 0.1006666667, 0.1006666667, 0.0540}, got, 1e-9)
	assert.Equal(t, []float64{0, 0, 0}, shortfallParts([]float64{80, 60, 12}, 0.018, 12.6, 9.5), "nothing is missing")
	assert.InDeltaSlice(t, []float64{0.018, 0.036}, shortfallParts([]float64{1, 2}, 0.018, 9.4, 9.5), 1e-12, "low without any current: each by its own drop")
}

// A battery without relaxation, two motors that start at once: what Detect shares out is
// what the voltage lacked, less the part of what no branch measures.
func TestShortfallOfABrownout(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	load := drive(rng, 60)
	for k := range load {
		if s := float64(k) * fine; s > 57.5 && s < 58 {
			load[k] = 330
		}
	}
	plain := cell{open: 12.6, ohm: 0.02, tau1: 1, tau2: 1}
	left, right := make([]float64, len(load)), make([]float64, len(load))
	for k, a := range load {
		left[k], right[k] = 0.6*a, 0.3*a
	}
	good := sensor{hz: 100}
	r := Detect(Input{
		Voltage: good.read(rng, plain.volts(load, fine)), Current: good.read(rng, load), EnterV: 6.8, LeaveV: 7.4, End: 60_000_000,
		Branches: []Branch{{"left", good.read(rng, left)}, {"right", good.read(rng, right)}},
	}, DefaultConfig())
	require.Len(t, r.Brownouts, 1)
	b := r.Brownouts[0]
	require.InDelta(t, 12.6-330*0.02, b.MinV, 1e-9)
	// 290 A reach the cut-off: the two with 297 A miss it by 0.14 V, all with 330 A by 0.8 V. In
	// a third of the orders a branch comes last of three, in a sixth last of the two.
	for _, branch := range b.Branches {
		require.NotNil(t, branch.ShortfallV, branch.Name)
		assert.InDelta(t, 0.8/3+0.14/6, *branch.ShortfallV, 0.01, branch.Name)
	}
}

// The parts add up to the shortfall, twins bear alike, and more current never bears less;
// beyond twelve branches the parts still add up.
func TestShortfallProperties(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		amps := rapid.SliceOfN(rapid.Float64Range(0, 60), 1, 16).Draw(rt, "amps")
		amps = append(amps, amps[0])
		const ohm, open, enter = 0.02, 12.5, 9.5
		total := 0.0
		for _, a := range amps {
			total += a
		}
		missing := enter - (open - ohm*total)
		parts := shortfallParts(amps, ohm, open, enter)
		missing = max(0, missing)
		sum := 0.0
		for i, p := range parts {
			sum += p
			for j, q := range parts {
				if len(amps) <= sharedApart && amps[i] > amps[j] && p < q-1e-9 {
					rt.Fatalf("%g A bears %g V, %g A %g V", amps[i], p, amps[j], q)
				}
			}
		}
		if math.Abs(sum-missing) > 1e-9 {
			rt.Fatalf("%v add up to %g V, %g V are missing", parts, sum, missing)
		}
		if len(amps) <= sharedApart && math.Abs(parts[0]-parts[len(parts)-1]) > 1e-9 {
			rt.Fatalf("twins bear %g and %g V", parts[0], parts[len(parts)-1])
		}
	})
}
