package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// powerAgreed counts what of the truth about power was compared with the oracle's.
type powerAgreed struct {
	dips, lines, rests int
	causes             map[string]int
}

// agrees holds the truth about power against one worked out by other algorithms from every
// step; and charge and energy add up.
func (p *powerRun) agrees(t *testing.T, where string, n *powerAgreed) {
	t.Helper()
	p.balanced(t, where)
	o := oracle{p}
	if p.world.recorder.clean("power/voltage") == nil {
		assert.Empty(t, p.truth.Brownouts, where)
		return
	}
	n.dips += o.compareDips(t, where, n.causes)
	if o.compareBattery(t, where) {
		n.lines++
	}
	if p.truth.Battery.RestV != nil {
		n.rests++
	}
}

func (o oracle) compareDips(t *testing.T, where string, causes map[string]int) int {
	t.Helper()
	at, rule, rec := o.readings(), o.world.supply, o.world.recorder
	times := rec.clean("power/voltage").t
	want, got := o.dips(), o.truth.Brownouts
	require.Len(t, got, len(want), where)
	for n, d := range want {
		g := got[n]
		assert.InDelta(t, schemas.Seconds(times[d[0]]), g.StartS, 1e-6, where)
		if assert.Equal(t, d[1] == len(at), g.EndS == nil, where) && g.EndS != nil {
			assert.InDelta(t, schemas.Seconds(times[d[1]]), *g.EndS, 1e-6, where)
		}
		least, area := math.Inf(1), 0.0
		for i := d[0]; i < d[1]; i++ {
			v := o.volts[at[i]]
			least = math.Min(least, v)
			if i+1 < len(at) {
				area += math.Max(0, rule.cutOff-v) * float64(times[i+1]-times[i]) * 1e-6
			}
		}
		assert.InDelta(t, least, g.MinV, 1e-6, where)
		assert.InDelta(t, area, g.VoltSeconds, 2e-6, where)

		// Shares of all there is, at the same steps; samples of a branch may be lost or sit
		// elsewhere, so this is looser, and only asked for where the dip has some samples.
		steps := at[d[0]:d[1]]
		whole := 0.0
		for _, k := range steps {
			whole += o.amps[k]
			if rec.clean("power/current") == nil {
				whole -= o.quiet[k]
			}
		}
		if len(g.Branches) == len(o.parts) && len(steps) >= 3 && whole > 0 {
			for b, part := range o.parts {
				sum := 0.0
				for _, k := range steps {
					sum += part[k]
				}
				share := math.Max(0, sum/whole)
				assert.InDelta(t, share, g.Branches[b].Share, 0.12, "%s dip at %g %s", where, g.StartS, g.Branches[b].Name)
			}
		}
		causes[g.Cause]++
		o.compareCause(t, where, g, steps)
		o.compareWithout(t, where, g, steps)
	}
	return len(want)
}

// compareCause looks only where a twentieth of a volt more or less would not change it.
func (o oracle) compareCause(t *testing.T, where string, g schemas.Brownout, steps []int) {
	t.Helper()
	sound, loose, worn := math.Inf(1), math.Inf(1), math.Inf(1)
	for _, k := range steps {
		v, drop := o.counterfactual(k), o.loose[k]*o.amps[k]
		sound, loose, worn = math.Min(sound, v), math.Min(loose, v-drop), math.Min(worn, o.volts[k]+drop)
	}
	limit := o.world.supply.cutOff
	for _, v := range []float64{sound, loose, worn} {
		if math.Abs(v-limit) < 0.05 {
			return
		}
	}
	want := ""
	switch {
	case sound < limit:
		want = "overload"
	case worn < limit && loose > limit:
		want = "weak_battery"
	case worn > limit && loose < limit:
		want = "bad_connection"
	}
	assert.Equal(t, want, g.Cause, "%s dip at %g: %g V if all were sound, %g if the battery, %g if the connections", where, g.StartS, sound, loose, worn)
}

// compareBattery says whether a load line was there to compare.
func (o oracle) compareBattery(t *testing.T, where string) bool {
	t.Helper()
	b, w := o.truth.Battery, o.world
	at := o.readings()
	lowest := slices.MinFunc(at, func(i, j int) int {
		if o.volts[i] < o.volts[j] {
			return -1
		}
		return 1
	})
	assert.InDelta(t, o.volts[lowest], *b.LowestV, 1e-6, where)
	if b.EnergyWh != nil {
		joules, coulombs := 0.0, 0.0
		for k := int(w.opens/step) + 1; k < int(w.closes/step); k++ { // by trapezoids
			joules += (o.volts[k]*o.amps[k] + o.volts[k-1]*o.amps[k-1]) / 2 * step
			coulombs += (o.amps[k] + o.amps[k-1]) / 2 * step
		}
		assert.InEpsilon(t, joules/3600, *b.EnergyWh, 1e-3, where)
		assert.InEpsilon(t, coulombs/3600, *b.ChargeAh, 1e-3, where)
	}
	if b.RestV != nil {
		start, sum := int(w.scenario.leadS/step), 0.0
		for k := start - 500; k < start; k++ {
			sum += o.volts[k] / 500
		}
		assert.InDelta(t, sum, *b.RestV, 0.02, where)
	}
	if b.ResistanceOhm == nil {
		return false
	}
	ohms, noLoad := o.line(func(k int) float64 {
		if w.recorder.clean("power/current") == nil {
			return o.amps[k] - o.quiet[k]
		}
		return o.amps[k]
	})
	assert.InEpsilon(t, ohms, *b.ResistanceOhm, 0.03, where)
	assert.InDelta(t, noLoad, *b.OpenCircuitV, 0.03, where)
	assert.InEpsilon(t, (noLoad-w.supply.cutOff)/ohms, *b.BrownoutA, 0.03, where)
	return true
}

// compareWithout works out without memory what a dip would have been without each branch, or
// with it held to a limit, and looks where relaxation cannot change it.
func (o oracle) compareWithout(t *testing.T, where string, g schemas.Brownout, steps []int) {
	t.Helper()
	if len(g.Branches) != len(o.parts) {
		return
	}
	const relaxed = 0.15 // V, at most, in a dip and just before
	lowest := func(b int, limit float64) float64 {
		low := math.Inf(1)
		for _, k := range steps {
			ohms := o.world.battery.series() + o.loose[k]
			low = math.Min(low, o.volts[k]+ohms*math.Max(0, o.parts[b][k]-limit))
		}
		return low
	}
	cutOff := o.world.supply.cutOff
	for b, s := range g.Branches {
		if without := lowest(b, 0); math.Abs(without-cutOff) > relaxed {
			assert.Equal(t, without > cutOff, s.Necessary == schemas.NecessaryYes, "%s dip at %g, %s", where, g.StartS, s.Name)
		}
		assert.Equal(t, s.Necessary == schemas.NecessaryYes, s.LimitA != nil, "%s dip at %g, %s", where, g.StartS, s.Name)
		if s.LimitA != nil {
			assert.InDelta(t, cutOff, lowest(b, *s.LimitA), relaxed, "%s dip at %g, %s held to %g A", where, g.StartS, s.Name, *s.LimitA)
		}
	}
}
