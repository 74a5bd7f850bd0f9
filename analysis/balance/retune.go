package balance

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
)

// tuned is what the log tells of platform and loop together: pairs of a rig and a law, drawn by
// how likely they are, all of which could have made this log.
type tuned struct {
	ok    bool      // it tells damping and frequency
	sums  bool      // and nothing of other gains: the loop also answers for how long it has been tilted
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
	runFreeS    = 2.5 // s, for which a run begins behind the last time the command was at its limit
	widestZeta  = 0.3 // 95 % of the damping beyond which it is not told
)

// tune fits rigs and laws to the stretch from where the platform was last at a stop. It is not
// ok where the log does not show ones that describe it, or leaves its damping open.
func tune(tr trace, a attempt, free int64, h heard, lp loop, in Input, cfg Config) tuned {
	if in.Drive == nil {
		return tuned{}
	}
	t0, t1 := freeStretch(tr, a, in)
	if seconds(t1-free) >= runFreeS {
		t0 = max(t0, free) // behind the command's limit
	}
	laws := lawsOf(h, lp, tr, t0, t1, in, cfg)
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
	luck := rand.New(rand.NewPCG(20, 31))
	for i, g := range rigs {
		l := lawAt(laws, (float64(i*7%len(rigs))+0.5)/float64(len(rigs)))
		u.draws = append(u.draws, pairing{g, l.drawn(luck.NormFloat64(), luck.NormFloat64())})
	}
	if u.off > max(1.5*tr.noise, cfg.PlantShare*a.peak(tr)) || laws[0].quiet > quietMost {
		return u
	}
	u.sums = laws[0].sums
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

// freeStretch is from the last time the platform lay at a stop, or else from when it tipped, to the
// end of the attempt, or to before the last tilt of one that drove off. Of a swing that comes to the
// stops again and again, where that leaves next to nothing, it is the longest way between them.
func freeStretch(tr trace, a attempt, in Input) (t0, t1 int64) {
	stop := a.stop(tr)
	end := min(a.end, len(tr.t)-1)
	if a.outcome == schemas.BalanceLeft {
		end = min(end, a.from[len(a.from)-1])
	}
	last, _ := a.top(tr, in)
	longest := [2]int{last, last}
	for i := a.start; i < end; i++ {
		if math.Abs(tr.v[i]) <= stop {
			continue
		}
		if tr.t[i]-tr.t[last] > tr.t[longest[1]]-tr.t[longest[0]] {
			longest = [2]int{last, i}
		}
		last = i
	}
	end = max(end, last)
	if seconds(tr.t[end]-tr.t[last]) < runLeastS && seconds(tr.t[longest[1]]-tr.t[longest[0]]) >= runLeastS {
		return tr.t[longest[0]], tr.t[longest[1]]
	}
	return tr.t[last], tr.t[end]
}

// stop is the tilt beyond which the platform lies at a stop, deg: near the largest there was, as
// it did before it tipped. It is infinite where a swing came to be larger than that first tilt.
func (a attempt) stop(tr trace) float64 {
	peak := a.peak(tr)
	if math.Abs(tr.v[a.peaks[0]]) < stopShare*peak {
		return math.Inf(1)
	}
	return stopShare * peak
}

const stopShare = 0.94 // of the largest tilt: it lies at a stop

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

func (u tuned) try(c gains) tried { return u.tryEach(1, c) }

// tryEach tries gains on every nth of the draws.
func (u tuned) tryEach(nth int, c gains) tried {
	out := tried{gains: c}
	var zetas, hz []float64
	for i := 0; i < len(u.draws); i += nth {
		now := u.draws[i].rig.closeLoop(u.draws[i].law.with(c))
		zetas = append(zetas, now.zeta)
		if !math.IsInf(now.wn, 1) {
			hz = append(hz, now.wn/(2*math.Pi))
		}
	}
	out.zeta, out.low, out.high = middle95(zetas)
	out.hz, out.hzLow, out.hzHi = middle95(hz)
	return out
}

// and is the mean of what platform and loop tell of damping and frequency and what a swing that
// describes the tilt as well does, each by how sure it is, with an interval for both.
func (t tried) and(s swing.Fit) tried {
	hz, hzSD := s.NaturalHz(), s.WnSD/(2*math.Pi)
	half := func(low, high float64) float64 { return (high - low) / (2 * 1.96) }
	share := func(own, part, other, otherPart, about float64) float64 { // of the swing
		a := own*own + part*part*about*about/4
		return a / (a + other*other + otherPart*otherPart*about*about/4 + 1e-12)
	}
	z := share(half(t.low, t.high), modelOff, s.ZetaSD, aloneOff, t.zeta)
	f := share(half(t.hzLow, t.hzHi), hzOff, hzSD, swingHzOff, t.hz)
	t.low, t.high = min(t.low, s.Zeta-1.96*s.ZetaSD), max(t.high, s.Zeta+1.96*s.ZetaSD)
	t.hzLow, t.hzHi = min(t.hzLow, hz-1.96*hzSD), max(t.hzHi, hz+1.96*hzSD)
	t.zeta, t.hz = t.zeta+z*(s.Zeta-t.zeta), t.hz+f*(hz-t.hz)
	return t
}

// safe says that every draw is stable with these gains, and still when late by three times what
// they are: a margin of twice the delay.
func (u tuned) safe(c gains) bool {
	for _, p := range u.draws {
		l := p.law.with(c)
		if !p.rig.closeLoop(l).stable {
			return false
		}
		l.late = 3*l.late + 2*p.rig.lag
		if !p.rig.closeLoop(l).stable {
			return false
		}
	}
	return true
}

func middle95(x []float64) (median, low, high float64) {
	return stat.Median(x), stat.Quantile(0.025, x), stat.Quantile(0.975, x)
}

// changes are what may be advised of gains, the gentlest first. A rate term needs a rate that the
// loop can be seen to have.
func changes(withRate bool) []gains {
	rates := []float64{0, 0.1, 0.2, 0.4, 0.8}
	if !withRate {
		rates = rates[:1]
	}
	var out []gains
	for _, factor := range [...]float64{1, 0.8, 0.65, 0.5, 0.35} {
		for _, rate := range rates {
			if c := (gains{factor, rate}); c != asTheyAre {
				out = append(out, c)
			}
		}
	}
	return out
}

// change is the one of some changes of gains that brings the damping nearest to the goal; nil
// where none is sure to. All rigs and laws that could have made this log must agree: on damping
// clearly better, on the loop being stable with margin, and nearly on how much. One swing hardly
// tells what a drive does on a slope from what the loop does about it, and these differ in what
// another gain does: often nothing can be advised, and a test run tells more.
func (u tuned) change(a attempt, tr trace, in Input, cfg Config) *schemas.Retune {
	if !u.ok || u.sums || u.best.law.r2 < adviceR2 || u.now.zeta >= cfg.DampedWell {
		return nil
	}
	best, off := tried{}, math.Inf(1)
	for _, c := range changes(in.Rate != nil) {
		if u.tryEach(5, c).zeta < max(u.now.zeta+surelyBetter, worthDamping) {
			continue // at a glance
		}
		t := u.try(c)
		from := math.Abs(t.zeta-cfg.DampingGoal) + gentle*((1-c.factor)+c.rateS)
		if from >= off || t.low < u.now.zeta+surelyBetter || t.low < worthDamping || t.high-t.low > changeWide || !u.safe(c) {
			continue
		}
		best, off = t, from
	}
	if math.IsInf(off, 1) {
		return nil
	}
	out := &schemas.Retune{GainFactor: best.factor, RateS: best.rateS, Damping: best.zeta}
	out.DampingLow, out.DampingHigh = best.low-changeOff*best.zeta, best.high+changeOff*best.zeta
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
	adviceR2     = 0.9  // of the command that must be explained: its changes are limited, else, or it has other reasons
	surelyBetter = 0.05 // of damping, that a change must bring at the low end of its interval
	worthDamping = 0.35 // that a change must reach for sure: with less a loop swings past by a third
	changeWide   = 0.4  // 95 % of the damping beyond which nobody knows what a change does
	gentle       = 0.1  // of damping that is given up for a change smaller by the whole gain, or a second of it
	modelOff     = 0.15 // of a damping, by which straight equations of a crooked world may be off besides
	changeOff    = 0.2  // the same of gains that were not tried
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
	var text string
	switch {
	case r.RateS == 0:
		text = fmt.Sprintf("lower the proportional gain first, to %s of what it is, and leave the rate term", two(r.GainFactor))
	case r.GainFactor == 1:
		text = fmt.Sprintf("leave the proportional gain, and answer the tilt rate by %s s times that gain more than now", two(r.RateS))
	default:
		text = fmt.Sprintf("lower the proportional gain to %s of what it is, and answer the tilt rate by %s s times the new gain more than now", two(r.GainFactor), two(r.RateS))
	}
	text += fmt.Sprintf(": the damping should become about %s (%s to %s) in place of %s",
		two(r.Damping), two(max(0, r.DampingLow)), two(r.DampingHigh), two(now))
	if r.SettleS != nil && r.SettleNowS != nil {
		text += fmt.Sprintf("; the swing should then be level %s s after it begins, by the same model now %s s", two(*r.SettleS), two(*r.SettleNowS))
	}
	return text
}
