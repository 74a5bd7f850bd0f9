package power

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// caused is one match of a battery with a hard pull of amps for 0.3 s at 30 s, and what
// else happens to the voltage there.
func caused(t *testing.T, c cell, amps, further float64) (string, Judged) {
	t.Helper()
	rng := rand.New(rand.NewPCG(12, 3))
	load := drive(rng, 60)
	for k := int(29 / fine); k < int(33/fine); k++ {
		load[k] = 5
		if s := float64(k) * fine; s >= 30 && s < 30.3 {
			load[k] = amps
		}
	}
	volts := c.volts(load, fine)
	for k := int(30 / fine); k < int(30.3/fine); k++ {
		volts[k] -= further
	}
	v, i := sensor{50, 0, 0.01, 0.01}.read(rng, volts), sensor{50, 0, 0.5, 0.1}.read(rng, load)
	r := Detect(Input{Voltage: v, Current: i, EnterV: 6.8, LeaveV: 7.4, End: 60_000_000}, DefaultConfig())
	require.Len(t, r.Brownouts, len(r.Judged))
	for k, b := range r.Brownouts {
		if b.StartS >= 30 && b.StartS < 30.1 {
			return b.Cause, r.Judged[k]
		}
	}
	t.Fatalf("no brownout at 30 s: lowest %v", *r.Battery.LowestV)
	return "", Judged{}
}

// Batteries made for one reason each. What counts as healthy is common practice, named in
// the configuration.
func TestCauseOfABrownout(t *testing.T) {
	cause, j := caused(t, healthy, 330, 0)
	assert.Equal(t, CauseOverload, cause)
	assert.InDelta(t, 330, *j.CurrentA, 3)
	assert.Less(t, *j.HealthyV, 6.8)

	weak := cell{open: 12.1, ohm: 0.045, ohm1: 0.02, tau1: 1, ohm2: 0.01, tau2: 20}
	cause, j = caused(t, weak, 130, 0)
	assert.Equal(t, CauseWeakBattery, cause)
	assert.Greater(t, *j.HealthyV, 6.8, "a healthy one would have held")

	cause, j = caused(t, healthy, 100, 5)
	assert.Equal(t, CauseBadConnection, cause)
	assert.InDelta(t, 5, *j.UnexplainedV, 0.5)

	cause, _ = caused(t, cell{open: 24.5, ohm: 0.09, tau1: 1, tau2: 1}, 210, 0)
	assert.Empty(t, cause, "the limits speak of 12 V")
}

func TestCauseWithoutACurrent(t *testing.T) {
	v := steady(0, 20, 50, 11.5)
	for k := 600; k < 610; k++ {
		v.V[k] = 6
	}
	in := Input{Voltage: v, EnterV: 6.8, LeaveV: 7.4, End: 20_000_000}
	assert.Empty(t, Detect(in, DefaultConfig()).Brownouts[0].Cause)
	low := 11.9
	j := model{}.judge(dip{start: 12_000_000, minV: 6}, &low, 6.8, DefaultConfig())
	assert.Equal(t, CauseWeakBattery, j.Cause, "flat at rest says enough")
	full := 12.7
	assert.Empty(t, model{}.judge(dip{}, &full, 6.8, DefaultConfig()).Cause)
}
