package moves

import (
	"math"

	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// tellSwing writes how the position swung about its target once it had come near, up to the
// end of its stay: damped, with its damping ratio and frequency, or of a constant size. A
// swing that stays well within the tolerance is none.
func tellSwing(move *schemas.Move, during *series.Float, until int, within float64, cfg Config) {
	from := 0
	way := move.To - move.From
	for from < until && (move.To-during.V[from])*math.Copysign(1, way) > within {
		from++
	}
	if until-from < 12 {
		return // it never came near, or for too short to swing
	}
	away := 0.0
	for _, v := range during.V[from:until] {
		away = max(away, math.Abs(v-move.To))
	}
	if away <= within*(1+1e-9) && move.Overshoot <= within/2 {
		return // it came and stayed
	}
	silent := func(i int) bool { return seconds(during.T[i]-during.T[i-1]) > cfg.GapS }
	w := swing.Window(during.T, during.V, from, until-1, cfg.SwingMaxS, silent)
	w.Grain = within / 20
	fit := swing.Models(w, swing.Limits{Error: within, Share: cfg.SwingShare, Least: within, Evidence: cfg.Evidence})
	const undamped = 0.01 // a damping ratio that leaves a swing 94 % of its size
	switch {
	case fit.Kind == swing.Damped && fit.Amplitude() > within && fit.Zeta < undamped+2*fit.ZetaSD:
		move.Swing, move.NaturalHz = schemas.SwingSteady, schemas.Some(fit.NaturalHz())
	case fit.Kind == swing.Damped && fit.Amplitude() > within/2:
		move.Swing, move.DampingRatio, move.NaturalHz = schemas.SwingDamped, schemas.Some(fit.Zeta), schemas.Some(fit.NaturalHz())
	case fit.Kind == swing.Steady:
		move.Swing, move.NaturalHz = schemas.SwingSteady, schemas.Some(fit.NaturalHz())
	}
}
