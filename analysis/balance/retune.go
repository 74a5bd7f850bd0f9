package balance

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// tuning is what the log tells about the platform and the loop together; ok is false where
// it does not tell both.
type tuning struct {
	ok       bool
	platform plant
	alike    []plant // others that describe the swing as well
	loop     law
	zeta, wn float64 // of the two together
}

// tune looks at the platform behind the last time it lay at a stop. The command moves the
// robot at a speed, which is what a drivetrain does; where a force describes the swing as
// well, the log cannot tell the two apart and nothing is said: a rate term that damps one
// of them well is far too much or too little for the other.
func tune(tr trace, sw swing, a attempt, in Input, cfg Config) tuning {
	from := freeFrom(tr, a)
	if in.Drive == nil || from >= len(tr.t) {
		return tuning{}
	}
	t0, t1 := tr.t[from], tr.t[min(a.end, len(tr.t)-1)]
	l, ok := lawOf(tr, t0, t1, in.Drive, cfg)
	if !ok {
		return tuning{}
	}
	plants := plantsOf(tr, t0, t1, in.Drive, l.gain, false)
	if len(plants) == 0 {
		return tuning{}
	}
	out := tuning{platform: plants[0], loop: l}
	for _, p := range plants {
		if p.rms < out.platform.rms {
			out.platform = p
		}
	}
	p := out.platform
	for _, q := range plants {
		if q.rms < 1.2*p.rms {
			out.alike = append(out.alike, q)
		}
	}
	asForce := math.Inf(1)
	for _, q := range plantsOf(tr, t0, t1, in.Drive, l.gain, true) {
		asForce = min(asForce, q.rms)
	}
	out.zeta, out.wn, _ = mainSwing(p.poles(l.gain, l.lead, l.late+p.lag))
	switch {
	case p.rms > cfg.PlantShare*a.peak(tr):
		return tuning{} // it does not describe what happened
	case asForce < 2*max(p.rms, cfg.NoiseFloorDeg) || math.IsInf(asForce, 1):
		return tuning{} // a force would do nearly as well, or tilt and command hang together too much to say
	case sw.kind == damped && math.Abs(sw.zeta-out.zeta) > 0.15:
		return tuning{} // the swing itself says otherwise
	}
	out.ok = true
	return out
}

// The rate terms that are tried, s of the proportional gain.
const mostRateS, rateStepS = 3.0, 0.02

// with is the damping of platform p when the proportional gain is factor of what it is and
// rateS more of it goes to the rate. safe is whether nothing else in it is hardly damped and
// it is still stable when late by three times what it is (a delay margin of twice the delay).
func (u tuning) with(p plant, factor, rateS float64, cfg Config) (zeta float64, safe bool) {
	late := u.loop.late + p.lag
	gain, lead := u.loop.gain*factor, u.loop.lead/factor+rateS
	zeta, _, others := mainSwing(p.poles(gain, lead, late))
	later, _, othersLater := mainSwing(p.poles(gain, lead, 3*math.Max(late, rateStepS)))
	return zeta, others >= cfg.DampedPoor && later > 0 && othersLater > 0
}

// reach is the least rate term, s of the proportional gain times factor, that safely brings
// platform p to the damping goal. ok is false where none does.
func (u tuning) reach(p plant, factor float64, cfg Config) (rateS float64, ok bool) {
	for rateS = 0; rateS < mostRateS; rateS += rateStepS {
		if zeta, safe := u.with(p, factor, rateS, cfg); safe && zeta >= cfg.DampingGoal {
			return rateS, true
		}
	}
	return 0, false
}

// retune is the change of gains that gives the damping goal; nil when nothing is amiss, or
// nothing known, or no rate term does it.
func retune(u tuning, a attempt, tr trace, in Input, cfg Config) *schemas.Retune {
	if !u.ok || u.zeta >= cfg.DampedWell {
		return nil
	}
	for _, factor := range [...]float64{1, 0.7, 0.5} {
		rateS, ok := u.reach(u.platform, factor, cfg)
		if !ok {
			continue
		}
		out := &schemas.Retune{GainFactor: factor, RateS: rateS, RateLowS: rateS, RateHighS: rateS}
		for _, p := range u.alike {
			if r, ok := u.reach(p, factor, cfg); ok {
				out.RateLowS, out.RateHighS = min(out.RateLowS, r), max(out.RateHighS, r)
			}
		}
		late := u.loop.late + u.platform.lag
		gain, lead := u.loop.gain*factor, u.loop.lead/factor+rateS
		zeta, wn, _ := mainSwing(u.platform.poles(gain, lead, late))
		out.SettleNowS = envelope(u.zeta, u.wn, a.peak(tr), in.LevelDeg)
		out.SettleS = envelope(zeta, wn, a.peak(tr), in.LevelDeg)
		for more := 0.01; more < 1; more += 0.01 {
			if z, _, o := mainSwing(u.platform.poles(gain, lead, late+more)); z <= 0 || o <= 0 {
				out.MarginS = schemas.Some(more)
				break
			}
		}
		return out
	}
	return nil
}

// most is the best damping that a rate term alone safely brings, and that term in s.
func (u tuning) most(cfg Config) (zeta, rateS float64) {
	for add := 0.0; add < mostRateS; add += rateStepS {
		if z, safe := u.with(u.platform, 1, add, cfg); safe && z > zeta {
			zeta, rateS = z, add
		}
	}
	return zeta, rateS
}

// advise is what the platform and the loop together say to try, in place of what the swing
// alone would; text is as it was where they say nothing.
func (u tuning) advise(text string, change *schemas.Retune, cfg Config) string {
	switch zeta, rateS := u.most(cfg); {
	case !u.ok:
		return text
	case change != nil:
		return say(change, u.loop)
	case zeta >= u.zeta+0.1:
		return fmt.Sprintf("raise the rate term by about %s s times the proportional gain: the damping becomes %s, and no rate term makes it %s on this platform",
			two(rateS), two(zeta), two(cfg.DampingGoal))
	case u.zeta < cfg.DampedPoor:
		return fmt.Sprintf("leave the rate term: none makes the damping %s on this platform, which swings by itself; try a little less proportional gain",
			two(cfg.DampingGoal))
	}
	return text
}

// envelope is how long a swing of that damping takes from one angle down to another, s; nil
// where it never does.
func envelope(zeta, wn, from, to float64) *float64 {
	if !(zeta > 0) || math.IsInf(wn, 0) || from <= to {
		return nil
	}
	return schemas.Some(math.Log(from/to) / (zeta * wn))
}

// say is the change in words.
func say(r *schemas.Retune, l law) string {
	text := ""
	if r.GainFactor < 1 {
		text = fmt.Sprintf("lower the proportional gain first, to %s of what it is; then ", two(r.GainFactor))
	}
	verb := "add a rate term:"
	if l.lead > 0.1 {
		verb = "raise the rate term by"
	}
	text += fmt.Sprintf("%s about %s s times the proportional gain", verb, two(r.RateS))
	if two(r.RateLowS) != two(r.RateHighS) {
		text += fmt.Sprintf(" (%s to %s)", two(r.RateLowS), two(r.RateHighS))
	}
	text += fmt.Sprintf("; with the gain seen here, %s of full command per deg/s", two(math.Abs(l.gain)*r.GainFactor*r.RateS))
	if r.SettleS != nil && r.SettleNowS != nil {
		text += fmt.Sprintf("; the swing should then die down in %s s in place of %s", two(*r.SettleS), two(*r.SettleNowS))
	}
	return text
}

// peak is the largest tilt of the attempt, deg.
func (a attempt) peak(tr trace) float64 {
	peak := 0.0
	for i := a.start; i <= a.end && i < len(tr.t); i++ {
		peak = max(peak, math.Abs(tr.v[i]))
	}
	return peak
}

// freeFrom is the last sample of an attempt at which the platform lay at a stop: near the
// largest tilt there was.
func freeFrom(tr trace, a attempt) int {
	stop, from := a.peak(tr), a.start
	for i := a.start; i < a.end && i < len(tr.t); i++ {
		if math.Abs(tr.v[i]) > 0.94*stop {
			from = i
		}
	}
	return from
}

// law is how the command answered: gain (tilt + lead rate), both as they were late seconds ago.
type law struct {
	gain float64 // of full command per deg, with its sign
	lead float64 // s
	late float64 // s
	r2   float64 // share of the command it explains
}

// lawOf regresses the command on tilt and rate of a while ago, for the lateness that
// explains most of it. Commands of nothing (a band in which the loop stands still) and at
// their limit say nothing about gains and are left out.
func lawOf(tr trace, t0, t1 int64, drive *series.Float, cfg Config) (law, bool) {
	tilt, rate := &series.Float{T: tr.t, V: tr.v}, &series.Float{T: tr.t, V: tr.rate}
	limit := 0.0
	for t := t0; t <= t1; t += 20_000 {
		u, _ := drive.At(t)
		limit = max(limit, math.Abs(u))
	}
	best := law{r2: -1}
	for lateUs := int64(0); lateUs <= 180_000; lateUs += 10_000 {
		var basis, y []float64
		mean := 0.0
		for t := t0; t <= t1; t += 20_000 {
			u, ok := drive.At(t)
			v, okTilt := between(tilt, t-lateUs)
			r, okRate := between(rate, t-lateUs)
			if !ok || !okTilt || !okRate || math.Abs(u) > 0.98*limit || u == 0 {
				continue
			}
			basis, y = append(basis, 1, v, r), append(y, u)
			mean += u
		}
		if len(y) < 20 {
			return law{}, false
		}
		mean /= float64(len(y))
		c, rss, ok := linear(basis, y, 3)
		total := 0.0
		for _, u := range y {
			total += (u - mean) * (u - mean)
		}
		if !ok || total == 0 || c[1] == 0 {
			continue
		}
		if r2 := 1 - rss/total; r2 > best.r2 {
			best = law{gain: c[1], lead: c[2] / c[1], late: seconds(lateUs), r2: r2}
		}
	}
	return best, best.r2 >= cfg.LoopR2
}
