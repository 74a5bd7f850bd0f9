package cycles

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// judge says of each complete trip how likely a usual one takes as long, what it lost, how
// sure that is, and whether it makes it slow. Autonomous and driver cycles are judged apart,
// each against cycles of their own kind in this match and the earlier ones.
func judge(all []cycle, in Input, topMS float64, cfg Config) (notes []string) {
	for _, period := range []string{schemas.PeriodAutonomous, schemas.PeriodDriver} {
		seen := scoredIn(plain(all), period)
		for _, h := range in.History {
			seen += scoredIn(h.Cycles, period)
		}
		if seen < cfg.LeastCycles {
			continue // too few to know what is usual
		}
		if n := judgePeriod(all, in, period, topMS, cfg); n != "" {
			notes = append(notes, n)
		}
	}
	return notes
}

func judgePeriod(all []cycle, in Input, period string, topMS float64, cfg Config) (note string) {
	went := judged(all, period, cfg)
	mine := slices.Concat(went, atGoal(all, period, cfg))
	var earlier []past
	var byMatch [][]past
	for _, h := range in.History {
		p := pastOf(h.Cycles, period, cfg)
		byMatch, earlier = append(byMatch, p), append(earlier, p...)
	}
	kind := kindsOf(went, earlier, topMS, cfg)
	if !slices.ContainsFunc(went, func(c *cycle) bool { return c.sight != nil }) && complete(earlier) < cfg.LeastCycles {
		lostByTime(went, kind, cfg)
	}
	today := pastOf(single(all, cfg), period, cfg)
	scaled(today, kind)
	scaled(earlier, kind)
	var before [][]stat.Lasted
	for _, p := range byMatch {
		scaled(p, kind)
		before = append(before, lasted(p))
	}
	middle, ok := middleOf(today, earlier, before, cfg)
	if !ok {
		return "" // most were cut off: half of them last longer than anyone saw
	}
	laws := lawsOf(all, mine, went, period, kind, before, in.Jams, cfg)
	phaseChances(mine, went, byMatch, cfg)
	sure := make([]float64, len(mine))
	for i, c := range mine {
		if laws[i] == nil {
			continue
		}
		usual := middle * kind.scale(c.Cycle)
		mild, slow := cfg.bounds(usual)
		excess := c.ownS() - usual
		c.P, c.ExcessS = schemas.Some(laws[i].tail(c.ownS())), schemas.Some(excess)
		sure[i] = belief(c.ownS(), usual, mild, slow, laws[i], c.sight, c.jamS, cfg)
		c.reason = weigh(c.ownS(), usual, mild, slow, laws[i], c.sight, c.timed, c.jamS, sure[i], cfg)
		c.Confidence = schemas.Some(sure[i])
		if excess < cfg.Least(usual) {
			sure[i] = 0 // lost, and made good for: not worth a look
		}
	}
	for i, slow := range believed(sure, cfg) {
		mine[i].Slow = slow
	}
	for _, c := range mine {
		if c.Slow {
			c.Why = why(c, went, earlier, cfg)
		}
	}
	return kind.note(period)
}

// scaled gives each cycle the scale of its kind.
func scaled(all []past, kind kinds) {
	for i := range all {
		all[i].scale = kind.scale(all[i].Cycle)
	}
}

// bounds are the seconds under which a loss is nothing and from which on it makes a cycle slow.
func (c Config) bounds(usual float64) (mild, slow float64) {
	return c.MildShare * usual, max(c.LostS, c.LostShare*usual)
}

// Least is how many seconds over the usual a cycle takes at least to be called slow.
func (c Config) Least(usual float64) float64 {
	mild, slow := c.bounds(usual)
	return math.Sqrt(mild * slow)
}

// middleOf is the usual cycle that today is held against: the median of today's and that of
// earlier matches, weighed as the law weighs them.
func middleOf(today, earlier []past, before [][]stat.Lasted, cfg Config) (float64, bool) {
	if complete(earlier) < cfg.LeastCycles {
		m, _, _ := quantiles(today)
		if m == nil {
			return 0, false
		}
		return *m, true
	}
	old, _, _ := quantiles(earlier)
	if old == nil {
		return 0, false
	}
	own, _, _ := quantiles(today)
	if own == nil || complete(today) < 3 {
		return *old, true
	}
	share := ownShare(lasted(today), before, cfg)
	return math.Exp(share*math.Log(*own) + (1-share)*math.Log(*old)), true
}

// scoredIn counts the complete scoring cycles of a kind of period, trips or not.
func scoredIn(all []schemas.Cycle, period string) int {
	n := 0
	for _, c := range all {
		if c.Kind == schemas.CycleScore && c.Period == period && c.Complete {
			n++
		}
	}
	return n
}

// judged are the cycles of a kind of period that can be slow: complete trips that began when
// the robot was driven.
func judged(all []cycle, period string, cfg Config) []*cycle {
	var out []*cycle
	for i := range all {
		if c := &all[i]; c.Kind == schemas.CycleScore && c.Period == period && c.Complete && c.isTrip(cfg) && !c.whole {
			out = append(out, c)
		}
	}
	return out
}

// atGoal are the cycles without a trip that can be slow: the piece was aboard, and yet it took
// longer than pieces that come together do.
func atGoal(all []cycle, period string, cfg Config) []*cycle {
	var out []*cycle
	for i := range all {
		if c := &all[i]; c.Kind == schemas.CycleScore && c.Period == period && c.Complete && !c.isTrip(cfg) && c.trips <= 1 && c.DurationS > cfg.VolleyS && !c.whole {
			out = append(out, c)
		}
	}
	return out
}

// single are the trips as they would have been with one piece that was counted in time.
func single(all []cycle, cfg Config) []schemas.Cycle {
	all = slices.Clone(all)
	for i := range all {
		all[i].DurationS -= all[i].more.usualS + all[i].lateS
	}
	return trips(all, cfg)
}

// ownS is how long the robot worked on the piece: the cycle, or its part since the last
// hand-over, without what it takes to fetch more than one and what the counter was late.
func (c *cycle) ownS() float64 { return schemas.Seconds(c.done()-c.own) - c.more.usualS }

// lawsOf is for each of mine the law of all others, or it would speak for itself, without
// what they were seen to lose. A cycle with a hand-over in it is in no law, nor is one with a
// jam of which nobody saw what it cost. nil where there is nothing to hold a cycle against.
func lawsOf(all []cycle, mine, trips []*cycle, period string, kind kinds, before [][]stat.Lasted, jams []schemas.Jam, cfg Config) []*law {
	var cutOff []stat.Lasted
	for i := range all {
		if c := &all[i]; c.Kind == schemas.CycleScore && c.Period == period && !c.Complete && c.own == c.start && c.DurationS > 0 {
			cutOff = append(cutOff, stat.Lasted{Time: c.DurationS})
		}
	}
	out := make([]*law, len(mine))
	for i := range mine {
		others := cutOff[:len(cutOff):len(cutOff)]
		for _, o := range trips {
			if o != mine[i] && o.own == o.start && (o.LostS != nil || covered(o.start, o.end, jams) < cfg.JamS) {
				others = append(others, stat.Lasted{Time: (o.freeS() - o.more.usualS - o.lateS) / kind.scale(o.Cycle), Complete: true})
			}
		}
		if l, ok := lawOf(others, before, cfg); ok {
			l.mu += math.Log(kind.scale(mine[i].Cycle))
			out[i] = &l
		}
	}
	return out
}

// free is how long a cycle would have lasted without what it was seen to lose, and never
// less than half: nobody works faster for it.
func free(c schemas.Cycle) float64 {
	if c.LostS == nil {
		return c.DurationS
	}
	return max(c.DurationS/2, c.DurationS-max(0, *c.LostS))
}

// why is what cost a slow cycle its time: a jam when it took the bigger part of the loss, and more than
// any phase lost besides; else
// the phase that lost most of what the phases lost together, if that is a second, the
// biggest part by far enough (BlameShare) and more than that phase usually takes now and then (BlameP); nil when none is, or when a piece was placed that did
// not count, for which no phase is to blame.
func why(c *cycle, mine []*cycle, earlier []past, cfg Config) *string {
	var worst *string
	most, all, besides := 0.0, 0.0, 0.0
	for _, name := range phaseNames {
		took, offS := *name.of(&c.Phases), 0.0
		if took == nil {
			took, offS = *name.of(&c.about), c.offS
		}
		usual, ok := usualPhase(name, c, mine, earlier, cfg)
		if took == nil || !ok {
			continue // not known, or nothing to hold it against
		}
		lost := *took - usual - offS
		if name.why == WhyPlace {
			lost -= c.lateS
		}
		all += max(0, lost)
		if p := *name.chance(&c.PhaseP); p != nil && *p > cfg.BlameP {
			continue // a usual one takes as long
		}
		if from, to, ok := c.span(name.why); ok {
			besides = max(besides, lost-covered(from, to, c.jams))
		}
		if lost > most {
			worst, most = text(name.why), lost
		}
	}
	switch {
	case c.jamS > cfg.JamShare**c.ExcessS && c.jamS >= besides:
		return text(WhyJam)
	case c.uncounted > 0, most < cfg.BlameS, most < cfg.BlameShare*max(all, *c.ExcessS):
		return nil
	}
	return worst
}

// usualPhase is what a phase usually takes: the median of the earlier matches where they hold
// enough, else of this match's other trips, below the middle as for a leg.
func usualPhase(name phaseName, c *cycle, mine []*cycle, earlier []past, cfg Config) (float64, bool) {
	var others []past
	for _, o := range mine {
		if o != c {
			others = append(others, past{Cycle: o.Cycle})
		}
	}
	here, before := phaseTimes(others, name), phaseTimes(earlier, name)
	switch {
	case len(here) >= cfg.LeastLegs:
		return stat.Quantile(cfg.UsualLeg, here), true
	case len(before) >= cfg.LeastLegs:
		return stat.Median(before), true
	}
	return 0, false
}

func text(s string) *string { return &s }
