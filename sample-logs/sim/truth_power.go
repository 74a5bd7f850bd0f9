package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// power is the battery and the dips below the cut-off, by the noise-free voltage at the
// samples of the voltage signal.
func (v view) power() {
	w, b := v.world, v.world.battery
	volts := w.recorder.clean("power/voltage")
	amps := w.recorder.clean("power/current")
	out := &v.report.Battery
	if w.recorder.clean("power/battery") != nil {
		out.ID = w.scenario.battery
	}
	if volts == nil {
		return
	}
	lowest, at := math.Inf(1), 0.0
	for i, u := range volts.v {
		if u < lowest {
			lowest, at = u, schemas.Seconds(volts.t[i])
		}
	}
	out.LowestV, out.LowestAtS = schemas.Some(lowest), schemas.Some(at)
	out.RestV = schemas.Some(w.restV)
	if amps != nil {
		peak := math.Inf(-1)
		for _, i := range amps.v {
			peak = math.Max(peak, i)
		}
		out.PeakA = schemas.Some(peak)
		out.ResistanceOhm = schemas.Some(b.r0)
		out.OpenCircuitV = schemas.Some(w.emfSum / float64(w.emfCount))
		out.EnergyWh = schemas.Some((w.atBell.energy - w.atStart.energy) / 3600)
		out.ChargeAh = schemas.Some((w.atBell.drawn - w.atStart.drawn) / 3600)
	}
	v.brownouts(volts)
}

// brownouts runs the rule with hysteresis over the samples.
func (v view) brownouts(volts *clean) {
	open := -1
	for i, u := range volts.v {
		switch {
		case open < 0 && u < cutOffV:
			open = i
		case open >= 0 && u >= recoverV:
			v.brownout(volts, open, i)
			open = -1
		}
	}
	if open >= 0 {
		v.brownout(volts, open, len(volts.v))
	}
}

// brownout writes down the dip of samples i up to j.
func (v view) brownout(volts *clean, i, j int) {
	out := schemas.Brownout{StartS: schemas.Seconds(volts.t[i]), MinV: math.Inf(1)}
	for k := i; k < j; k++ {
		if volts.v[k] < out.MinV {
			out.MinV, out.MinAtS = volts.v[k], schemas.Seconds(volts.t[k])
		}
		if k+1 < len(volts.v) {
			out.VoltSeconds += math.Max(0, cutOffV-volts.v[k]) * schemas.Seconds(volts.t[k+1]-volts.t[k])
		}
	}
	if j < len(volts.v) {
		out.EndS = schemas.Some(schemas.Seconds(volts.t[j]))
	}
	for _, p := range v.report.Match.Periods {
		if p.StartS <= out.StartS && out.StartS < p.EndS {
			out.Period = p.Name
		}
	}
	v.shares(&out, volts.t[i], volts.t[j-1])
	v.report.Brownouts = append(v.report.Brownouts, out)
}

// shares says who drew the current from t0 to t1 inclusive.
func (v view) shares(out *schemas.Brownout, t0, t1 int64) {
	rec := v.world.recorder
	whole, ok := rec.clean("power/current").mean(t0, t1)
	if !ok || whole <= 0 {
		return
	}
	out.CurrentA = schemas.Some(whole)
	rest := 1.0
	for i, b := range breakers(v.world) {
		part, ok := rec.clean("power/branch/"+string(rune('0'+i))).mean(t0, t1)
		if !ok {
			return
		}
		out.Branches = append(out.Branches, schemas.Share{Name: b.name, Share: part / whole})
		rest -= part / whole
	}
	out.OtherShare = schemas.Some(rest)
}

// mean of the samples from t0 to t1 inclusive.
func (c *clean) mean(t0, t1 int64) (float64, bool) {
	if c == nil {
		return 0, false
	}
	sum, n := 0.0, 0
	for i, t := range c.t {
		if t0 <= t && t <= t1 {
			sum, n = sum+c.v[i], n+1
		}
	}
	return sum / float64(n), n > 0
}
