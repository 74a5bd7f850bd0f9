package cycles

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// judge says of each complete cycle how likely a usual one takes as long, what it lost, and
// whether that makes it slow. Autonomous and driver cycles are judged apart, each against
// cycles of their own kind in this match and the earlier ones.
func judge(all []cycle, usual schemas.Usual, in Input, cfg Config) {
	for _, period := range []string{schemas.PeriodAutonomous, schemas.PeriodDriver} {
		seen := scoredIn(plain(all), period)
		var earlier []past
		for _, h := range in.History {
			earlier = append(earlier, pastOf(h.Cycles, period, cfg)...)
			seen += scoredIn(h.Cycles, period)
		}
		if seen < cfg.LeastCycles {
			continue // too few to know what is usual
		}
		today := pastOf(plain(all), period, cfg)
		middle := usual.CycleS
		if period == schemas.PeriodAutonomous {
			middle, _, _ = quantiles(reference(earlier, today, cfg))
		}
		if middle == nil {
			continue // most were cut off: half of them last longer than anyone saw
		}
		mine := judged(all, period, cfg)
		chances, unusual := tails(mine, steady(earlier, today), in.Jams, cfg)
		for i, c := range mine {
			excess := c.ownS() - *middle
			c.P, c.ExcessS = schemas.Some(chances[i]), schemas.Some(excess)
			c.Slow = unusual[i] && excess >= max(cfg.LostS, cfg.LostShare**middle)
		}
		for _, c := range mine {
			if c.Slow {
				c.Why = why(c, mine, earlier, in.Jams, cfg)
			}
		}
	}
}

// scoredIn counts the complete scoring cycles of a kind of period, trips or not.
func scoredIn(all []schemas.Cycle, period string) int {
	n := 0
	for _, c := range all {
		if c.Kind == KindScore && c.Period == period && c.Complete {
			n++
		}
	}
	return n
}

// reference is what the usual of a kind of period rests on: earlier matches when they hold
// enough complete cycles, else this one.
func reference(earlier, today []past, cfg Config) []past {
	if complete(earlier) >= cfg.LeastCycles {
		return earlier
	}
	return today
}

// judged are the cycles of a kind of period that can be slow: complete trips.
func judged(all []cycle, period string, cfg Config) []*cycle {
	var out []*cycle
	for i := range all {
		if c := &all[i]; c.Kind == KindScore && c.Period == period && c.Complete && trip(c.Cycle, cfg) {
			out = append(out, c)
		}
	}
	return out
}

// steady are the durations that do not depend on which of today's cycles is judged: all
// earlier ones, and today's cut-off ones. Cycles with a hand-over are no measure of others.
func steady(earlier, today []past) []stat.Lasted {
	var out []stat.Lasted
	for _, p := range earlier {
		if !p.shared {
			out = append(out, stat.Lasted{Time: p.DurationS, Complete: p.Complete})
		}
	}
	for _, p := range today {
		if !p.shared && !p.Complete {
			out = append(out, stat.Lasted{Time: p.DurationS})
		}
	}
	return out
}

// ownS is how long the robot worked on the piece: the cycle, or its part since the last
// hand-over.
func (c *cycle) ownS() float64 { return schemas.Seconds(c.end - c.own) }

// tails is for each of mine the chance that a usual cycle takes as long, and whether that
// makes it unusual by Benjamini and Hochberg: those with a jam in them among themselves, as
// there is reason to expect them slow, the others among themselves. Each is held against a
// law of all others, or it would speak for itself; those with a hand-over or a jam in them
// are in no law. (Taking out the unusual ones and judging again finds a few more of several
// slow cycles and three times as many that are not slow.)
func tails(mine []*cycle, steady []stat.Lasted, jams []schemas.Jam, cfg Config) (chances []float64, unusual []bool) {
	jammed := make([]bool, len(mine))
	for i, c := range mine {
		jammed[i] = covered(c.start, c.end, jams) >= cfg.LostS
	}
	for i, c := range mine {
		others := steady[:len(steady):len(steady)]
		for j, o := range mine {
			if j != i && !jammed[j] && o.own == o.start {
				others = append(others, stat.Lasted{Time: o.DurationS, Complete: true})
			}
		}
		chances = append(chances, chance(c.ownS(), others, cfg))
	}
	unusual = make([]bool, len(mine))
	for _, family := range []bool{true, false} {
		var p []float64
		var which []int
		for i := range mine {
			if jammed[i] == family {
				p, which = append(p, chances[i]), append(which, i)
			}
		}
		for k, adjusted := range stat.BenjaminiHochberg(p) {
			unusual[which[k]] = adjusted <= cfg.FalseShare
		}
	}
	return chances, unusual
}

// chance is the probability that a cycle of the others' lognormal law takes seconds or
// longer. Those far from the middle one are left out of the law: slow ones, lucky ones, and
// ones cut off after a time that is far already, as when a robot stops cycling to balance.
func chance(seconds float64, others []stat.Lasted, cfg Config) float64 {
	var logs []float64
	for _, o := range others {
		if o.Complete {
			logs = append(logs, math.Log(o.Time))
		}
	}
	if len(logs) < 2 || seconds <= 0 {
		return 1
	}
	middle := stat.Median(logs)
	reach := cfg.FarSigmas * max(stat.MADToSigma*stat.MAD(logs), cfg.LeastSpread)
	least, most := math.Exp(middle-reach), math.Exp(middle+reach)
	var body []stat.Lasted
	for _, o := range others {
		if o.Time <= most && (o.Time >= least || !o.Complete) {
			body = append(body, o)
		}
	}
	law, ok := stat.FitLognormal(body)
	if !ok { // all alike, or too few to differ: as good as no spread of their own
		const none = 0.01
		n := float64(len(logs))
		law = stat.Lognormal{Mu: middle, Sigma: none, MuSE: none / math.Sqrt(n), Events: len(logs)}
	}
	return law.Tail(seconds, stat.Spread{Sigma: cfg.UsualSigma, Weight: cfg.UsualWeight})
}

// why is what cost a slow cycle its time: a jam that covers the bigger part of the loss, else
// the phase that lost most among those outside their own usual 80 %; nil when neither tells.
func why(c *cycle, mine []*cycle, earlier []past, jams []schemas.Jam, cfg Config) *string {
	if covered(c.start, c.end, jams) > cfg.JamShare**c.ExcessS {
		return text(WhyJam)
	}
	usual := earlier[:len(earlier):len(earlier)]
	if complete(earlier) < cfg.LeastCycles {
		for _, o := range mine {
			if o != c && !o.Slow {
				usual = append(usual, past{Cycle: o.Cycle})
			}
		}
	}
	var worst *string
	most := 0.0
	for _, name := range phaseNames {
		took, others := *name.of(&c.Phases), phaseTimes(usual, name)
		if took == nil || len(others) < 3 {
			continue // not known, or nothing to hold it against
		}
		if lost := *took - stat.Median(others); *took > stat.Quantile(0.9, others) && lost > most {
			worst, most = text(name.why), lost
		}
	}
	return worst
}

func text(s string) *string { return &s }

// covered is how many seconds between start and end, µs, some jam lasted.
func covered(start, end int64, jams []schemas.Jam) float64 {
	sum, until := int64(0), start
	jams = slices.Clone(jams)
	slices.SortStableFunc(jams, func(a, b schemas.Jam) int { return cmp.Compare(a.StartS, b.StartS) })
	for _, j := range jams {
		from, to := max(until, schemas.Micros(j.StartS)), min(end, schemas.Micros(j.EndS))
		if to > from {
			sum += to - from
			until = to
		}
	}
	return schemas.Seconds(sum)
}
