package power

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Causes of a brownout.
const (
	CauseWeakBattery   = "weak_battery"
	CauseBadConnection = "bad_connection"
	CauseOverload      = "overload"
)

// Judged is what the cause of one brownout was decided on; a number that was not to be had
// is nil.
type Judged struct {
	Cause        string
	CurrentA     *float64 // whole current where the voltage was lowest
	HealthyV     *float64 // what a healthy battery would have held at that current
	ExpectedV    *float64 // what this battery's load line expects there, from the second before
	UnexplainedV *float64 // how much lower it was
}

// judge decides why the supply dipped, in this order:
//
//   - bad_connection when the voltage fell far further than this battery's own resistance
//     makes of the current,
//   - overload when even a healthy battery would have dipped at that current,
//   - weak_battery when it was low at rest, or its open-circuit voltage is, or its
//     resistance is surely above a healthy one's,
//   - empty when the log does not tell, or the battery is none that the limits speak of.
func judge(d dip, line *LoadLine, restV *float64, pair *aligned, enter float64, cfg Config) (j Judged) {
	speaksOf := func(v float64) bool { return cfg.LeastOpenV <= v && v <= cfg.MostOpenV }
	lowAtRest := restV != nil && speaksOf(*restV) && *restV < cfg.LowRestV
	if line == nil {
		if lowAtRest {
			j.Cause = CauseWeakBattery
		}
		return j
	}
	if !speaksOf(line.OpenCircuitV) {
		return j
	}
	amps := pair.most(d.minAt)
	if math.IsNaN(amps) {
		return j
	}
	healthy := cfg.HealthyOpenV - cfg.HealthyOhm*amps
	j.CurrentA, j.HealthyV = schemas.Some(amps), schemas.Some(healthy)
	explained := 0.0
	if open, before := pair.before(d.start, line.ResistanceOhm); !math.IsNaN(open) {
		expected := open - line.ResistanceOhm*amps
		explained = line.ResistanceOhm * math.Abs(amps-before)
		j.ExpectedV, j.UnexplainedV = schemas.Some(expected), schemas.Some(expected-d.minV)
	}
	switch {
	case j.UnexplainedV != nil && *j.UnexplainedV > cfg.LooseV+cfg.LooseShare*explained:
		j.Cause = CauseBadConnection
	case healthy < enter:
		j.Cause = CauseOverload
	case lowAtRest, line.OpenCircuitV < cfg.LowOpenV, line.ResistanceLowOhm > cfg.HealthyOhm:
		j.Cause = CauseWeakBattery
	}
	return j
}

// most is the largest current about t, within a step and a half: a short peak may have
// passed between two readings.
func (a *aligned) most(t int64) float64 {
	reach := a.step*3/2 + 20_000
	largest := math.NaN()
	for k := series.From(a.T, t-reach); k < len(a.T) && a.T[k] <= t+reach; k++ {
		if i := a.I[k]; !math.IsNaN(i) && !(i <= largest) {
			largest = i
		}
	}
	return largest
}

// before is the level of V + R I over the second before t, with its relaxation as it was
// then, and the current; NaN when that second is not known.
func (a *aligned) before(t int64, ohm float64) (open, amps float64) {
	n := 0.0
	for k := series.From(a.T, t-1_000_000); k < len(a.T) && a.T[k] < t-50_000; k++ {
		if e := a.V[k] + ohm*a.I[k]; !math.IsNaN(e) {
			open += e
			amps += a.I[k]
			n++
		}
	}
	return open / n, amps / n
}
