package balance

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// report says one attempt in the report's words. wasOn says that the robot stood level on the
// platform before it.
func report(tr trace, a attempt, in Input, cfg Config, wasOn bool) schemas.Balance {
	b := schemas.Balance{
		StartS: seconds(a.startT), EndS: seconds(a.endT), Outcome: a.outcome,
		Overshoots: len(a.overshoots()), Swings: []schemas.Swing{}, Period: periodAt(in.Periods, seconds(a.startT)),
	}
	for i := a.start; i < len(tr.t) && tr.t[i] <= a.endT; i++ {
		b.PeakDeg = max(b.PeakDeg, math.Abs(tr.logged(i)))
	}
	for _, i := range a.overshoots() {
		b.Swings = append(b.Swings, schemas.Swing{AtS: seconds(tr.sampleAt(tr.t[i])), Tilt: tr.logged(i)})
	}
	if a.outcome == schemas.BalanceLevel {
		b.SettleS = schemas.Some(seconds(a.entryT - a.startT))
		b.SettleLowS, b.SettleHighS = settleRange(tr, a, in, cfg)
	}
	b.ClimbS, b.ApproachMS = approach(tr, a, in, cfg)

	lp, h := lookAtLoop(tr, a, in, cfg)
	t0, t1 := a.levelled(tr, in)
	free, end := lp.limits.free(tr, a, in, t0, t1)
	short := seconds(end-free) < freeLeastS
	if short {
		free = t0
	}
	bound, sw := false, swing.Fit{}
	switch {
	case a.even(tr) && lp.limits.share > limitRules && (lp.limits.relay || lp.limits.ramp > 0 || short):
		sw.Kind = swing.Steady
	case a.constant(tr) && a.betweenStops(tr):
		bound = true
	default:
		sw = weigh(lookAtSwing(tr, a, free, in, cfg), lp, a, tr)
	}
	u := tuned{}
	if len(a.overshoots()) > 0 || sw.Kind == swing.Damped || lp.ok {
		u = tune(tr, a, free, h, lp, in, cfg)
	}
	held := lp.limits.share > limitRules || lp.limits.ramp > 0
	tellDamping(&b, &sw, u, held, max(tr.noise, cfg.NoiseFloorDeg))
	hand := a.byHand(tr, in, u, lp)
	lp.noRate = lp.noRate && !hand // a person has no gains
	b.Diagnosis = diagnosis(sw, lp, a, bound, cfg)
	b.DisturbedAtS = disturbed(tr, a, in, cfg, u, wasOn)
	if sw.Kind != swing.Steady && b.DisturbedAtS == nil && lp.limits.ramp == 0 && !(sw.Kind == swing.Damped && sw.Zeta >= cfg.DampedWell) {
		b.Retune = u.change(a, tr, in, cfg)
	}
	b.Advice = advice(sw, a, b.Retune, cfg)
	if hand {
		tellHand(&b, a, tr, in, cfg, u)
	}
	return b
}

// tellDamping takes damping and frequency from the equations of platform and loop where these
// describe the tilt, else from the swing alone, which takes a robot's creeping to its place, a
// command at its limit and friction for part of it: where that leaves more than noise, only an interval
// is told. What is kept swinging has no damping, unless platform and loop describe it as one that hardly
// dies and no limit held the command: then neither friction nor slack is needed for it.
func tellDamping(b *schemas.Balance, sw *swing.Fit, u tuned, held bool, noise float64) {
	if sw.Kind == swing.Damped {
		b.Model = modelOf(*sw)
	}
	switch {
	case sw.Kind == swing.Steady && (held || !u.ok || u.sums || math.Abs(u.now.zeta) > hardlyDamped):
		return
	case sw.Kind == swing.Direct && b.Overshoots == 0:
		return
	case u.ok && !u.sums && !math.IsNaN(u.now.hz) && !(sw.Kind == swing.Damped && sw.RMS < 0.8*u.off):
		if sw.Kind != swing.Damped && u.now.zeta > 0.95 {
			return
		}
		now := u.now
		if u.run.way == nil && sw.Kind == swing.Damped && sw.RMS < max(1.1*u.off, 1.2*noise, 0.01*sw.Amplitude()) {
			now = now.and(*sw) // both leave next to nothing
		}
		sw.Kind, sw.Zeta, sw.Wn = swing.Damped, now.zeta, 2*math.Pi*now.hz
		sw.ZetaSD = (now.high - now.low) / (2 * 1.96)
		off := modelOff*math.Abs(now.zeta) + 0.01
		b.DampingLow, b.DampingHigh = schemas.Some(now.low-off), schemas.Some(now.high+off)
		b.NaturalHzLow, b.NaturalHzHigh = schemas.Some(now.hzLow*(1-hzOff)), schemas.Some(now.hzHi*(1+hzOff))
	case sw.Kind == swing.Damped:
		alone := swingOff
		if sw.RMS <= max(1.2*noise, 0.01*sw.Amplitude()) {
			alone = aloneOff
		}
		off := 1.96*sw.ZetaSD + alone*math.Abs(sw.Zeta) + 0.02
		b.DampingLow, b.DampingHigh = schemas.Some(sw.Zeta-off), schemas.Some(sw.Zeta+off)
		wide := 1.96*sw.WnSD/sw.Wn + swingHzOff
		b.NaturalHzLow, b.NaturalHzHigh = schemas.Some(sw.NaturalHz()*max(0, 1-wide)), schemas.Some(sw.NaturalHz()*(1+wide))
		if alone == swingOff { // its interval is all that can be said
			b.NaturalHz = schemas.Some(sw.NaturalHz())
			return
		}
	default:
		return
	}
	b.DampingRatio, b.NaturalHz = schemas.Some(sw.Zeta), schemas.Some(sw.NaturalHz())
}

// By how much, as a part of them, a frequency told by platform and loop may be off besides, and
// damping and frequency of a swing alone: it is seldom all there is in a tilt.
const (
	hzOff      = 0.07
	swingOff   = 0.4
	aloneOff   = 0.2 // the same of a swing that leaves no more than noise
	swingHzOff = 0.12
)

// settleRange is how early and how late the attempt may have come to its hold, as the band
// would be wider or narrower by 1.96 standard errors of the tilt; high is nil where a
// narrower band is never held.
func settleRange(tr trace, a attempt, in Input, cfg Config) (low, high *float64) {
	off := 1.96 * stat.Median(tr.sd[a.start:min(a.end+1, len(tr.sd))])
	settled := seconds(a.entryT - a.startT)
	step := seconds(series.Step(tr.samples)) // both ends lie on samples
	if off == 0 {
		return schemas.Some(max(0, settled-step)), schemas.Some(settled + step)
	}
	off = math.Hypot(off, cfg.ZeroMinDeg) // a zero so far off is left uncorrected
	if tr.zero != nil {
		off = math.Hypot(off, 1.96*tr.zeroSD[a.entry])
	}
	within := func(edge float64) *float64 {
		b := attempt{start: a.start, first: a.first, from: []int{a.start}, peaks: []int{a.start}, entry: -1}
		b.follow(tr, tr.sides(edge, cfg), int64(math.Round(in.HoldS*1e6)), a.limit, edge)
		if b.entry < 0 {
			return nil
		}
		return schemas.Some(seconds(b.entryT - a.startT))
	}
	low = within(in.LevelDeg + off)
	if in.LevelDeg > off {
		high = within(in.LevelDeg - off)
	}
	if low == nil || *low > settled {
		low = schemas.Some(settled)
	}
	if high != nil {
		high = schemas.Some(max(*high, settled) + step)
	}
	return schemas.Some(max(0, *low-step)), high
}
