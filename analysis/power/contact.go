package power

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// A battery's own resistance and that of sound wiring hardly move within a match. A lug that
// came loose has another resistance with each shake, and keeps it until the next: the
// voltage under the same load jumps from level to level.

// resistances is the resistance from moment to moment, in ohm, and the time each was seen.
type resistances struct {
	T []int64
	R []float64
}

// moments are the readings under a load of at least LocalA that is steady for three of
// them: what the voltage is short of the level at no load then, over the current. That level
// is a battery's of resistance ohm, relaxed as it was by then.
func (a *aligned) moments(ohm float64, from, to int64, cfg Config) (r resistances) {
	const steady = 0.3 // of the current, from one reading to the next but one
	unloaded := a.unloaded(ohm)
	for k := 1; k+1 < len(a.T); k++ {
		i := a.I[k]
		if a.T[k] < from || a.T[k] > to || !(i >= cfg.LocalA) || !(math.Abs(a.I[k+1]-a.I[k-1]) <= steady*i) {
			continue
		}
		if here := (a.level(k, unloaded) - a.V[k]) / i; !math.IsNaN(here) {
			r.T, r.R = append(r.T, a.T[k]), append(r.R, here)
		}
	}
	return r
}

// loose says whether the resistance jumps by far more than noise and relaxation make of a
// sound one, and between what it does: the tenths of the moments that had least and most. One
// that goes as far by and by, as that of a battery with a cell that gives way to a long load, is none.
func (r resistances) loose(cfg Config) (low, high float64, is bool) {
	if len(r.R) < cfg.LocalReadings {
		return 0, 0, false
	}
	low, high = stat.Quantile(0.1, r.R), stat.Quantile(0.9, r.R)
	middle := stat.Quantile(0.75, r.R) - stat.Quantile(0.25, r.R)
	return low, high, high-low > cfg.JumpOhm && middle > cfg.JumpOhm/2 && r.jumps(cfg)
}

// under are the moments at which it was less than ohm.
func (r resistances) under(ohm float64) (out resistances) {
	for k, here := range r.R {
		if here < ohm {
			out.T, out.R = append(out.T, r.T[k]), append(out.R, here)
		}
	}
	return out
}

// jumps says whether the resistance changes at once as often as that of a contact that is shaken.
func (r resistances) jumps(cfg Config) bool {
	const togetherUS = 300_000 // of one load
	n, s := 0.0, 0.0
	for k := 1; k < len(r.T); k++ {
		if step := r.T[k] - r.T[k-1]; step <= togetherUS {
			s += schemas.Seconds(step)
			if math.Abs(r.R[k]-r.R[k-1]) > cfg.JumpOhm/2 {
				n++
			}
		}
	}
	return n >= cfg.JumpsPerS*s
}

// looseAtTimes are the moments at which the resistance was far over its usual, and their
// middle: of a contact that is loose for some seconds here and there. is asks for several separate
// times of several readings each, none of which unclear says nothing of.
func (r resistances) looseAtTimes(unclear func(t int64) bool, cfg Config) (far []int64, high float64, is bool) {
	if len(r.R) < cfg.LocalReadings {
		return nil, 0, false
	}
	const apartUS = 1_000_000
	usual := stat.Median(r.R)
	var ohms []float64
	times, readings := 0, 0
	for k, ohm := range r.R {
		if !(ohm > 2*usual && ohm > usual+2*cfg.JumpOhm) || unclear(r.T[k]) {
			continue
		}
		if n := len(far); n > 0 && r.T[k]-far[n-1] > apartUS {
			readings = 0
		}
		if readings++; readings == cfg.LooseReadings {
			times++
		}
		far, ohms = append(far, r.T[k]), append(ohms, ohm)
	}
	return far, stat.Median(ohms), times >= cfg.LooseTimes
}

// letGo says whether controllers may have let go of their motors and taken hold again about t, as
// they do near the cut-off within hundredths of a second: where voltage and current were not
// read together, one may be of before and the other of after. Two steps about it are looked at.
func (a *aligned) letGo(t int64, leaveV float64) bool {
	if !a.apart {
		return false
	}
	around := 2 * a.step
	for k := series.From(a.T, t-around); k < len(a.T) && a.T[k] <= t+around; k++ {
		if a.V[k] < leaveV {
			return true
		}
	}
	return false
}

// leaveOut keeps what lies within 0.2 s of some times from telling of level and relaxation; nothing
// when there are none.
func (a *aligned) leaveOut(times []int64) {
	const aroundUS = 200_000
	a.odd, a.work = nil, nil
	for _, t := range times {
		from, to := series.From(a.T, t-aroundUS), series.From(a.T, t+aroundUS+1)
		if n := len(a.odd); n > 0 && from <= a.odd[n-1][1] {
			a.odd[n-1][1] = to
		} else {
			a.odd = append(a.odd, [2]int{from, to})
		}
	}
}

// mean is the mean over the time from from to to of a resistance that stays what it was last
// seen to be, for a contact moves under load and keeps still without; se is its standard
// error by tenths of that time, as if each were another draw.
func (r resistances) mean(from, to int64) (ohm, se float64) {
	const parts = 10
	var sum, time [parts]float64
	for k, t := range r.T {
		end := to
		if k+1 < len(r.T) {
			end = r.T[k+1]
		}
		if k == 0 {
			t = from
		}
		part := min(parts-1, int(parts*(t-from)/max(1, to-from)))
		s := schemas.Seconds(end - t)
		sum[part] += s * r.R[k]
		time[part] += s
	}
	total, all := 0.0, 0.0
	for k := range sum {
		total, all = total+sum[k], all+time[k]
	}
	ohm = total / all
	n := 0.0
	for k := range sum {
		if time[k] > 0 {
			d := (sum[k] - ohm*time[k]) / all
			se += d * d
			n++
		}
	}
	return ohm, math.Sqrt(se * n / max(1, n-1))
}
