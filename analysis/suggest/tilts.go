package suggest

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/units"
)

// tilts are the ways to read tilt and its rate.
func (l *look) tilts() slot {
	out := slot{name: "tilt"}
	type turning struct {
		s *signal
		d []float64
	}
	var rates []turning
	for _, s := range l.signals {
		if s.steady() && s.is(units.AngularSpeed) && !(math.Abs(s.rest) > 0.2*s.q99) {
			rates = append(rates, turning{s, mean(filled(s.v), int(0.1*perSec))})
		}
	}
	for _, s := range l.signals {
		odds, unit, ok := l.mayBeTilt(s)
		if !ok {
			continue
		}
		ref := profile.Ref{}
		if s.quantity == nil {
			ref.Unit = unit
		}
		odds += s.named("tilt")
		tilt := use{role: "balance.tilt", s: s, ref: ref, sure: 1, why: fmt.Sprintf("level nearly all the time, and up to %.0f deg late in the match", degrees(s, unit, math.Max(s.hi, -s.lo)))}
		d := slope(s.v)
		best := 0.0
		for _, r := range rates {
			if r.s == s {
				continue
			}
			like := alike(d, r.d)
			gain := dot(d, r.d) / math.Max(dot(d, d), 1e-12)
			if like < 0.5 {
				continue
			}
			// The rate comes in the tilt's own unit per second, or the one of the pair is known.
			rateUnit := ""
			if r.s.quantity == nil {
				rateUnit = rateUnits(s, unit, gain)
			}
			fit := 6 * (like - 0.4)
			best = max(best, fit)
			out.options = append(out.options, option{odds: odds + fit + r.s.named("rate"), uses: []use{tilt, {
				role: "balance.rate", s: r.s, ref: profile.Ref{Unit: rateUnit}, sure: 1, why: fmt.Sprintf("it is how fast the tilt changes (correlation %.2f)", like),
			}}})
		}
		if best > 0 {
			odds -= 1 - best/2
		}
		out.options = append(out.options, option{odds: odds, uses: []use{tilt}})
	}
	return out
}

func degrees(s *signal, unit string, v float64) float64 {
	if s.quantity != nil || unit == "rad" {
		return v * 180 / math.Pi
	}
	return v
}

// rateUnits is the unit of a rate without one, by the factor between it and the tilt's change.
func rateUnits(tilt *signal, unit string, gain float64) string {
	inRadians := tilt.quantity != nil || unit == "rad"
	switch {
	case inRadians && math.Abs(gain) > 8:
		return "deg/s"
	case inRadians:
		return "rad/s"
	case math.Abs(gain) < 0.12:
		return "rad/s"
	default:
		return "" // deg/s, as the profile takes it
	}
}

// mayBeTilt: near level for most of the match, with excursions of 4 to 35 deg of which most
// lie in its last third; a platform is climbed at the end (common practice).
func (l *look) mayBeTilt(s *signal) (odds float64, unit string, ok bool) {
	if !s.steady() || !s.is(units.Angle) || s.lasting < 0.7 {
		return 0, "", false
	}
	v := mean(filled(s.v), int(0.06*perSec))
	level := stat.Median(v)
	middle := stat.Quantile(0.75, v) - stat.Quantile(0.25, v)
	peak, late, all := 0.0, 0.0, 0.0
	for _, x := range v {
		peak = max(peak, math.Abs(x-level))
	}
	for i, x := range v {
		if math.Abs(x-level) > 0.4*peak {
			all++
			if i > 2*len(v)/3 {
				late++
			}
		}
	}
	deg := 1.0
	switch {
	case s.quantity != nil:
		deg = 180 / math.Pi
	case peak < 0.7 && peak > 0.05:
		unit, deg = "rad", 180/math.Pi
	}
	peak, level, middle = peak*deg, level*deg, middle*deg
	if math.Abs(level) > 6 || peak < 4 || peak > 45 || middle > 0.3*peak {
		return 0, "", false
	}
	odds = -3.5
	if s.quantity != nil {
		odds++
	}
	if middle < 0.12*peak {
		odds++
	}
	if all < 0.15*float64(len(v)) && all > 0 {
		switch share := late / all; {
		case share > 0.9:
			odds += 2.5
		case share > 0.6:
			odds++
		default:
			odds -= 1.5
		}
	}
	return odds, unit, true
}
