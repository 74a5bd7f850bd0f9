package balance

import (
	"cmp"
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
	fits  bool      // the likeliest rig describes the tilt
	odd   bool      // it came to rest, under a loop that most rigs say would not
	sums  bool      // and nothing of other gains: the loop also answers for how long it has been tilted
	draws []pairing // each with a law dealt by its weight
	best  pairing
	now   tried   // as the gains are
	limit float64 // largest command seen

	lead    float64 // s, of the law with a rate term that explains the command best, where that is told to have none
	remnant float64 // of full command, RMS, that wanders beside the law
	off     float64 // deg RMS of the best rig from the tilt
	run     *run
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
	t0, t1 := freeStretch(tr, a, in)
	if seconds(t1-free) >= runFreeS {
		t0 = max(t0, free) // behind the command's limit
	}
	u := tuneOver(tr, a, t0, t1, h, lp, in, cfg)
	if len(u.draws) == 0 || u.fits || a.outcome != schemas.BalanceLevel {
		return u
	}
	// What holds it once it is level, a detent or friction, leaves the swings before to platform and loop.
	if swings := tuneOver(tr, a, t0, tr.t[a.entry], h, lp, in, cfg); swings.fits {
		return swings
	}
	return u
}

// tuneOver fits them to the stretch between two times.
func tuneOver(tr trace, a attempt, t0, t1 int64, h heard, lp loop, in Input, cfg Config) tuned {
	if in.Drive == nil {
		return tuned{}
	}
	laws := lawsOf(h, lp, tr, t0, t1, in, cfg)
	sign := 1.0
	if len(laws) > 0 {
		sign = math.Copysign(1, laws[0].gain)
	}
	r, ok := newRun(tr, t0, t1, in, cfg, sign)
	if !ok {
		return tuned{}
	}
	best, rigs := r.likely(max(tr.noise, cfg.NoiseFloorDeg))
	if len(rigs) == 0 {
		return tuned{}
	}
	u := tuned{lead: lp.law.lead, remnant: lp.remnant, best: pairing{rig: best}, off: math.Sqrt(best.rss / float64(len(r.tilt))), run: r}
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
	u.atRest(a)
	if u.fits = u.off <= max(1.5*tr.noise, cfg.PlantShare*a.peak(tr)); !u.fits || laws[0].quiet > quietMost {
		return u
	}
	u.sums = laws[0].sums && laws[0].again == 0
	u.now = u.try(asTheyAre)
	u.ok = u.now.high-u.now.low <= widestZeta
	return u
}

// atRest leaves out the draws under which the loop would not have come to rest, of an attempt that did;
// where that is most of them, rigs and log are at odds.
func (u *tuned) atRest(a attempt) {
	if a.outcome != schemas.BalanceLevel {
		return
	}
	var rest []pairing
	for _, p := range u.draws {
		if p.rig.closeLoop(p.law).stable {
			rest = append(rest, p)
		}
	}
	if u.odd = 2*len(rest) < len(u.draws); !u.odd {
		u.draws = rest
	}
}

// likely are the rigs of the likelier kind, of both where neither is ruled out. That the command
// of a drivetrain is a speed is believed unless the log is clear that it is not.
func (r *run) likely(noise float64) (best rig, draws []rig) {
	r.force = false
	best, draws = r.rigs(rigDraws)
	if len(draws) > 0 && math.Sqrt(best.rss/float64(len(r.tilt))) < 1.15*noise {
		return best, draws // what is left is noise: nothing describes it clearly better
	}
	if r.way != nil {
		return best, draws // seen to be a speed
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

// freeStretch is from the last time the platform lay at a stop, or else from when it tipped, to
// where it was levelled last. Of a swing that comes to the
// stops again and again, where that leaves next to nothing, it is the longest way between them.
func freeStretch(tr trace, a attempt, in Input) (t0, t1 int64) {
	stop := a.stop(tr)
	end := a.through(tr, in)
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

// stop is the tilt beyond which the platform lies at a stop, deg: near that at which it lay before it
// tipped. It is infinite where a swing came to be larger than that first tilt.
func (a attempt) stop(tr trace) float64 {
	if math.Abs(tr.v[a.peaks[0]]) < stopShare*a.peak(tr) {
		return math.Inf(1)
	}
	return stopShare * a.lay(tr)
}

const stopShare = 0.96 // of the tilt at a stop: it lies there

// lay is the tilt at which the platform lay before it tipped, deg, as most of the first tilt has it:
// a robot that stops on its way up rocks beyond.
func (a attempt) lay(tr trace) float64 {
	peak := math.Abs(tr.v[a.peaks[0]])
	var far []float64
	for i := a.start; i < len(tr.v) && (len(a.from) < 2 || i < a.from[1]); i++ {
		if v := math.Abs(tr.v[i]); v >= 0.9*peak {
			far = append(far, v)
		}
		if i > a.peaks[0] && tr.v[i]*float64(a.first) <= 0 {
			break
		}
	}
	return stat.Median(far)
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

func (u tuned) try(c gains) tried { return u.tryEach(1, c) }

// tryEach tries gains on every nth of the draws.
func (u tuned) tryEach(nth int, c gains) tried {
	out := tried{gains: c}
	var zetas, hz []float64
	for i := 0; i < len(u.draws); i += nth {
		now := u.draws[i].rig.closeLoop(u.draws[i].law.with(c))
		zetas, hz = append(zetas, now.zeta), append(hz, now.wn/(2*math.Pi))
	}
	zetas, hz = sameSwing(zetas, hz)
	out.zeta, out.low, out.high = middle95(zetas)
	out.hz, out.hzLow, out.hzHi = middle95(hz)
	return out
}

// sameSwing leaves out the few pairs of poles of another frequency than most: of two that make about as
// much of the tilt, some draws have the other. Frequencies that are none, of a pair that does not swing,
// are left out of hz.
func sameSwing(zetas, hz []float64) (z, f []float64) {
	usual := stat.Median(hz)
	for i, v := range hz {
		if math.Abs(math.Log(v/usual)) < otherSwing {
			z, f = append(z, zetas[i]), append(f, v)
		}
	}
	if float64(len(z)) >= mostOf*float64(len(zetas)) {
		return z, f
	}
	return zetas, slices.DeleteFunc(hz, func(v float64) bool { return math.IsInf(v, 1) })
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

// safe says that every draw is stable with these gains, and nearly every one still when late by three
// times what they are, a margin of twice the delay, and as late as loops usually are: a command that is
// rounded or noisy hides some hundredths of a second.
func (u tuned) safe(c gains) bool {
	short := 0
	for _, p := range u.draws {
		l := p.law.with(c)
		if !p.rig.closeLoop(l).stable {
			return false
		}
		l.late = max(3*l.late+2*p.rig.lag, usualLate)
		if !p.rig.closeLoop(l).stable {
			short++
		}
	}
	return float64(short) <= shortOfMargin*float64(len(u.draws))
}

// better is how many of the draws, as a part of them, each of which could be the robot, damp better
// with these gains than as they are, by surelyBetter at the least.
func (u tuned) better(c gains) float64 {
	n := 0.0
	for _, p := range u.draws {
		if p.rig.closeLoop(p.law.with(c)).zeta > p.rig.closeLoop(p.law).zeta+surelyBetter {
			n++
		}
	}
	return n / float64(len(u.draws))
}

func middle95(x []float64) (median, low, high float64) {
	return stat.Median(x), stat.Quantile(0.025, x), stat.Quantile(0.975, x)
}

// changes are what may be advised of gains. A rate term needs a rate that the loop can be seen to
// have; one that it has may be lowered, for a robot whose command is a speed answers the rate as a
// spring does, and is damped by the platform alone. Loops that level well answer the rate by up to about a
// second of their proportional gain (common practice).
func changes(withRate, hasRate bool) []gains {
	var out []gains
	for _, factor := range [...]float64{1, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3} {
		if factor < 1 {
			out = append(out, gains{factor, 1, 0})
		}
		if withRate {
			for _, rate := range [...]float64{0.1, 0.2, 0.3, 0.4, 0.6, 0.9} {
				out = append(out, gains{factor, 1, rate})
			}
		}
		if hasRate {
			for _, part := range [...]float64{0.8, 0.65, 0.5, 0.35} {
				out = append(out, gains{factor, part, 0})
			}
		}
	}
	return out
}

// size is how large a change is, as a part of the gains, or in seconds of rate.
func (c gains) size() float64 { return (1 - c.factor) + (1 - c.rateFactor) + c.rateS }

// change is the one of some changes of gains that brings the damping nearest to the goal in the
// middle of all rigs and laws that could have made this log; nil where none is sure to help. With it
// all of them must be stable, nearly all with margin, and nearly each damped better than it is.
func (u tuned) change(a attempt, tr trace, in Input, cfg Config) *schemas.Retune {
	if len(u.draws) == 0 || u.odd || !u.lawful() || u.best.law.quiet > quietMost ||
		u.off > max(1.5*tr.noise, adviceOff*a.peak(tr)) {
		return nil
	}
	now := u.try(asTheyAre)
	if now.zeta >= cfg.DampedWell || straight(a) && float64(len(u.run.tilt))*u.run.step < straightLeastS {
		return nil
	}
	type glance struct {
		gains
		off float64
	}
	var all []glance
	off := func(t tried) float64 {
		return math.Abs(t.zeta-cfg.DampingGoal) + gentle*t.size() + doubtful*max(0, middling-t.low)
	}
	for _, c := range changes(in.Rate != nil && !straight(a), u.best.law.lead > cfg.NoRateS) {
		if c.rateS > 0 && u.best.law.with(c).rateGain() > rateGainMost {
			continue
		}
		if t := u.tryEach(glanceEach, c); t.zeta > now.zeta+surelyBetter {
			all = append(all, glance{c, off(t)})
		}
	}
	slices.SortStableFunc(all, func(a, b glance) int { return cmp.Compare(a.off, b.off) })
	lean, over := a.leaning(tr, in)
	later := laterMost
	if straight(a) {
		later = asSoon // what comes straight to level gains nothing else by it
	}
	best, way, least := tried{}, ascent{}, math.Inf(1)
	for _, c := range all[:min(len(all), lookedAt)] {
		t, up := u.try(c.gains), ascent{lean: lean, over: over}
		score := off(t)
		if u.climbMore(u.best, c.gains, up) > climbMost {
			up.asNow, score = true, score+twoLoops
		}
		if score >= least || t.zeta < now.zeta+worthChange || t.zeta < worthDamping || t.low < leastDamping ||
			u.better(c.gains) < nearlyAll || !u.safe(c.gains) {
			continue
		}
		if u.soonEnough(c.gains, up, later, seconds(a.limit-a.startT)-in.HoldS, in.LevelDeg) >= mostOf {
			best, way, least = t, up, score // else damped, and level much later, if at all
		}
	}
	if math.IsInf(least, 1) {
		return nil
	}
	g, l := u.best.rig, u.best.law
	return &schemas.Retune{
		GainFactor: best.factor, RateFactor: best.rateFactor, RateS: best.rateS, FromTip: way.asNow,
		DampingNow: now.zeta, Damping: best.zeta,
		DampingLow: best.low - changeOff*best.zeta, DampingHigh: best.high + changeOff*best.zeta,
		SettleNowS: g.settles(l, u.limit, in.LevelDeg), SettleS: g.settles(l.with(best.gains), u.limit, in.LevelDeg),
		MarginS: g.margin(l.with(best.gains)), ClimbMoreS: u.climbMore(u.best, best.gains, way),
	}
}

// ascent is the way up to where the platform tips.
type ascent struct {
	lean  float64 // s that the robot drove up it
	over  float64 // deg
	asNow bool    // it is driven up with the gains as they are, whatever they are from then on
}

// leaning is for how long the platform lay at its stop before it tipped, s, and at what tilt, deg:
// the loop drives the robot up it then.
func (a attempt) leaning(tr trace, in Input) (lean, over float64) {
	top, _ := a.top(tr, in)
	over = math.Abs(tr.v[a.peaks[0]])
	for i := a.start; i < top; i++ {
		if math.Abs(tr.v[i]) >= 0.9*over {
			return seconds(tr.t[top] - tr.t[i]), over
		}
	}
	return 0, over
}

// climbs is how fast a loop drives the robot up the platform that lies at its stop, over deg, by what
// the slope leaves of its command: of full command, nothing where that does not move it. It must still
// climb where it slides more than is told.
func (u tuned) climbs(g rig, l law, over float64) float64 {
	command := min(u.limit, math.Abs(l.gain)*over)
	if command <= g.dead {
		return 0
	}
	return command - max(surelySlides*g.slide*over, slidesAsUsual*over, g.slide*(over+g.roll))
}

// climbMore is how much longer than it took, s, a loop takes up to where the platform tips with
// other gains, infinite where it never comes there.
func (u tuned) climbMore(p pairing, c gains, up ascent) float64 {
	was, now := u.climbs(p.rig, p.law, up.over), u.climbs(p.rig, p.law.with(c), up.over)
	switch {
	case up.asNow:
		return 0
	case now <= 0:
		return math.Inf(1)
	case was <= 0:
		return 0
	}
	return up.lean * max(0, was/now-1)
}

// soonEnough is how many of some draws, as a part of them, come level with other gains within later
// times the time that they take now, or within had s where they do not; and, where that is longer than
// now, with time to spare before the bell. None may be left standing just outside of the band of level
// deg. A loop with less gain also takes longer up to where the platform tips, but where it is driven up
// as now.
func (u tuned) soonEnough(c gains, up ascent, later, had, level float64) float64 {
	n, soon := 0.0, 0.0
	for i := 0; i < len(u.draws); i += glanceEach {
		p := u.draws[i]
		n++
		limit := had
		if s := p.rig.settles(p.law, u.limit, level); s != nil {
			now := *s + up.lean
			limit = min(later*now, max(now, beforeTheBell*had))
		}
		if !p.law.with(c).drivesUp(p.rig, besideLevel*level) {
			continue
		}
		if s := p.rig.settles(p.law.with(c), u.limit, level); s != nil && *s+up.lean+u.climbMore(p, c, up) <= limit {
			soon++
		}
	}
	return soon / n
}

// rateGain is what the loop answers a tilt rate of a degree a second by, of full command.
func (l law) rateGain() float64 { return math.Abs(l.gain) * l.lead }

// drivesUp says that a robot that has come to stand at a tilt, deg, is driven up it by the loop, against
// the slope and what it takes to roll.
func (l law) drivesUp(g rig, tilt float64) bool {
	command := math.Abs(l.gain) * tilt
	return command > g.dead && command > g.slide*(tilt+g.roll)
}

// lawful says that the law is all that the command is, but for noise that is another from one run to
// the next. What sums up, wanders beside the law, is later than loops are or answers the rate the wrong
// way round has other reasons, which other gains would not change.
func (u tuned) lawful() bool {
	l := u.best.law
	return !l.sums && l.late <= loopLateMost && min(l.lead, u.lead) > -wrongWay &&
		(l.r2 >= adviceR2 || l.r2 >= noisyR2 && u.remnant*u.remnant <= (1-adviceR2)*l.square)
}

// straight says that an attempt came to level without a swing past it.
func straight(a attempt) bool {
	return a.outcome == schemas.BalanceLevel && len(a.overshoots()) == 0
}

// Of what advice may be given at all: platform and loop must be known.
const (
	adviceR2       = 0.9  // of the command that a law must explain
	noisyR2        = 0.7  // and of one that is noisy besides
	wrongWay       = 0.05 // s of lead, below nothing
	adviceOff      = 0.06 // of the largest tilt, RMS, by which the likeliest rig may be off: what it leaves open, the draws show
	straightLeastS = 2.5  // s of an attempt that swings past nothing, of which less tells little
)

// What a change of gains must bring, in damping.
const (
	surelyBetter = 0.03 // in nearly every draw
	worthChange  = 0.1  // in the middle, to be worth a change
	worthDamping = 0.4  // and what it must reach there: with less a loop swings past by a quarter
	leastDamping = 0.25 // and at the low end
)

// What is given up in damping for one that is surer, or smaller.
const (
	middling = 0.5  // under which a low end counts against it
	doubtful = 0.3  // for a low end better by the whole
	gentle   = 0.1  // for a change smaller by the whole gain, or a second of it
	twoLoops = 0.05 // for one that holds from the beginning of the slope on, and not from the tip
)

// How much later a robot may be level with other gains, and what it must still climb.
const (
	climbMost     = 0.5                               // s of climb that a change may cost: better keep the gains up the slope
	besideLevel   = 1.2                               // of the band, a tilt just outside of which a robot must not be left standing
	asSoon        = 1.1                               // of the time to level as it is, by which a model is off anyhow
	laterMost     = 1.5                               // of the time to level as it is; less swing is worth no more
	beforeTheBell = 0.8                               // of the time that there was
	slidesAsUsual = slidesOff / usualFull * usualLagS // of full command for each degree, of a usual drivetrain that sums nothing up: a swing hardly tells
	surelySlides  = 1.5                               // times what a rig slides
)

// A robot rocks on its wheels a few times a second, by some 5 deg/s when it starts: a loop that answers that
// by twentieths of full command may keep it up (chosen by us).
const rateGainMost = 0.009 // of full command for each deg/s

// How many of the draws must agree, and how many are looked at.
const (
	mostOf        = 0.8
	nearlyAll     = 0.95
	shortOfMargin = 0.05 // may be short of the delay's margin
	glanceEach    = 5    // of them, one is looked at first
	lookedAt      = 12   // changes that are looked at closely
	otherSwing    = 0.5  // of the logarithm of a frequency, by which another swing's differs
)

// By how much, as a part of it, a damping may be off besides: straight equations of a crooked world are.
const (
	modelOff  = 0.15
	changeOff = 0.2 // of gains that were not tried
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
func say(r *schemas.Retune) string {
	var text string
	switch {
	case r.RateFactor < 1 && r.GainFactor < 1:
		text = fmt.Sprintf("lower the proportional gain to %s of what it is, and the rate gain to %s of what it is", two(r.GainFactor), two(r.RateFactor))
	case r.RateFactor < 1:
		text = fmt.Sprintf("leave the proportional gain, and lower the rate gain to %s of what it is", two(r.RateFactor))
	case r.RateS == 0:
		text = fmt.Sprintf("lower the proportional gain first, to %s of what it is, and leave the rate term", two(r.GainFactor))
	case r.GainFactor == 1:
		text = fmt.Sprintf("leave the proportional gain, and answer the tilt rate by %s s times that gain more than now", two(r.RateS))
	default:
		text = fmt.Sprintf("lower the proportional gain to %s of what it is, and answer the tilt rate by %s s times the new gain more than now", two(r.GainFactor), two(r.RateS))
	}
	if r.FromTip {
		text = "from when the platform tips (the tilt has come below nine tenths of its largest on the slope), " + text +
			"; up the slope leave the gains as they are, for with these it would climb slowly or not at all"
	}
	text += fmt.Sprintf(": the damping should become about %s (%s to %s) in place of %s",
		two(r.Damping), two(max(0, r.DampingLow)), two(r.DampingHigh), two(r.DampingNow))
	if r.SettleS != nil && r.SettleNowS != nil {
		text += fmt.Sprintf("; the swing should then be level %s s after it begins, by the same model now %s s", two(*r.SettleS), two(*r.SettleNowS))
	}
	if r.ClimbMoreS >= toldClimbS {
		text += fmt.Sprintf("; up to where the platform tips it should take %s s more than now", two(r.ClimbMoreS))
	}
	return text
}

const toldClimbS = 0.3
