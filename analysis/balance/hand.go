package balance

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
)

const (
	// A person answers what is seen some 0.2 s later at the least (simple reaction time:
	// Woodworth and Schlosberg, Experimental Psychology, 1954; from memory).
	reactionS   = 0.2
	handR2      = 0.9 // share of the command that must be explained to say so
	handWanders = 0.8 // the same of one that wanders besides
	newLoopS    = 0.05
	handRemnant = 0.015 // of full command; a stick is hardly held stiller
	handLeastS  = 2.5   // s of levelling, to tell by that
)

// byHand says that a person levelled: the command answers the tilt as late as people do with
// nothing that looks ahead, or wanders beside any law as a hand does.
func (a attempt) byHand(tr trace, in Input, u tuned, lp loop) bool {
	if l := u.best.law; l.r2 >= handR2 && l.r2 > lp.law.r2 && l.late-l.lead >= reactionS && !l.sums {
		return true // and no law as late as loops are explains it as well
	}
	t0, t1 := a.levelled(tr, in)
	return lp.limits.ramp == 0 && lp.remnant >= handRemnant && lp.law.r2 >= handWanders && seconds(t1-t0) >= handLeastS && a.outcome != schemas.BalanceLeft
}

// tellHand says that a person levelled, and what a loop would have saved.
func tellHand(b *schemas.Balance, a attempt, tr trace, in Input, cfg Config, u tuned) {
	l := u.best.law
	b.LevelledBy = "hand"
	if b.Advice != "" { // a person has no gains
		b.Retune, b.Advice = nil, "have a loop level it: a person answers too late for this swing"
	}
	if len(u.draws) == 0 || l.gain == 0 || u.off > max(3*tr.noise, 3*cfg.PlantShare*a.peak(tr)) {
		return
	}
	t0, _ := freeStretch(tr, a, in)
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

// remnant is the part of the command, RMS, that wanders on beside any law: what is left when tilt,
// rate, their cubes and how long it has been tilted have explained what they can, at whatever
// lateness, and what of that still hangs together after remnantLag. A program's command is noisy
// from one run to the next or not at all; a hand on a stick wanders by some hundredths of its way
// (the remnant of manual control: McRuer and Jex, IEEE Trans. Human Factors in Electronics 8, 1967;
// from memory).
func (h heard) remnant() float64 {
	least, out := math.Inf(1), 0.0
	lag := max(remnantLag, 2*int(math.Ceil(h.every/lawStepS/2))+2) // samples are two steps apart
	for late := 0; late <= h.from; late += 2 {
		var basis, y []float64
		var at []int
		sum := 0.0
		for i := h.from; i < len(h.command); i++ {
			u, v, w := h.command[i], h.tilt[i-late], h.rate[i-late]
			if !math.IsNaN(v) {
				sum += v * lawStepS
			}
			if i%2 == 1 || u == 0 || math.Abs(u) > atLimitPart*h.limit || math.IsNaN(u+v+w) {
				continue
			}
			basis = append(basis, 1, v, w, sum, v*v*v/1e2, w*w*w/1e4)
			y, at = append(y, u), append(at, i)
		}
		if len(y) < remnantLooks {
			continue
		}
		c, rss, ok := swing.Linear(basis, y, 6)
		if !ok || rss/float64(len(y)) >= least {
			continue
		}
		least = rss / float64(len(y))
		left := residuals(basis, y, c)
		both, n, j := 0.0, 0.0, 0
		for i, d := range left {
			for j < len(at) && at[j] < at[i]+lag {
				j++
			}
			if j < len(at) && at[j] == at[i]+lag {
				both, n = both+d*left[j], n+1
			}
		}
		out = math.Sqrt(max(0, both/max(n, 1)))
	}
	return out
}

const (
	remnantLag   = 6  // steps of lawStepS, and more where the command is logged less often; what smoothing a loop has is forgotten in them
	remnantLooks = 50 // samples, of 20 ms
)
