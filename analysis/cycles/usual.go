package cycles

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// past is a scoring cycle that a usual may rest on.
type past struct {
	schemas.Cycle
	shared bool    // the robot handed a piece over in it
	scale  float64 // how many times the middle trip of today one of its way takes
}

// pastOf are the scoring cycles of one kind of period, trips only.
func pastOf(all []schemas.Cycle, period string, cfg Config) []past {
	var out []past
	for _, c := range all {
		if c.Kind != schemas.CycleScore || c.Period != period || !trip(c, cfg) || !(c.DurationS > 0) {
			continue
		}
		p := past{Cycle: c, scale: 1}
		for _, h := range all {
			if h.Kind == schemas.CycleHandover && c.StartS < h.EndS && h.EndS <= c.EndS {
				p.shared = true
			}
		}
		out = append(out, p)
	}
	return out
}

// lasted are the durations a law may rest on, without what was seen to be lost.
func lasted(all []past) []stat.Lasted {
	var out []stat.Lasted
	for _, p := range all {
		if !p.shared {
			out = append(out, stat.Lasted{Time: free(p.Cycle) / p.scale, Complete: p.Complete})
		}
	}
	return out
}

func complete(all []past) int {
	n := 0
	for _, p := range all {
		if p.Complete {
			n++
		}
	}
	return n
}

func plain(all []cycle) []schemas.Cycle {
	out := make([]schemas.Cycle, len(all))
	for i, c := range all {
		out[i] = c.Cycle
	}
	return out
}

// trips are the cycles without those that took no trip, or several, as long as they would have lasted
// without what they were seen to lose.
func trips(all []cycle, cfg Config) []schemas.Cycle {
	var out []schemas.Cycle
	for _, c := range all {
		if c.Kind != schemas.CycleScore || !c.Complete || c.isTrip(cfg) {
			c.DurationS, c.LostS = c.freeS(), nil
			out = append(out, c.Cycle)
		}
	}
	return out
}

// usualOf is the usual cycle of the driver period: of the earlier matches when they hold
// enough complete ones, else of this match.
func usualOf(all []cycle, history []History, cfg Config) schemas.Usual {
	u := schemas.Usual{Source: SourceThisMatch}
	rest := pastOf(trips(all, cfg), schemas.PeriodDriver, cfg)
	var earlier []past
	var matches []string
	for _, h := range history {
		if p := pastOf(h.Cycles, schemas.PeriodDriver, cfg); len(p) > 0 {
			earlier = append(earlier, p...)
			matches = append(matches, h.Match)
		}
	}
	if complete(earlier) >= cfg.LeastCycles {
		u.Source, u.Matches, rest = SourceMatches, matches, earlier
	}
	u.Cycles = complete(rest)
	u.CycleS, u.LowS, u.HighS = quantiles(rest)
	for _, p := range phaseNames {
		*p.of(&u.Phases) = schemas.Some(stat.Median(phaseTimes(rest, p)))
	}
	return u
}

// quantiles are the median, 10 % and 90 % of durations by the Kaplan-Meier curve, in which
// a cycle cut off by the clock counts for as long as it was seen; nil where the curve does
// not come that far.
func quantiles(all []past) (median, low, high *float64) {
	var d []stat.Lasted
	for _, p := range all {
		d = append(d, stat.Lasted{Time: free(p.Cycle) / p.scale, Complete: p.Complete})
	}
	curve := stat.KaplanMeier(d)
	return schemas.Some(curve.Quantile(0.5)), schemas.Some(curve.Quantile(0.1)), schemas.Some(curve.Quantile(0.9))
}

// phaseName is one phase and where it stands.
type phaseName struct {
	why    string
	of     func(*schemas.Phases) **float64
	chance func(*schemas.PhaseChances) **float64
}

var phaseNames = [...]phaseName{
	{WhyReturn, func(p *schemas.Phases) **float64 { return &p.ReturnS }, func(p *schemas.PhaseChances) **float64 { return &p.Return }},
	{WhyCollect, func(p *schemas.Phases) **float64 { return &p.CollectS }, func(p *schemas.PhaseChances) **float64 { return &p.Collect }},
	{WhyCarry, func(p *schemas.Phases) **float64 { return &p.CarryS }, func(p *schemas.PhaseChances) **float64 { return &p.Carry }},
	{WhyPlace, func(p *schemas.Phases) **float64 { return &p.PlaceS }, func(p *schemas.PhaseChances) **float64 { return &p.Place }},
}

func phaseTimes(all []past, name phaseName) []float64 {
	var out []float64
	for _, p := range all {
		if v := *name.of(&p.Phases); v != nil && p.Complete && !math.IsNaN(*v) {
			out = append(out, *v)
		}
	}
	return out
}
