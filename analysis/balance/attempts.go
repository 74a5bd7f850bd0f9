package balance

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// attempt is one balance attempt; start, entry and end are indices into the trace.
type attempt struct {
	start, entry, end    int // entry is -1 when it never came to a hold
	startT, entryT, endT int64
	limit                int64 // when match or log are over
	outcome              string
	first                int8  // side of the first tilt, -1 or 1
	from                 []int // first samples of the first tilt and of every excursion to the other side after it
	peaks                []int // and where each was largest
	gaps                 []series.Interval
}

// overshoots are the peaks of the excursions on the side opposite to the one before.
func (a attempt) overshoots() []int { return a.peaks[1:] }

// attempts is the definition of a balance attempt, as if every attempt that came to a hold were
// level. It knows nothing of noise: sides has seen to that.
func attempts(tr trace, in Input, cfg Config) []attempt {
	mount := tr.sides(in.MountDeg, cfg)
	level := tr.sides(in.LevelDeg, cfg)
	hold := int64(math.Round(in.HoldS * 1e6))
	logEnd := max(in.End, tr.samples[len(tr.samples)-1])
	var out []attempt
	for i := 0; i < len(tr.t); {
		if mount[i] == 0 {
			i++
			continue
		}
		back, beyondS := excursion(tr, i, mount, level)
		if beyondS < cfg.BumpS {
			i = back // a bump
			continue
		}
		a := attempt{
			start: i, entry: -1, first: mount[i], startT: tr.crossing(i, in.MountDeg),
			outcome: schemas.BalanceRanOut, from: []int{i}, peaks: []int{i},
		}
		limit := logEnd
		if n := len(in.Periods); n > 0 {
			first := schemas.Micros(in.Periods[0].StartS)
			limit = schemas.Micros(in.Periods[n-1].EndS)
			if a.startT < first || a.startT >= limit {
				i = back // carried to the field, or tipped after the bell: a robot that is off tries nothing
				continue
			}
		}
		a.endT, a.limit = limit, limit
		a.follow(tr, level, hold, limit, in.LevelDeg)
		out = append(out, a)
		if a.outcome == schemas.BalanceRanOut {
			break // match or log are over
		}
		i = a.end
	}
	return out
}

// excursion is the first sample at or behind i that is back in the band, and for how long
// the tilt was beyond mount until then. Dips under mount that do not reach the band are
// part of it: a robot that wobbles on its way up climbs once.
func excursion(tr trace, i int, mount, level []int8) (back int, beyondS float64) {
	end := tr.t[i]
	for back = i; back < len(tr.t) && (level[back] != 0 || mount[back] != 0); back++ {
		if mount[back] == 0 {
			continue
		}
		end = tr.t[back]
		if back+1 < len(tr.t) && !tr.afresh[back+1] {
			end = tr.t[back+1]
		}
	}
	return back, seconds(end - tr.t[i])
}

// follow walks through the attempt until it has held level or time is up.
func (a *attempt) follow(tr trace, level []int8, hold, limit int64, levelDeg float64) {
	side, entry, entryT := a.first, -1, int64(0)
	for a.end = a.start; a.end < len(tr.t) && tr.t[a.end] <= limit; a.end++ {
		j := a.end
		if tr.afresh[j] && j > a.start {
			a.gaps = append(a.gaps, series.Interval{Start: tr.t[j-1], End: tr.t[j]})
			entry = -1
		}
		if level[j] != 0 {
			entry = -1
			if level[j] != side {
				side = level[j]
				a.from, a.peaks = append(a.from, j), append(a.peaks, j)
			}
			if last := len(a.peaks) - 1; math.Abs(tr.v[j]) > math.Abs(tr.v[a.peaks[last]]) {
				a.peaks[last] = j
			}
			continue
		}
		if entry < 0 {
			entry, entryT = j, tr.crossing(j, levelDeg)
		}
		if tr.t[j]-entryT >= hold {
			a.entry, a.entryT, a.endT, a.outcome = entry, entryT, entryT+hold, schemas.BalanceLevel
			return
		}
	}
}

// sides says of each sample whether the tilt is beyond edge: 1 or -1 by its sign, 0 inside.
// Without noise that is |v| > edge and nothing more. With noise a change of side counts
// when the tilt goes beyond the edge by more than Config.EdgeSD standard errors at once, or
// on average over a longer stay; it is then dated back to the crossing itself.
func (tr trace) sides(edge float64, cfg Config) []int8 {
	out := make([]int8, len(tr.t))
	now := int8(0)
	from, margin := -1, 0.0 // the stay on another side that is not believed yet, and the sum of its margins
	for i, v := range tr.v {
		side := int8(0)
		if math.Abs(v) > edge {
			side = int8(math.Copysign(1, v))
		}
		if tr.afresh[i] {
			now, from = side, -1
		}
		if side == now {
			from = -1
		} else {
			if from < 0 || side != sideOf(tr.v[i-1], edge) {
				from, margin = i, 0
			}
			m := math.Abs(math.Abs(v) - edge)
			margin += m
			chances := math.Max(1, seconds(tr.t[i]-tr.t[from])/cfg.SmoothS) // independent looks in this stay
			if m >= cfg.EdgeSD*tr.sd[i] || margin/float64(i-from+1) >= cfg.EdgeSD*tr.sd[i]/math.Sqrt(chances) {
				for j := from; j < i; j++ {
					out[j] = side
				}
				now, from = side, -1
			}
		}
		out[i] = now
	}
	return out
}

func sideOf(v, edge float64) int8 {
	switch {
	case v > edge:
		return 1
	case v < -edge:
		return -1
	}
	return 0
}

// crossing is when the tilt crossed edge on its way from sample i-1 to i, on the next sample
// of the log. Behind a gap nobody knows; it is sample i then.
func (tr trace) crossing(i int, edge float64) int64 {
	if i == 0 || tr.afresh[i] || tr.sd[i] == 0 {
		return tr.sampleAt(tr.t[i])
	}
	a, b := math.Abs(tr.v[i-1])-edge, math.Abs(tr.v[i])-edge
	if a == b || a > 0 == (b > 0) {
		return tr.sampleAt(tr.t[i])
	}
	return tr.sampleAt(tr.t[i-1] + int64(a/(a-b)*float64(tr.t[i]-tr.t[i-1])))
}

// sampleAt is the first sample of the log at or after t.
func (tr trace) sampleAt(t int64) int64 {
	return tr.samples[min(series.From(tr.samples, t), len(tr.samples)-1)]
}
