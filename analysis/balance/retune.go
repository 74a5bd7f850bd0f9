package balance

import (
	"github.com/afterbell/afterbell/schemas"
)

// retune is what to do to the gains; nil when nothing is amiss or nothing is known.
func retune(sw swing, lp loop, a attempt, in Input, cfg Config) *schemas.Retune {
	switch {
	case sw.kind != damped || sw.zeta >= cfg.DampedWell:
		return nil
	case a.outcome == schemas.BalanceLevel && len(a.overshoots()) == 0:
		return nil
	}
	out := &schemas.Retune{GainFactor: 1}
	if lp.ok && -lp.leadHigh*sw.wn > cfg.LateShare || sw.grows() {
		out.GainFactor = 0.5
	}
	td, sd := rateTerm(sw, cfg)
	out.RateS, out.RateLowS, out.RateHighS = td, td-1.96*sd, td+1.96*sd
	return out
}
