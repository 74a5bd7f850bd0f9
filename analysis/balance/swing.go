package balance

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// modelOf is a swing as the report has it.
func modelOf(s swing.Fit) *schemas.BalanceModel {
	return &schemas.BalanceModel{
		StartS: seconds(s.Start), EndS: seconds(s.End),
		OffsetDeg: s.P[0], AmplitudeDeg: s.Amplitude(), PhaseRad: math.Atan2(-s.P[2], s.P[1]),
		WnRadS: s.Wn, Zeta: s.Zeta, ErrorDeg: s.RMS,
	}
}

// lookAtSwing fits the models to the tilt from where the platform tipped. Where that is
// cannot be seen exactly (a robot still drives as the tilt begins to fall), so the fit is
// tried from the end of the climb, from the first return into the band and from the first
// two peaks after that, or from when the platform came free where that was later; the earliest that
// fits counts.
func lookAtSwing(tr trace, a attempt, free int64, in Input, cfg Config) swing.Fit {
	end := a.through(tr, in)
	if n := len(a.peaks); n >= 6 && a.outcome != schemas.BalanceLeft {
		// A swing that dies down to a constant size is kept up by something: its later half tells.
		if s := fitModels(window(tr, a.peaks[n/2], end, cfg), in.LevelDeg, cfg); s.Kind == swing.Steady {
			return s
		}
	}
	best, bestError := swing.Fit{}, math.Inf(1)
	for _, from := range swingStarts(tr, a, free, in) {
		if from >= end {
			continue
		}
		s := fitModels(window(tr, from, end, cfg), in.LevelDeg, cfg)
		if s.Kind == swing.Unclear {
			continue
		}
		off := s.RMS / max(s.Amplitude(), in.LevelDeg)
		if off < bestError {
			best, bestError = s, off
		}
		if s.RMS <= max(0.03*s.Amplitude(), 1.3*tr.noise) {
			return s
		}
	}
	return best
}

// swingStarts are the samples from which the tilt may swing freely, earliest first.
func swingStarts(tr trace, a attempt, free int64, in Input) []int {
	top, _ := a.top(tr, in)
	firstEnd := top
	for firstEnd < min(a.end, len(tr.t)-1) && tr.v[firstEnd]*float64(a.first) > in.LevelDeg {
		firstEnd++
	}
	starts := []int{top, firstEnd}
	for _, i := range a.overshoots() {
		if len(starts) < 4 && i > firstEnd {
			starts = append(starts, i)
		}
	}
	came := series.From(tr.t, free)
	for k, from := range starts {
		starts[k] = max(from, came)
	}
	return slices.Compact(starts)
}

// window is the tilt between two samples, cut at a gap and at cfg.SwingMaxS.
func window(tr trace, from, to int, cfg Config) swing.Stretch {
	w := swing.Window(tr.t, tr.raw, from, to, cfg.SwingMaxS, func(i int) bool { return tr.afresh[i] })
	w.Grain = grainDeg
	return w
}

// grainDeg is what is rounding in a tilt, deg.
const grainDeg = 0.001

// fitModels chooses the model of a stretch of tilt.
func fitModels(w swing.Stretch, levelDeg float64, cfg Config) swing.Fit {
	return swing.Models(w, swing.Limits{Error: cfg.FitMaxDeg, Share: cfg.FitShare, Least: levelDeg, Evidence: cfg.Evidence})
}
