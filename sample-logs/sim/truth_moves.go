package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

const (
	withinM  = 0.02 // of the target counts as there
	stayS    = 0.5  // s there that settle a move, or half of what it took
	atRestS  = 0.5  // s without moving on by more than restM: it came to rest
	restM    = 0.01
	patientS = 1.0 // s that a target must have stood before resting elsewhere is short
)

// moves are the changes of the lift's target that are more than its tolerance from where it
// last rested, and what came of them, by the noise-free position at its samples. Settled: it
// came within the tolerance and stayed for stayS and half of the time it took, or until the
// next move. Else superseded when the next move came while it was under way, and short when
// it had come to rest elsewhere or none came.
func (v view) moves() {
	target, position := v.world.recorder.clean("lift/target"), v.world.recorder.clean("lift/position")
	if target == nil || position == nil || len(target.v) == 0 {
		return
	}
	var at []int
	rests := target.v[0]
	for i, to := range target.v {
		if math.Abs(to-rests) > withinM+1e-9 {
			at, rests = append(at, i), to
		}
	}
	for k, i := range at {
		until, next := schemas.Micros(v.end), false
		if k+1 < len(at) {
			until, next = target.t[at[k+1]], true
		}
		v.move(position, target.t[i], until, target.v[i], next)
	}
}

// move is one, from t0 to t1, when the next began or the log ended.
func (v view) move(position *clean, t0, t1 int64, target float64, next bool) {
	out := schemas.Move{Name: "lift", StartS: schemas.Seconds(t0), EndS: schemas.Seconds(t1), To: target, Outcome: "short"}
	from, in, settled, over := math.NaN(), int64(0), false, false
	low, high := math.Inf(1), math.Inf(-1) // of the last atRestS
	for i, t := range position.t {
		if t <= t0 || math.IsNaN(from) {
			from = position.v[i]
			out.From = from
			continue
		}
		if t > t1 {
			break
		}
		if t1-t <= schemas.Micros(atRestS) {
			low, high = min(low, position.v[i]), max(high, position.v[i])
		}
		away := position.v[i] - target
		if over = over || settled && math.Abs(away) > withinM; over {
			continue // what it does after its stay is another story
		}
		if past := math.Copysign(away, away*(target-from)); past > out.Overshoot {
			out.Overshoot = past
		}
		if math.Abs(away) > withinM {
			in = 0
			continue
		}
		if in == 0 {
			in = t
		}
		settled = settled || schemas.Seconds(t-in) >= max(stayS, schemas.Seconds(in-t0)/2)
	}
	switch {
	case in != 0:
		out.Outcome, out.EndS = "settled", schemas.Seconds(in)
		out.SettleS = schemas.Some(out.EndS - out.StartS)
	case next && (high-low > restM || schemas.Seconds(t1-t0) < patientS):
		out.Outcome = "superseded"
	}
	if out.SettleS != nil {
		out.RiseS = position.rise(t0, t1, out.From, target)
	}
	v.report.Moves = append(v.report.Moves, out)
}

// rise is the time from the last moment in the first tenth of the way to the first in the
// last, s, straight between samples; nil for a way that is no more than the tolerance or
// that no two samples show.
func (c *clean) rise(t0, t1 int64, from, to float64) *float64 {
	if math.Abs(to-from) <= withinM {
		return nil
	}
	left := math.NaN()
	for i := 1; i < len(c.t) && c.t[i] <= t1; i++ {
		if c.t[i-1] < t0 {
			continue
		}
		a, b := (c.v[i-1]-from)/(to-from), (c.v[i]-from)/(to-from)
		at := func(part float64) float64 {
			return schemas.Seconds(c.t[i-1]) + schemas.Seconds(c.t[i]-c.t[i-1])*(part-a)/(b-a)
		}
		if a < 0.1 && b >= 0.1 {
			left = at(0.1)
		}
		if b >= 0.9 {
			if took := at(0.9) - left; took > 0 {
				return schemas.Some(took)
			}
			return nil
		}
	}
	return nil
}
