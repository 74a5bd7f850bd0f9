package motors

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// tellIdle writes the stretches in which the motor drew although it was told to rest and
// stood. A draw that never changes is not told from a sensor whose zero is off: rest_a says it.
func (r *record) tellIdle(row *schemas.Motor, cfg Config) {
	if r.Command == nil {
		return
	}
	rests := r.rests(cfg)
	k := -1
	for _, s := range r.stretches(func(x *reading) bool { k++; return rests[k] && math.Abs(x.i) > cfg.IdleA }, cfg.MergeS) {
		if s.EndS-s.StartS >= cfg.IdleS {
			row.Idle = append(row.Idle, s)
		}
	}
}

// unpowered are the stretches in which the motor was driven, hardly turned and drew nothing:
// a wire, a breaker or a controller that is off. When another motor of the robot was told to
// run then and drew nothing either, it was the robot that was off.
func (r *record) unpowered(others []*record, cfg Config) []schemas.Stall {
	if r.Command == nil || r.Speed == nil {
		return nil
	}
	var out []schemas.Stall
	for _, s := range r.stretches(func(x *reading) bool { return r.lacks(x, &cfg) }, 0) {
		if s.EndS-s.StartS >= cfg.NothingS && !anyLacks(others, s, cfg) {
			out = append(out, s)
		}
	}
	return out
}

// lacks says whether a row shows the motor driven, without current and without speed: less
// than the current it runs lightly with, where that shows, else next to none of what would
// flow if it were held fast.
func (r *record) lacks(x *reading, cfg *Config) bool {
	if x.off || x.sag || x.quiet || !(x.u >= cfg.HoldShare*r.usual) || !r.drawsNothing(x, cfg) {
		return false
	}
	if !r.runsOnNothing() {
		return math.Abs(x.w) < r.freeSpeed(x)/2
	}
	ohm, ok := r.resistance()
	held := x.u * x.v / ohm
	if r.line.side == supply {
		held *= x.u
	}
	return ok && held > 4*r.nothing(cfg) && math.Abs(x.w) <= cfg.StandShare*r.freeSpeed(x)+2*r.noiseW
}

// drawsNothing says whether a row's current is as good as none.
func (r *record) drawsNothing(x *reading, cfg *Config) bool {
	return math.Abs(x.i) < r.nothing(cfg)
}

// nothing is a current that is as good as none, A.
func (r *record) nothing(cfg *Config) float64 {
	if r.runsOnNothing() {
		return max(cfg.NothingA, 4*r.noiseA)
	}
	return max(cfg.NothingA, r.free/4)
}

// runsOnNothing says whether it draws too little, running lightly, to tell it by its current from a
// motor without power.
func (r *record) runsOnNothing() bool { return !(r.free > max(1, 6*r.noiseA)) }

func anyLacks(others []*record, s schemas.Stall, cfg Config) bool {
	for _, o := range others {
		told, lacked := 0.0, 0.0
		for k := range o.rows {
			x := &o.rows[k]
			at := schemas.Seconds(x.t)
			if at < s.StartS || at >= s.EndS || !(x.u >= cfg.HoldShare*o.usual) {
				continue
			}
			told += x.dt
			if o.drawsNothing(x, &cfg) && !(math.Abs(x.w) >= o.freeSpeed(x)/2) {
				lacked += x.dt
			}
		}
		if lacked > told/2 {
			return true
		}
	}
	return false
}
