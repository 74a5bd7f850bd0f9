package balance

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// tuned is what the log tells of platform and loop together: pairs of a rig and a law, drawn by
// how likely they are, all of which could have made this log.
type tuned struct {
	ok    bool
	draws []pairing // each with a law dealt by its weight
	best  pairing
	now   tried   // as the gains are
	limit float64 // largest command seen
	off   float64 // deg RMS of the best rig from the tilt
	run   *run
}

type pairing struct {
	rig rig
	law law
}

const (
	rigDraws    = 40
	quietMost   = 0.4 // of the gain: a swing that the loop hardly answers tells nothing of it
	forceDoubt  = 5.0 // odds, as a logarithm, that a drivetrain's command is no force
	rigEvidence = 3.0 // logarithm of the likelihood by which one kind of rig rules out the other
	widestZeta  = 0.3 // 95 % of the damping beyond which it is not told
)

// tune fits rigs and laws to the stretch from where the platform was last at a stop. It is not
// ok where the log does not show ones that describe it, or leaves its damping open.
func tune(tr trace, a attempt, in Input, cfg Config) tuned {
	if in.Drive == nil {
		return tuned{}
	}
	t0, t1 := freeStretch(tr, a)
	laws := lawsOf(tr, t0, t1, in, cfg)
	sign := 1.0
	if len(laws) > 0 {
		sign = math.Copysign(1, laws[0].gain)
	}
	r, ok := newRun(tr, t0, t1, in, sign)
	if !ok {
		return tuned{}
	}
	best, rigs := r.likely(max(tr.noise, cfg.NoiseFloorDeg))
	if len(rigs) == 0 {
		return tuned{}
	}
	u := tuned{best: pairing{rig: best}, off: math.Sqrt(best.rss / float64(len(r.tilt))), run: r}
	for _, c := range r.command {
		u.limit = max(u.limit, math.Abs(c))
	}
	if len(laws) == 0 {
		return u
	}
	u.best.law = laws[0]
	for i, g := range rigs {
		u.draws = append(u.draws, pairing{g, lawAt(laws, (float64(i*7%len(rigs))+0.5)/float64(len(rigs)))})
	}
	if u.off > max(1.5*tr.noise, cfg.PlantShare*a.peak(tr)) || laws[0].quiet > quietMost || laws[0].sums {
		return u
	}
	u.now = u.try(asTheyAre)
	u.ok = u.now.high-u.now.low <= widestZeta
	return u
}

// likely are the rigs of the likelier kind, of both where neither is ruled out. That the command
// of a drivetrain is a speed is believed unless the log is clear that it is not.
func (r *run) likely(noise float64) (best rig, draws []rig) {
	r.force = false
	best, draws = r.rigs(rigDraws)
	if len(draws) > 0 && math.Sqrt(best.rss/float64(len(r.tilt))) < 1.15*noise {
		return best, draws // what is left is noise: nothing describes it clearly better
	}
	r.force = true
	other, others := r.rigs(rigDraws)
	switch {
	case len(others) == 0:
	case len(draws) == 0, other.fit > best.fit+forceDoubt+rigEvidence:
		return other, others
	case other.fit > best.fit+forceDoubt-rigEvidence:
		draws = slices.Concat(draws, others)
	}
	return best, draws
}

// lawAt is the law at a place in their weights, 0 to 1.
func lawAt(laws []law, at float64) law {
	for _, l := range laws {
		if at -= l.weight; at < 0 {
			return l
		}
	}
	return laws[0]
}

// freeStretch is from the last time the platform lay at a stop, near the largest tilt there
// was, to the end of the attempt, or to before the last tilt of one that drove off.
func freeStretch(tr trace, a attempt) (t0, t1 int64) {
	stop, from := a.peak(tr), a.start
	end := min(a.end, len(tr.t)-1)
	if a.outcome == schemas.BalanceLeft {
		end = min(end, a.from[len(a.from)-1])
	}
	for i := a.start; i < end; i++ {
		if math.Abs(tr.v[i]) > 0.94*stop {
			from = i
		}
	}
	return tr.t[from], tr.t[end]
}

// peak is the largest tilt of the attempt, deg.
func (a attempt) peak(tr trace) float64 {
	peak := 0.0
	for i := a.start; i <= a.end && i < len(tr.t); i++ {
		peak = max(peak, math.Abs(tr.v[i]))
	}
	return peak
}

// tried is what gains do to all the draws.
type tried struct {
	gains
	zeta, low, high float64 // median and 95 % of the damping
	hz, hzLow, hzHi float64
}

func (u tuned) try(c gains) tried {
	out := tried{gains: c}
	var zetas, hz []float64
	for _, p := range u.draws {
		l := p.law.with(c)
		now := p.rig.closeLoop(l)
		zetas = append(zetas, now.zeta)
		if !math.IsInf(now.wn, 1) {
			hz = append(hz, now.wn/(2*math.Pi))
		}
	}
	out.zeta, out.low, out.high = middle95(zetas)
	out.hz, out.hzLow, out.hzHi = middle95(hz)
	return out
}

// stable is the share of the draws that are still stable with these gains when late by three
// times what they are: a margin of twice the delay.
func (u tuned) stable(c gains) float64 {
	n := 0
	for _, p := range u.draws {
		l := p.law.with(c)
		l.late = 3*l.late + 2*p.rig.lag
		if p.rig.closeLoop(p.law.with(c)).stable && p.rig.closeLoop(l).stable {
			n++
		}
	}
	return float64(n) / float64(len(u.draws))
}

func middle95(x []float64) (median, low, high float64) {
	return stat.Median(x), stat.Quantile(0.025, x), stat.Quantile(0.975, x)
}

// lower is the least lowering of the proportional gain, the rate term as it is, that brings
// the damping goal, else the most that is tried; nil where it is not sure to damp clearly
// better. A rate gain is not named: played again with rate gains that reached the goal in all
// draws, half the loops were damped no better, as one swing hardly tells a late loop from one
// with less of a rate term, and these differ in what more of it does.
func (u tuned) lower(a attempt, tr trace, in Input, cfg Config) *schemas.Retune {
	if !u.ok || u.now.zeta >= cfg.DampedWell {
		return nil
	}
	var best tried
	for _, factor := range [...]float64{0.8, 0.65, 0.5} {
		t := u.try(gains{factor: factor})
		if t.low < u.now.zeta+surelyBetter || u.stable(t.gains) < 0.95 {
			continue
		}
		best = t
		if t.zeta >= cfg.DampingGoal-0.05 {
			break
		}
	}
	if best.factor == 0 {
		return nil
	}
	out := &schemas.Retune{GainFactor: best.factor, Damping: best.zeta, DampingLow: best.low, DampingHigh: best.high}
	out.DampingLow, out.DampingHigh = out.DampingLow-modelOff*best.zeta, out.DampingHigh+modelOff*best.zeta
	g, l := u.best.rig, u.best.law
	out.SettleNowS = g.settles(l, u.limit, in.LevelDeg)
	out.SettleS = g.settles(l.with(best.gains), u.limit, in.LevelDeg)
	if out.SettleS == nil || out.SettleNowS != nil && *out.SettleS > *out.SettleNowS {
		return nil // damped, and no sooner level
	}
	out.MarginS = g.margin(l.with(best.gains))
	return out
}

const (
	surelyBetter = 0.05 // of damping, that a change must bring at the low end of its interval
	modelOff     = 0.15 // of a damping, by which straight equations of a crooked world may be off besides
)

// margin is how much later than it is a loop may be before it swings by itself, s; nil where
// a second more does not do it.
func (g rig) margin(l law) *float64 {
	late := l.late
	for more := 0.01; more < 1; more += 0.01 {
		if l.late = late + more; !g.closeLoop(l).stable {
			return schemas.Some(more)
		}
	}
	return nil
}

// say is a change in words.
func say(r *schemas.Retune, now float64) string {
	text := fmt.Sprintf("lower the proportional gain first, to %s of what it is, and leave the rate term: the damping should become about %s (%s to %s) in place of %s",
		two(r.GainFactor), two(r.Damping), two(max(0, r.DampingLow)), two(r.DampingHigh), two(now))
	if r.SettleS != nil && r.SettleNowS != nil {
		text += fmt.Sprintf("; the swing should then be level %s s after it begins, by the same model now %s s", two(*r.SettleS), two(*r.SettleNowS))
	}
	return text
}
