package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// What the profile says of the platform.
const (
	mountDeg = 6.0
	levelDeg = 2.5
	holdS    = 1.0
	bumpS    = 0.3 // shorter tilts start no attempt
)

// balances are the attempts on the platform, by the noise-free tilt at its samples. The
// platform itself says whether the robot was on it.
func (v view) balances() {
	tilt := v.world.recorder.clean("imu/pitch")
	if tilt == nil {
		return
	}
	for i := 0; i < len(tilt.v) && schemas.Seconds(tilt.t[i]) < v.report.Match.EndS; i++ {
		if math.Abs(tilt.v[i]) <= mountDeg {
			continue
		}
		j := i
		for j < len(tilt.v) && math.Abs(tilt.v[j]) > mountDeg && schemas.Seconds(tilt.t[j]-tilt.t[i]) < bumpS {
			j++
		}
		if j < len(tilt.v) && schemas.Seconds(tilt.t[j]-tilt.t[i]) < bumpS {
			i = j // a bump
			continue
		}
		i = v.balance(tilt, i)
	}
}

// balance follows the attempt that begins at sample i to its end and returns the sample
// it ended at.
func (v view) balance(tilt *clean, i int) int {
	w := v.world
	out := schemas.Balance{StartS: schemas.Seconds(tilt.t[i]), Outcome: schemas.BalanceRanOut, EndS: v.report.Match.EndS}
	for _, p := range v.report.Match.Periods {
		if p.StartS <= out.StartS && out.StartS < p.EndS {
			out.Period = p.Name
		}
	}
	side, inSince := math.Copysign(1, tilt.v[i]), math.NaN()
	k := i
	for ; k < len(tilt.v) && schemas.Seconds(tilt.t[k]) <= v.report.Match.EndS; k++ {
		now, angle := schemas.Seconds(tilt.t[k]), tilt.v[k]
		out.PeakDeg = math.Max(out.PeakDeg, math.Abs(angle))
		if math.Abs(angle) > levelDeg {
			inSince = math.NaN()
			if angle*side < 0 {
				side = -side
				out.Overshoots++
			}
			continue
		}
		if math.IsNaN(inSince) {
			inSince = now
		}
		if now-inSince < holdS {
			continue
		}
		out.EndS = now
		if w.onPlatform(now) {
			out.Outcome, out.SettleS = schemas.BalanceLevel, schemas.Some(inSince-out.StartS)
		} else {
			out.Outcome, out.EndS = schemas.BalanceLeft, inSince
		}
		break
	}
	v.report.Balances = append(v.report.Balances, out)
	return k
}

// onPlatform says whether the robot was on the platform at t, s robot clock.
func (w *world) onPlatform(t float64) bool {
	on := false
	for _, s := range w.boarded {
		if s.at <= t {
			on = s.on
		}
	}
	return on
}
