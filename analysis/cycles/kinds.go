package cycles

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// kinds is how much longer than others some trips of a match usually take: by their way, where
// trips of several routes were seen, else by the two laws that their durations follow, where they
// clearly do.
type kinds struct {
	ways
	two *stat.Mixture // nil where the durations are of one kind
}

func kindsOf(mine []*cycle, earlier []past, topMS float64, cfg Config) kinds {
	out := kinds{ways: waysOf(mine, topMS)}
	var all []stat.Lasted
	for _, c := range mine {
		if c.WayM != nil || c.LostS != nil {
			return out // the robot's way tells more
		}
		if c.own == c.start {
			all = append(all, stat.Lasted{Time: c.DurationS, Complete: true})
		}
	}
	all = append(all, lasted(earlier)...)
	if m, ok := stat.FitMixture(upTo(cfg.TwoUpTo, all)); ok && clear(m, all, cfg) {
		out.two = &m
	}
	return out
}

// upTo cuts off what lasted longer than a quantile of the complete ones: how much longer a slow
// cycle took says nothing of what is usual.
func upTo(quantile float64, all []stat.Lasted) []stat.Lasted {
	var complete []float64
	for _, l := range all {
		if l.Complete {
			complete = append(complete, l.Time)
		}
	}
	most := stat.Quantile(quantile, complete)
	out := make([]stat.Lasted, len(all))
	for i, l := range all {
		out[i] = stat.Lasted{Time: math.Min(l.Time, most), Complete: l.Complete && l.Time <= most}
	}
	return out
}

// clear says whether durations are of two kinds without doubt: far apart, neither of them a few
// odd ones, and by strong evidence. Slow cycles are no kind: they are few, and unlike each other.
func clear(m stat.Mixture, all []stat.Lasted, cfg Config) bool {
	n := 0
	for _, l := range all {
		if l.Complete {
			n++
		}
	}
	rarer := math.Min(m.Share, 1-m.Share)
	return n >= cfg.LeastOfTwo && rarer >= cfg.RarerShare && m.BIC > cfg.TwoBIC && m.Apart() > cfg.TwoApart
}

// scale is how many times the shorter kind a cycle usually takes; 1 where there is one kind.
func (k kinds) scale(c schemas.Cycle) float64 {
	if k.two == nil || !(c.DurationS > 0) {
		return k.ways.scale(c.WayM)
	}
	between := (k.two.Short + k.two.Long) / 2
	between += k.two.Sigma * k.two.Sigma * math.Log(k.two.Share/(1-k.two.Share)) / (k.two.Long - k.two.Short) // where both are as likely
	if math.Log(c.DurationS) < between {
		return 1
	}
	return math.Exp(k.two.Long - k.two.Short)
}

// note says what a reader should know of the kinds; empty for one.
func (k kinds) note(period string) string {
	if k.two == nil {
		return ""
	}
	return fmt.Sprintf("the %s cycles are of two kinds, of about %.1f s and %.1f s: each is held against its own",
		period, math.Exp(k.two.Short), math.Exp(k.two.Long))
}
