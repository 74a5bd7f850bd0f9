// Package power looks at the robot's supply: when the voltage fell under the controller's
// cut-off and which branch drew the current, and what the load told about the battery.
//
// A battery is a voltage source behind a resistance. A motor that starts takes its stall
// current at once, so the voltage steps down by resistance times current and comes back as
// the motor spins up. On top of that lies relaxation: acid has to diffuse into the plates,
// the voltage sinks further over seconds and takes as long to recover. In a plain plot of
// voltage against current the two blend, and a line through it reads too steep. Here the
// resistance comes from steps of the load alone, within some tens of milliseconds.
//
// What looks alike: a loose connection drops the voltage without a current that explains
// it; a sensor that smooths or lags shows the current late; a reboot leaves a silence in
// which nobody knows the voltage. Each is told apart below or said to be unknown.
package power

import (
	"fmt"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Branch is the current of one breaker or motor.
type Branch struct {
	Name    string
	Current *series.Float // A
}

// Input is what the power analysis looks at; only Voltage is required.
type Input struct {
	Voltage        *series.Float // V
	Current        *series.Float // A, whole robot; may be nil
	Battery        *series.Text  // may be nil
	Branches       []Branch
	EnterV, LeaveV float64 // cut-off and recovery; EnterV 0 when the profile gives none
	Periods        []schemas.Period
	Start, End     int64 // first and last sample of the log, µs
	Gaps           []series.Interval
	UsualOhm       float64 // of a sound battery in this robot, by earlier matches; 0 when not known
}

// Result is what happened to the supply.
type Result struct {
	Brownouts []schemas.Brownout
	Judged    []Judged // of each brownout, what its cause was decided on
	Battery   schemas.Battery
	Line      *LoadLine // nil when refused; Battery.Reason says why, or why it is not told
	Notes     []string
}

// Detect finds the brownouts and measures the battery. Without a voltage sample the result
// is empty and says so; without currents it holds the dips and the resting voltage only.
func Detect(in Input, cfg Config) Result {
	var r Result
	in = in.readable()
	r.Battery.ID = batteryID(in)
	if in.Voltage == nil || len(in.Voltage.T) == 0 {
		r.Battery.Reason = "no voltage reading"
		r.note("no voltage reading: nothing can be said of the supply")
		return r
	}
	voltage := newTrace(in.Voltage, in.Gaps, cfg)
	supply := supplyOf(in, cfg, &r)

	lowest := 0
	for i, v := range voltage.V {
		if v < voltage.V[lowest] {
			lowest = i
		}
	}
	r.Battery.LowestV = schemas.Some(voltage.V[lowest])
	r.Battery.LowestAtS = schemas.Some(schemas.Seconds(voltage.T[lowest]))
	if v, ok := restVoltage(in, voltage, supply.whole, cfg); ok {
		r.Battery.RestV = schemas.Some(v)
		if low, high, ok := chargeAtRest(v); ok {
			r.Battery.RestChargeLow, r.Battery.RestChargeHigh = schemas.Some(low), schemas.Some(high)
		}
	}

	var pair *aligned
	if supply.whole == nil {
		r.Battery.Reason = "no current reading: it takes power.current or power.branches in the profile"
	} else {
		pair = align(voltage, *supply.whole, cfg)
		r.Battery.PeakA = schemas.Some(peak(supply.whole.V))
		drawn(in, voltage, *supply.whole, pair.delayUs(), &r)
		from, to := matchSpan(in)
		if line, refused := loadLine(pair, supply.scale(from, to, cfg), from, to, in.LeaveV, cfg, &r); refused == "" {
			r.Line = line
			line.report(&r.Battery, pair, from, to, in.EnterV, cfg)
		} else {
			r.Battery.Reason = refused
		}
	}

	if in.EnterV <= 0 {
		r.note("the profile gives no brownout limits (power.brownout): brownouts were not looked for")
		return r
	}
	supplied := newModel(pair, r.Line, in.UsualOhm, cfg)
	for _, d := range dips(voltage, in.EnterV, in.LeaveV) {
		b := d.report(in.Periods)
		b.ResolutionS = schemas.Some(schemas.Seconds(voltage.step))
		supply.blame(&b, d, voltage, pair, &r)
		supply.shortfall(&b, d, r.Line, pair, in.EnterV)
		supplied.without(&b, d, voltage, &supply, in.EnterV)
		j := supplied.judge(d, r.Battery.RestV, in.EnterV, cfg)
		b.Cause = j.Cause
		r.sayUnseen(d)
		r.Brownouts = append(r.Brownouts, b)
		r.Judged = append(r.Judged, j)
	}
	r.sayTiming(cfg)
	return r
}

// sayUnseen says what of a dip nobody saw.
func (r *Result) sayUnseen(d dip) {
	at := schemas.Seconds(d.start)
	if d.silence > 0 {
		r.note("the voltage was silent for %.1f s within the brownout at %.2f s: how low it was then, and when the brownout ended if it ended there, is not known", schemas.Seconds(d.silence), at)
	}
	if d.before > 0 {
		r.note("the voltage was silent for %.1f s just before the brownout at %.2f s: it may have begun then", schemas.Seconds(d.before), at)
	}
	if d.begun {
		r.note("the log begins within the brownout at %.2f s: when it began is not known", at)
	}
}

// sayTiming says on how many brownouts it matters which sample of the current goes with
// which of the voltage.
func (r *Result) sayTiming(cfg Config) {
	n, most := 0, 0.0
	for _, b := range r.Brownouts {
		if b.ShareShift != nil && *b.ShareShift > cfg.ShiftMatters {
			n, most = n+1, max(most, *b.ShareShift)
		}
	}
	if n > 0 {
		r.note("in %d of %d brownouts the shares hang on the timing: with the currents read one sample earlier or later a branch's part changes by up to %.0f %% of the whole", n, len(r.Brownouts), 100*most)
	}
}

func (r *Result) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// batteryID is the battery named at the start of the match, or the first one named after.
func batteryID(in Input) string {
	if in.Battery == nil {
		return ""
	}
	from, _ := matchSpan(in)
	if id, ok := in.Battery.At(from); ok && id != "" {
		return id
	}
	for _, id := range in.Battery.V {
		if id != "" {
			return id
		}
	}
	return ""
}

// matchSpan is the match in microseconds, the whole log when it has no periods.
func matchSpan(in Input) (from, to int64) {
	if len(in.Periods) == 0 {
		return in.Start, in.End
	}
	return schemas.Micros(in.Periods[0].StartS), schemas.Micros(in.Periods[len(in.Periods)-1].EndS)
}

func peak(x []float64) float64 {
	most := x[0]
	for _, v := range x {
		most = max(most, v)
	}
	return most
}
