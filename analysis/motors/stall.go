package motors

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// stalls are the stretches in which the motor stood although it was driven: it turned at
// under cfg.StandShare of its free speed at that voltage and drew what a motor that is held
// fast does, for longer than it ever takes to start. known is false without command and speed.
func (r *record) stalls(cfg Config) (out []schemas.Stall, known bool) {
	if r.Command == nil || r.Speed == nil || !(r.perU > 0) || math.IsNaN(r.usual) {
		return nil, false
	}
	least := r.leastStall(cfg)
	if r.windingCeiling = r.ceiling; r.line.side == supply {
		r.windingCeiling = r.ceilingOf(func(x *reading) float64 { return r.inWinding(x, &cfg) })
	}
	for _, s := range r.stretches(func(x *reading) bool { return r.stands(x, &cfg) }, cfg.MergeS) {
		if s.EndS-s.StartS >= least {
			out = append(out, s)
		}
	}
	return out, true
}

// stands says whether a row shows the motor held fast.
func (r *record) stands(x *reading, cfg *Config) bool {
	switch {
	case x.off || x.quiet || // a low supply excuses nothing here: what draws has power
		!(x.u >= cfg.HoldShare*r.usual):
		return false // not driven, or only to hold
	case !(math.Abs(x.w) <= cfg.StandShare*r.freeSpeed(x)+2*r.noiseW):
		return false
	}
	amps, held, running := x.i, r.ceiling, orZero(r.free)
	if ohm, ok := r.resistance(); ok && x.v > 0 {
		if r.line.side == supply {
			amps, held, running = r.inWinding(x, cfg), r.windingCeiling, running/r.usual
		}
		held = min(held, x.u*x.v/ohm)
	}
	return amps >= running+cfg.StallShare*(held-running) && amps > 2*running
}

// freeSpeed is the speed that a row's command and voltage would make without load, rad/s.
func (r *record) freeSpeed(x *reading) float64 {
	if r.line.known && x.v > 0 {
		return x.u * x.v / r.line.k
	}
	return x.u * r.perU
}

// leastStall is the shortest stand that is none of its starts, s.
func (r *record) leastStall(cfg Config) float64 {
	const longest = 1.0 // s; who takes longer to start has stalled first
	var took []float64
	began := int64(-1)
	for k := range r.rows {
		x := &r.rows[k]
		driven := x.u >= cfg.HoldShare*r.usual && !x.off
		switch {
		case !driven:
			began = -1
		case k > 0 && r.rows[k-1].u < cfg.MinCommand:
			began = x.t
		}
		if began >= 0 && x.w > cfg.StandShare*r.freeSpeed(x)+2*r.noiseW {
			if s := float64(x.t-began) / 1e6; s <= longest {
				took = append(took, s)
			}
			began = -1
		}
	}
	if len(took) == 0 {
		return cfg.StallS
	}
	return max(cfg.StallS, cfg.StartTimes*stat.Quantile(0.9, took))
}

// stretches are the runs of rows of which is holds, with what was drawn in them; runs less
// than merge seconds apart are one.
func (r *record) stretches(is func(*reading) bool, merge float64) []schemas.Stall {
	type run struct {
		from, to int64
		charge   float64
		lasted   float64
	}
	var runs []run
	for k := range r.rows {
		x := &r.rows[k]
		if !is(x) {
			continue
		}
		end := x.t + int64(x.dt*1e6)
		if n := len(runs); n > 0 && float64(x.t-runs[n-1].to)/1e6 <= merge {
			runs[n-1].to = end
		} else {
			runs = append(runs, run{from: x.t, to: end})
		}
		last := &runs[len(runs)-1]
		last.charge, last.lasted = last.charge+x.i*x.dt, last.lasted+x.dt
	}
	var out []schemas.Stall
	for _, g := range runs {
		out = append(out, schemas.Stall{StartS: schemas.Seconds(g.from), EndS: schemas.Seconds(g.to), MeanA: g.charge / g.lasted})
	}
	return out
}
