package power

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"github.com/afterbell/afterbell/schemas/series"
)

// relaxS are the time constants, in seconds, between which relaxation is taken apart: a
// sum of a fast, a middle and a slow one follows any relaxation in between closely.
var relaxS = [...]float64{0.5, 4, 30}

const relaxations = 1 + len(relaxS) // the level and what lowers it

// stretch is the normal equations of some seconds of log.
type stretch struct {
	a [relaxations][relaxations]float64
	b [relaxations]float64
}

// openCircuit is the voltage at no load: what is left of V + R I when relaxation is taken
// out. Relaxation follows the current with several time constants and can only lower the
// voltage, so a part that comes out raising it is left out. The level is that of the whole
// log; of a battery that empties meanwhile, the middle of its way.
//
// The interval holds the resistance's, half, and that of the level by drawing stretches of
// ten seconds, within which readings are not independent. volts is NaN without readings.
func (a *aligned) openCircuit(ohm, half float64, cfg Config) (volts, low, high float64) {
	parts, meanI := a.stretches(ohm)
	var all stretch
	for _, p := range parts {
		all.add(p)
	}
	fit, used, ok := all.solve([relaxations]bool{true, true, true, true})
	if !ok {
		return math.NaN(), math.NaN(), math.NaN()
	}
	rng := rand.New(rand.NewPCG(0, uint64(len(parts))))
	var levels []float64
	for range cfg.Resamples {
		var draw stretch
		for range parts {
			draw.add(parts[rng.IntN(len(parts))])
		}
		if l, _, ok := draw.solve(used); ok {
			levels = append(levels, l[0])
		}
	}
	spread := 0.0
	if len(levels) > 1 {
		spread = 1.96 * stat.StdDev(levels, nil)
	}
	width := math.Hypot(math.Hypot(spread, 1.96*cfg.OpenErrorV), half*meanI)
	return fit[0], fit[0] - width, fit[0] + width
}

// stretches cuts the log into pieces of ten seconds and sums each one's equations over
// means of 0.2 s.
func (a *aligned) stretches(ohm float64) (parts []stretch, meanI float64) {
	const (
		binS     = 0.2
		stretchS = 10
	)
	var slow relaxing
	var row [relaxations]float64 // sums of the bin: count, relaxations
	var level, sumI, n float64
	var binEnd, partEnd int64
	for k, t := range a.T {
		v, i := a.V[k], a.I[k]
		if math.IsNaN(v) || math.IsNaN(i) {
			continue
		}
		if !slow.started {
			binEnd, partEnd = t, t
		}
		slow.step(t, i)
		if t >= binEnd {
			if row[0] > 0 {
				parts[len(parts)-1].equation(row, level)
			}
			row, level = [relaxations]float64{}, 0
			binEnd = t + int64(binS*1e6)
		}
		if t >= partEnd {
			parts = append(parts, stretch{})
			partEnd = t + int64(stretchS*1e6)
		}
		row[0]++
		for j, amps := range slow.amps {
			row[j+1] -= amps
		}
		level += v + ohm*i
		sumI += i
		n++
	}
	if row[0] > 0 {
		parts[len(parts)-1].equation(row, level)
	}
	return parts, sumI / n
}

// levels is the voltage at no load at each reading: open, that of the whole log, less the
// relaxation by then. NaN where voltage or current is not known, and everywhere when it
// cannot be told.
func (a *aligned) levels(ohm float64) (out []float64, open float64) {
	parts, _ := a.stretches(ohm)
	var all stretch
	for _, p := range parts {
		all.add(p)
	}
	fit, _, ok := all.solve([relaxations]bool{true, true, true, true})
	out = make([]float64, len(a.T))
	var slow relaxing
	for k, t := range a.T {
		out[k] = math.NaN()
		if math.IsNaN(a.V[k]) || math.IsNaN(a.I[k]) || !ok {
			continue
		}
		slow.step(t, a.I[k])
		out[k] = fit[0]
		for j, i := range slow.amps {
			out[k] -= fit[j+1] * i
		}
	}
	return out, fit[0]
}

// relaxing is the current as each relaxation follows it.
type relaxing struct {
	amps    [len(relaxS)]float64
	last    int64
	started bool
}

func (r *relaxing) step(t int64, amps float64) {
	if !r.started {
		r.started, r.last = true, t
		for j := range r.amps {
			r.amps[j] = amps
		}
	}
	for j, tau := range relaxS {
		r.amps[j] += (amps - r.amps[j]) * (1 - math.Exp(-float64(t-r.last)/1e6/tau))
	}
	r.last = t
}

// equation adds one bin: the means of row and level count once.
func (s *stretch) equation(row [relaxations]float64, level float64) {
	n := row[0]
	for i := range row {
		for j := range row {
			s.a[i][j] += row[i] * row[j] / (n * n)
		}
		s.b[i] += row[i] * level / (n * n)
	}
}

func (s *stretch) add(o stretch) {
	for i := range s.a {
		for j := range s.a[i] {
			s.a[i][j] += o.a[i][j]
		}
		s.b[i] += o.b[i]
	}
}

// solve is the level and the ohms of each relaxation that lowers it, out of those allowed;
// 0 for the others.
func (s *stretch) solve(allowed [relaxations]bool) (fit [relaxations]float64, used [relaxations]bool, ok bool) {
	used = allowed
	for {
		var which []int
		for j, u := range used {
			if u {
				which = append(which, j)
			}
		}
		a, b := mat.NewSymDense(len(which), nil), mat.NewVecDense(len(which), nil)
		for i, x := range which {
			for j, y := range which[:i+1] {
				a.SetSym(i, j, s.a[x][y])
			}
			b.SetVec(i, s.b[x])
		}
		var c mat.Cholesky
		var x mat.VecDense
		if !c.Factorize(a) || c.SolveVecTo(&x, b) != nil {
			if len(which) == 1 {
				return fit, used, false
			}
			used[which[len(which)-1]] = false // the slowest two look alike in a short log
			continue
		}
		worst := 0
		for i := 1; i < len(which); i++ {
			if x.AtVec(i) < 0 && (worst == 0 || x.AtVec(i) < x.AtVec(worst)) {
				worst = i
			}
		}
		if worst == 0 {
			for i, j := range which {
				fit[j] = x.AtVec(i)
			}
			return fit, used, true
		}
		used[which[worst]] = false
	}
}

// worked is the voltage at no load on the line through the readings of a match: the mean of
// V + R I from from to to. It lies below openCircuit by what relaxation took on average, so
// that the line goes through the readings and meets the cut-off at the current that really
// browned the robot out. NaN without readings.
func (a *aligned) worked(ohm float64, from, to int64) float64 {
	sum, n := 0.0, 0.0
	for k := series.From(a.T, from); k < len(a.T) && a.T[k] <= to; k++ {
		if level := a.V[k] + ohm*a.I[k]; !math.IsNaN(level) {
			sum, n = sum+level, n+1
		}
	}
	return sum / n
}
