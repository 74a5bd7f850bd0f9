package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

const withinM = 0.02 // of the target counts as there

// moves are the changes of the lift's target and what came of them, by its noise-free
// position at its samples: settled from the first sample after which it stays within the
// tolerance until the next change, superseded if that comes first.
func (v view) moves() {
	target, position := v.world.recorder.clean("lift/target"), v.world.recorder.clean("lift/position")
	if target == nil || position == nil {
		return
	}
	for i := 1; i < len(target.v); i++ {
		if target.v[i] == target.v[i-1] {
			continue
		}
		until, next := schemas.Micros(v.end), false
		for j := i + 1; j < len(target.v); j++ {
			if target.v[j] != target.v[i] {
				until, next = target.t[j], true
				break
			}
		}
		v.move(position, target.t[i], until, target.v[i], next)
	}
}

// move is one, from t0 to t1, when the next began or the log ended.
func (v view) move(position *clean, t0, t1 int64, target float64, next bool) {
	out := schemas.Move{Name: "lift", StartS: schemas.Seconds(t0), EndS: schemas.Seconds(t1), To: target, Outcome: "short"}
	if next {
		out.Outcome = "superseded"
	}
	from, in := math.NaN(), int64(0)
	for i, t := range position.t {
		if t <= t0 || math.IsNaN(from) {
			from = position.v[i]
			out.From = from
			continue
		}
		if t > t1 {
			break
		}
		away := position.v[i] - target
		if over := math.Copysign(away, away*(target-from)); over > out.Overshoot {
			out.Overshoot = over
		}
		if math.Abs(away) > withinM {
			in = 0
		} else if in == 0 {
			in = t
		}
	}
	if in != 0 {
		out.Outcome, out.EndS = "settled", schemas.Seconds(in)
		out.SettleS = schemas.Some(out.EndS - out.StartS)
	}
	v.report.Moves = append(v.report.Moves, out)
}
