package balance

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

const (
	// A person answers what is seen some 0.2 s later at the least (simple reaction time:
	// Woodworth and Schlosberg, Experimental Psychology, 1954; from memory).
	reactionS = 0.2
	handR2    = 0.9 // share of the command that must be explained to say so
	newLoopS  = 0.05
)

// tellHand says that a person levelled, where the command answers the tilt as late as people do
// with nothing that looks ahead, and what a loop would have saved. A person who foresees the
// swing looks like a loop; nothing is told of who that was.
func tellHand(b *schemas.Balance, a attempt, tr trace, in Input, cfg Config, u tuned) {
	l := u.best.law
	if l.r2 < handR2 || l.late-l.lead < reactionS || l.sums {
		return
	}
	b.LevelledBy = "hand"
	if b.Advice != "" { // a person has no gains
		b.Retune, b.Advice = nil, "have a loop level it: a person answers too late for this swing"
	}
	if len(u.draws) == 0 || u.off > max(3*tr.noise, 3*cfg.PlantShare*a.peak(tr)) {
		return
	}
	t0, _ := freeStretch(tr, a)
	took := b.EndS
	if b.SettleS != nil {
		took = b.StartS + *b.SettleS
	}
	took -= seconds(t0)
	var saved []float64
	for i := 0; i < len(u.draws); i += 5 {
		if s := u.draws[i].rig.bestLoop(l.gain, u.limit, in.LevelDeg, cfg); s != nil {
			saved = append(saved, took-*s)
		}
	}
	if len(saved) < 6 {
		return
	}
	b.LoopSavesS = schemas.Some(max(0, stat.Median(saved)))
	b.LoopSavesLowS, b.LoopSavesHighS = schemas.Some(max(0, stat.Quantile(0.1, saved))), schemas.Some(max(0, stat.Quantile(0.9, saved)))
}

// bestLoop is how soon a well-damped loop, newLoopS late and with no more command than was seen,
// brings the rig level; nil where none of those tried does.
func (g rig) bestLoop(gain, limit, level float64, cfg Config) *float64 {
	var best *float64
	for _, part := range [...]float64{0.15, 0.25, 0.4, 0.6, 0.9} {
		for _, lead := range [...]float64{0.2, 0.4, 0.7, 1.1} {
			l := law{gain: math.Copysign(part*limit/level/2, gain), lead: lead, late: newLoopS}
			if now := g.closeLoop(l); !now.stable || now.zeta < cfg.DampingGoal {
				continue
			}
			if s := g.settles(l, limit, level); s != nil && (best == nil || *s < *best) {
				best = s
			}
		}
	}
	return best
}
