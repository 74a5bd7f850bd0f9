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

// silenceS is a gap between two samples of the tilt in which the truth looks at the robot
// itself: what it did there counts.
const silenceS = 0.15

// balances are the attempts on the platform, by the noise-free tilt at its samples. The
// platform itself says whether the robot was on it.
//
// An attempt starts inside the match. A robot that is tilted as the match begins has not
// tried anything until it has been level. Tilt that dips under mount without coming back to
// the band belongs to the same excursion.
func (v view) balances() {
	logged := v.world.recorder.clean("imu/pitch")
	if logged == nil || len(v.report.Match.Periods) == 0 {
		return
	}
	tilt := v.world.filled(logged)
	for i := 0; i < len(tilt.v) && schemas.Seconds(tilt.t[i]) < v.report.Match.EndS; i++ {
		if math.Abs(tilt.v[i]) <= mountDeg {
			continue
		}
		back, beyond := tilt.excursion(i)
		if beyond < bumpS || schemas.Seconds(tilt.t[i]) < v.report.Match.StartS {
			i = back
			continue
		}
		i = v.balance(tilt, i)
	}
}

// excursion is the first sample from i on that is in the band again, and how long the tilt
// was beyond mount until then, s.
func (c *clean) excursion(i int) (back int, beyondS float64) {
	end := c.t[i]
	for back = i; back < len(c.t) && math.Abs(c.v[back]) > levelDeg; back++ {
		if math.Abs(c.v[back]) > mountDeg {
			end = c.t[min(back+1, len(c.t)-1)]
		}
	}
	return back, schemas.Seconds(end - c.t[i])
}

// filled is the tilt at its samples, and every 10 ms where none reached the log for long.
func (w *world) filled(logged *clean) *clean {
	out := &clean{}
	for i, t := range logged.t {
		if i > 0 && schemas.Seconds(t-logged.t[i-1]) > silenceS {
			begin := schemas.Micros(w.begin)
			for k := (logged.t[i-1]-begin)/10_000 + 1; k >= 0 && int(k) < len(w.tilts) && begin+k*10_000 < t; k++ {
				out.t, out.v = append(out.t, begin+k*10_000), append(out.v, w.tilts[k])
			}
		}
		out.t, out.v = append(out.t, t), append(out.v, logged.v[i])
	}
	return out
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
		out.PeakDeg = max(out.PeakDeg, math.Abs(angle))
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
		on, since := w.onPlatform(now)
		if on {
			out.Outcome, out.EndS, out.SettleS = schemas.BalanceLevel, now, schemas.Some(inSince-out.StartS)
			break
		}
		if now-since > holdS {
			out.Outcome, out.EndS = schemas.BalanceLeft, inSince
			break
		}
	}
	if zeta, hz, ok := w.loopSwing(out.StartS, out.EndS); ok {
		out.DampingRatio, out.NaturalHz = schemas.Some(zeta), schemas.Some(hz)
	}
	v.report.Balances = append(v.report.Balances, out)
	return k
}

// onPlatform says whether the robot was on the platform at t, s robot clock, and since when.
func (w *world) onPlatform(t float64) (on bool, since float64) {
	since = w.begin
	for _, s := range w.boarded {
		if s.at <= t {
			on, since = s.on, s.at
		}
	}
	return on, since
}
