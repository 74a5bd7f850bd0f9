package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
)

// wake is what a motor usually does along one visit: ln current and share of its speed by how
// far the piece has been driven since it came. The roller is free until the piece is on it,
// then carries it, then hands it over: none of that is a stop, however steep.
type wake struct{ amps, ratio levels }

// levels are medians over the visits, one for each wakeS; empty where too few tell.
type levels []float64

// wakeS is the step of a wake in driven seconds: short beside a hand-over, long beside the
// steps of most logs.
const wakeS = 0.04

// at is the level x driven seconds after the piece came; usual where no wake tells.
func (l levels) at(x, usual float64) float64 {
	if len(l) == 0 {
		return usual
	}
	return l[min(int(x/wakeS), len(l)-1)]
}

// hardest is the largest level, or the smallest of one that falls under load; NaN where no
// wake tells.
func (l levels) hardest(falls bool) float64 {
	switch {
	case len(l) == 0:
		return math.NaN()
	case falls:
		return slices.Min(l)
	default:
		return slices.Max(l)
	}
}

// learnWakes learns the wakes of all slots from undisturbed visits, and how far single
// samples lie from them.
func (m *motor) learnWakes(visits map[int][]clean) {
	var amps, ratio []float64
	for slot, all := range visits {
		var a, r steps
		for _, c := range all {
			for n, k := range c.at {
				a.add(c.driven[n], m.load[k])
				r.add(c.driven[n], m.drive.ratio[k])
			}
		}
		w := wake{amps: a.levels(len(all)), ratio: r.levels(len(all))}
		m.wakes[slot] = w
		for _, c := range all {
			amps = append(amps, m.off(c, w.amps, true)...)
			ratio = append(ratio, m.off(c, w.ratio, false)...)
		}
	}
	m.rippleA, m.rippleR = ripple(amps, 0.08, 0.2), ripple(ratio, 0.04, 0.1)
}

// ripple is the robust spread of single samples about what they should be, at least least,
// and guess without any.
func ripple(off []float64, least, guess float64) float64 {
	if len(off) == 0 {
		return guess
	}
	return math.Hypot(least, stat.MADToSigma*stat.MAD(off))
}

// off is how far the samples of a visit lie from a wake moved to that visit's own height.
func (m *motor) off(c clean, l levels, current bool) []float64 {
	out := make([]float64, 0, len(c.at))
	all, usual := m.drive.ratio, m.ratio.Mu
	if current {
		all, usual = m.load, m.amps.Mu
	}
	for n, k := range c.at {
		if y := all[k]; !math.IsNaN(y) {
			out = append(out, y-l.at(c.driven[n], usual))
		}
	}
	own := stat.Median(out)
	for i := range out {
		out[i] -= own
	}
	return out
}

// steps gathers samples by how far the piece had been driven.
type steps [][]float64

func (s *steps) add(x, y float64) {
	const most = 250 // steps, ten seconds of a slow path
	if i := int(x / wakeS); !math.IsNaN(y) && i >= 0 && i < most {
		for len(*s) <= i {
			*s = append(*s, nil)
		}
		(*s)[i] = append((*s)[i], y)
	}
}

// levels are the medians of the steps, of neighbours where a step has too few samples.
func (s steps) levels(visits int) levels {
	const few = 3
	if visits < few {
		return nil
	}
	var out levels
	for i := range s {
		pool := s[i]
		for near := 1; len(pool) < few && near < len(s); near++ {
			pool = append([]float64(nil), s[i]...)
			for k := max(i-near, 0); k <= min(i+near, len(s)-1); k++ {
				if k != i {
					pool = append(pool, s[k]...)
				}
			}
		}
		if len(pool) < few {
			return nil
		}
		out = append(out, stat.Median(pool))
	}
	return out
}
