package cycles

import (
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// The parts of a trip that the path tells where no pose does: until the piece is in, and from then on.
const (
	partOut = iota
	partBack
	parts
)

// lostByTime gives trips of which no pose tells anything what was seen of their loss by how long they
// took alone. Where the path tells when the piece came in, each part of a trip is held against
// the others: a trouble lies in one of them, so that fewer are troubled than of whole
// trips. Trouble only adds; what of the others' times was trouble is found as for legs that
// were seen, so that half of a match that was troubled does not pass for what is usual.
func lostByTime(mine []*cycle, kind kinds, cfg Config) {
	if len(mine) < cfg.LeastLegs {
		return
	}
	var took [parts][]float64
	var whole []float64
	for _, c := range mine {
		whole = append(whole, c.ownS()/kind.scale(c.Cycle))
		if p, ok := c.partsS(kind); ok {
			took[partOut], took[partBack] = append(took[partOut], p[partOut]), append(took[partBack], p[partBack])
		}
	}
	sums := make([]float64, len(mine))
	for i, c := range mine {
		if p, ok := c.partsS(kind); ok && len(took[partOut]) >= cfg.LeastLegs {
			for k := range parts {
				sums[i] += p[k] - stat.Quantile(cfg.UsualLeg, took[k])
			}
			continue
		}
		sums[i] = whole[i] - stat.Quantile(cfg.UsualLeg, whole)
	}
	trip, middle := stat.Median(whole), everyday(sums, mine, cfg)
	others, _ := bodies(sums, cfg.TroubleMean*trip, cfg.TimeSigma*trip, cfg.UsualWeight, cfg)
	for i, c := range mine {
		c.timed, c.sight = true, &sight{took: sums[i], usual: &others[i], middle: middle, scale: kind.scale(c.Cycle)}
	}
}

// partsS are the seconds until the piece of a trip was in and from then on; ok is false where nothing
// tells, or where trips are of two kinds by how long they took.
func (c *cycle) partsS(kind kinds) (out [parts]float64, ok bool) {
	if kind.two != nil || !c.hasPiece || c.more.n > 0 || c.entered <= c.own || c.entered >= c.done() {
		return out, false
	}
	out[partOut], out[partBack] = schemas.Seconds(c.entered-c.own), schemas.Seconds(c.done()-c.entered)
	return out, true
}
