package cycles

import (
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// phaseChances gives each judged cycle, for each of its phases, the chance that this phase of a
// usual cycle takes as long: by the law of that phase over the other trips of its kind of period
// in this match and the earlier ones. A phase inside its own usual spread is not to blame for a
// slow cycle, however much of the loss lies in it.
func phaseChances(mine, trips []*cycle, before [][]past, cfg Config) {
	cfg.UsualSigma = cfg.PhaseSigma
	for _, name := range phaseNames {
		var earlier [][]stat.Lasted
		for _, m := range before {
			earlier = append(earlier, durations(phaseTimes(m, name)))
		}
		for _, c := range mine {
			took := *name.of(&c.Phases)
			if took == nil {
				continue
			}
			var others []past
			for _, o := range trips {
				if o != c {
					others = append(others, past{Cycle: o.Cycle})
				}
			}
			today := durations(phaseTimes(others, name))
			if l, ok := lawOf(today, earlier, cfg); ok && len(today)+count(earlier) >= cfg.LeastLegs {
				*name.chance(&c.PhaseP) = schemas.Some(l.tail(*took))
			}
		}
	}
}

// durations are those above zero: a phase that took none says nothing of how long it takes.
func durations(seconds []float64) []stat.Lasted {
	var out []stat.Lasted
	for _, s := range seconds {
		if s > 0 {
			out = append(out, stat.Lasted{Time: s, Complete: true})
		}
	}
	return out
}

func count(all [][]stat.Lasted) int {
	n := 0
	for _, m := range all {
		n += len(m)
	}
	return n
}
