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
		var earlier []past
		for _, h := range in.History {
			earlier = append(earlier, pastOf(h.Cycles, period, cfg)...)
		}
		today := pastOf(plain(all), period, cfg)
		if complete(earlier)+complete(today) < cfg.LeastCycles {
			continue // too few to know what is usual
		}
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

// reference is what the usual of a kind of period rests on: earlier matches when they hold
// enough complete cycles, else this one.
func reference(earlier, today []past, cfg Config) []past {
	if complete(earlier) >= cfg.LeastCycles {
		return earlier
	}
	return today
}

// judged are the cycles of a kind of period that can be slow: complete ones that are no
// volley.
func judged(all []cycle, period string, cfg Config) []*cycle {
	var out []*cycle
	for i := range all {
		if c := &all[i]; c.Kind == KindScore && c.Period == period && c.Complete && !c.volley(cfg) {
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
// makes it unusual by Benjamini and Hochberg among mine. Each is held against a law of all
// others, or it would speak for itself; those with a hand-over or a jam in them are in no
// law. (Taking out the unusual ones and judging again finds a few more of several slow
// cycles and three times as many that are not slow.)
func tails(mine []*cycle, steady []stat.Lasted, jams []schemas.Jam, cfg Config) (chances []float64, unusual []bool) {
	usual := make([]bool, len(mine))
	for i, c := range mine {
		usual[i] = c.own == c.start && covered(c.start, c.end, jams) < cfg.LostS
	}
	for i, c := range mine {
		others := steady[:len(steady):len(steady)]
		for j, o := range mine {
			if j != i && usual[j] {
				others = append(others, stat.Lasted{Time: o.DurationS, Complete: true})
			}
		}
		chances = append(chances, chance(c.ownS(), others, cfg))
	}
	for _, p := range stat.BenjaminiHochberg(chances) {
		unusual = append(unusual, p <= cfg.FalseShare)
	}
	return chances, unusual
}

// chance is the probability that a cycle of the others' lognormal law takes seconds or
// longer. Cycles above the fence count as longer than the fence, whatever they took; far
// shorter ones than usual (two trips in one, a lucky piece) are left out.
func chance(seconds float64, others []stat.Lasted, cfg Config) float64 {
	const farBelow = 3 // robust standard deviations
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
	spread := max(stat.MADToSigma*stat.MAD(logs), cfg.LeastSigma)
	fence, floor := math.Exp(middle+cfg.FenceSigmas*spread), math.Exp(middle-farBelow*spread)
	var body []stat.Lasted
	for _, o := range others {
		if o.Time > fence {
			o = stat.Lasted{Time: fence}
		}
		if o.Time >= floor || !o.Complete {
			body = append(body, o)
		}
	}
	law, ok := stat.FitLognormal(body)
	if !ok {
		law = stat.Lognormal{Mu: middle, Events: len(logs)} // all alike
	}
	law.Sigma = max(law.Sigma, cfg.LeastSigma)
	return law.Tail(seconds)
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
