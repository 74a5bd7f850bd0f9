package power

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat"

	"github.com/afterbell/afterbell/schemas/series"
)

// relaxed is a battery's voltage at no load and what relaxation adds to its resistance,
// with what many draws of the log's stretches make of them.
type relaxed struct {
	fit   [relaxations]float64 // V before any relaxation, and ohm of each
	draws [][relaxations]float64
	half  float64 // of the resistance's 95 % interval, for currents as they are read
	ohm   float64
	meanI float64
}

// relaxed takes apart what is left of V + R I: a level and relaxation, which follows the
// current with several time constants and can only lower the voltage, so that a part that
// comes out raising it is left out. The level is that of the whole log; of a battery that
// empties meanwhile, the middle of its way. Stretches of ten seconds, within which readings
// are not independent, are drawn for the intervals. The fit is NaN without readings.
func (a *aligned) relaxed(ohm, half float64, cfg Config) relaxed {
	w := a.worked()
	all := w.whole()
	fit, used, ok := all.solve(ohm, [relaxations]bool{true, true, true, true})
	r := relaxed{fit: fit, half: half, ohm: ohm, meanI: w.meanI}
	if !ok {
		for j := range r.fit {
			r.fit[j] = math.NaN()
		}
		return r
	}
	rng := rand.New(rand.NewPCG(0, uint64(len(w.parts))))
	for range cfg.Resamples {
		var draw stretch
		for range w.parts {
			draw.add(w.parts[rng.IntN(len(w.parts))])
		}
		if l, _, ok := draw.solve(ohm, used); ok {
			r.draws = append(r.draws, l)
		}
	}
	return r
}

// spread is half of the 95 % interval that the draws make of a figure.
func (r relaxed) spread(of func(fit [relaxations]float64) float64) float64 {
	if len(r.draws) < 2 {
		return 0
	}
	each := make([]float64, len(r.draws))
	for k, d := range r.draws {
		each[k] = of(d)
	}
	return 1.96 * stat.StdDev(each, nil)
}

// level is the voltage at no load of the battery before any relaxation, with its interval.
func (r relaxed) level(cfg Config) (volts, low, high float64) {
	spread := r.spread(func(fit [relaxations]float64) float64 { return fit[0] })
	width := math.Hypot(math.Hypot(spread, 1.96*cfg.OpenErrorV), r.half*r.meanI)
	return r.fit[0], r.fit[0] - width, r.fit[0] + width
}

// after is the resistance to a load that has been on for some seconds: the ohmic part and
// what relaxation adds by then, with its 95 % interval. Where the ohmic part comes out too
// high relaxation comes out too low by a part of that, so that the interval is wide enough.
func (r relaxed) after(seconds float64, cfg Config) (ohm, low, high float64) {
	added := func(fit [relaxations]float64) float64 {
		sum := 0.0
		for j, tau := range relaxS {
			sum += fit[j+1] * (1 - math.Exp(-seconds/tau))
		}
		return sum
	}
	more := added(r.fit)
	width := math.Hypot(math.Hypot(r.spread(added), 1.96*cfg.RelaxError*more), r.half)
	return r.ohm + more, r.ohm + more - width, r.ohm + more + width
}

// unloaded is the voltage at no load of the whole log and the ohm of each relaxation, all NaN when
// they cannot be told.
func (a *aligned) unloaded(ohm float64) [relaxations]float64 {
	all := a.worked().whole()
	fit, _, ok := all.solve(ohm, [relaxations]bool{true, true, true, true})
	if !ok {
		for j := range fit {
			fit[j] = math.NaN()
		}
	}
	return fit
}

// level is the voltage at no load at reading k: that of the whole log, less the relaxation by then.
// NaN where voltage or current is not known.
func (a *aligned) level(k int, unloaded [relaxations]float64) float64 {
	if math.IsNaN(a.V[k]) || math.IsNaN(a.I[k]) {
		return math.NaN()
	}
	volts := unloaded[0]
	for j, i := range a.worked().slow[k] {
		volts -= unloaded[j+1] * i
	}
	return volts
}

// through is the voltage at no load on the line through the readings of a match: the mean of
// V + R I from from to to. It lies below the level by what relaxation took on average, so
// that the line goes through the readings and meets the cut-off at the current that really
// browned the robot out. NaN without readings.
//
// half is that of its 95 % interval: the resistance's, the sensors' and, for what of the match
// was not read, that of the means over stretches of ten seconds.
func (r relaxed) through(a *aligned, from, to int64, cfg Config) (volts, half float64) {
	const stretchUS = 10_000_000
	sum, n, amps := 0.0, 0.0, 0.0
	var means []float64 // of each stretch
	partSum, partN, part := 0.0, 0.0, int64(0)
	for k := series.From(a.T, from); k < len(a.T) && a.T[k] <= to; k++ {
		level := a.V[k] + r.ohm*a.I[k]
		if math.IsNaN(level) {
			continue
		}
		if here := (a.T[k] - from) / stretchUS; here != part && partN > 0 {
			means = append(means, partSum/partN)
			partSum, partN, part = 0, 0, here
		} else if partN == 0 {
			part = here
		}
		sum, n, amps = sum+level, n+1, amps+a.I[k]
		partSum, partN = partSum+level, partN+1
	}
	if partN > 0 {
		means = append(means, partSum/partN)
	}
	unread := 0.0
	if seen := n * a.stepS() * 1e6 / float64(max(1, to-from)); seen < 1 && len(means) > 1 {
		unread = 1.96 * stat.StdDev(means, nil) * math.Sqrt((1-seen)/float64(len(means)))
	}
	return sum / n, math.Hypot(math.Hypot(unread, 1.96*cfg.OpenErrorV), r.half*math.Abs(amps/n))
}
