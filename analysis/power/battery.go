package power

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// restVoltage is the median voltage of a true rest at the log's beginning: the robot
// disabled, no current beyond the controller's own as far as there is a current, and a
// voltage that drifts no more. Right after a match a battery still recovers and shows less
// than it will; that drift is what gives it away.
func restVoltage(in Input, voltage trace, current *trace, cfg Config) (volts float64, ok bool) {
	from, to := voltage.T[0], voltage.T[len(voltage.T)-1]+1
	if len(in.Periods) > 0 {
		to = min(to, schemas.Micros(in.Periods[0].StartS))
	}
	if current == nil && len(in.Periods) == 0 {
		return 0, false // nothing tells rest from load
	}
	if current != nil {
		from = max(from, current.T[0])
		loaded := 0
		for i := 0; i < len(current.T) && current.T[i] < to; i++ {
			if math.Abs(current.V[i]) <= cfg.RestA {
				loaded = 0
			} else if loaded++; loaded == 3 { // one or two readings are noise
				to = current.T[i-2]
			}
		}
	}
	i, j := series.From(voltage.T, from), series.From(voltage.T, to)
	if j-i < 3 || schemas.Seconds(voltage.T[j-1]-voltage.T[i]) < cfg.RestS {
		return 0, false
	}
	// The end of the rest is its most settled part.
	i = max(i, series.From(voltage.T, voltage.T[j-1]-schemas.Micros(cfg.SettledS)))
	seconds := make([]float64, j-i)
	for k := range seconds {
		seconds[k] = schemas.Seconds(voltage.T[i+k] - voltage.T[i])
	}
	drift, ok := stat.FitLine(seconds, voltage.V[i:j])
	if !ok || math.Abs(drift.Slope)-2*drift.SlopeSE > cfg.RestDriftVS {
		return 0, false
	}
	return stat.Median(voltage.V[i:j]), true
}

// drawn is the energy and charge taken over the match, straight from sample to sample at
// the times of the denser of voltage and current. What lies in a gap is left out and said.
func drawn(in Input, voltage, current trace, lag int64, r *Result) {
	from, to := matchSpan(in)
	charge, known := current.integral(from+lag, to+lag)
	length := schemas.Seconds(to - from)
	if known < length/2 || length <= 0 {
		r.note("energy and charge are not known: the current is for less than half of the match")
		return
	}
	T := voltage.T
	if len(current.T) > len(T) {
		T = current.T
	}
	T = T[series.From(T, from):series.From(T, to+1)]
	volts, amps := voltage.sample(T, 0), current.sample(T, lag)
	var joules float64
	for k := 1; k < len(T); k++ {
		if p := volts[k]*amps[k] + volts[k-1]*amps[k-1]; !math.IsNaN(p) && T[k]-T[k-1] <= max(voltage.limit, current.limit) {
			joules += schemas.Seconds(T[k]-T[k-1]) * p / 2
		}
	}
	r.Battery.ChargeAh = schemas.Some(charge / 3600)
	r.Battery.EnergyWh = schemas.Some(joules / 3600)
	if missing := length - known; missing > 0.01*length {
		r.note("the current is not known for %.1f s of the match: energy and charge leave that out", missing)
	}
}
