package power

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// relaxS are the time constants, in seconds, between which relaxation is taken apart: a
// sum of a fast, a middle and a slow one follows any relaxation in between closely.
var relaxS = [...]float64{0.5, 4, 30}

const relaxations = 1 + len(relaxS) // the level and what lowers it

// stretch is the normal equations of some seconds of log: how level and relaxations make the
// voltage, and how they make the current. Those of V + ohm I follow for any resistance.
type stretch struct {
	a    [relaxations][relaxations]float64
	v, i [relaxations]float64
}

// following is the current as each relaxation follows it.
type following struct {
	amps    [len(relaxS)]float64
	keep    [len(relaxS)]float64 // of what is left, over a step of keepFor
	keepFor int64
	last    int64
	started bool
}

func (f *following) step(t int64, amps float64) {
	if !f.started {
		f.started, f.last = true, t
		for j := range f.amps {
			f.amps[j] = amps
		}
	}
	if dt := t - f.last; dt != f.keepFor || dt == 0 {
		f.keepFor = dt
		for j, tau := range relaxS {
			f.keep[j] = 1 - math.Exp(-float64(dt)/1e6/tau)
		}
	}
	for j := range f.amps {
		f.amps[j] += (amps - f.amps[j]) * f.keep[j]
	}
	f.last = t
}

// worked is what a log holds of relaxation: the current as each follows it at every reading,
// and the equations of stretches of ten seconds. Neither depends on the resistance.
type worked struct {
	slow  [][len(relaxS)]float64
	parts []stretch
	meanI float64
}

// worked cuts the log into pieces of ten seconds and sums each one's equations over means of
// 0.2 s.
func (a *aligned) worked() *worked {
	if a.work != nil {
		return a.work
	}
	const (
		binS     = 0.2
		stretchS = 10
	)
	w := &worked{slow: make([][len(relaxS)]float64, len(a.T))}
	var slow following
	var row [relaxations]float64 // sums of the bin: count, relaxations
	var volts, amps, sumI, n float64
	var binEnd, partEnd int64
	odd := 0
	for k, t := range a.T {
		v, i := a.V[k], a.I[k]
		if math.IsNaN(v) || math.IsNaN(i) {
			continue
		}
		if !slow.started {
			binEnd, partEnd = t, t
		}
		slow.step(t, i)
		w.slow[k] = slow.amps
		for odd < len(a.odd) && a.odd[odd][1] <= k {
			odd++
		}
		if odd < len(a.odd) && a.odd[odd][0] <= k && len(w.parts) > 0 {
			continue // but the first reading, from which all stretches are counted
		}
		if t >= binEnd {
			if row[0] > 0 {
				w.parts[len(w.parts)-1].equation(row, volts, amps)
			}
			row, volts, amps = [relaxations]float64{}, 0, 0
			binEnd = t + int64(binS*1e6)
		}
		if t >= partEnd {
			w.parts = append(w.parts, stretch{})
			partEnd = t + int64(stretchS*1e6)
		}
		row[0]++
		for j, slower := range slow.amps {
			row[j+1] -= slower
		}
		volts += v
		amps += i
		sumI += i
		n++
	}
	if row[0] > 0 {
		w.parts[len(w.parts)-1].equation(row, volts, amps)
	}
	w.meanI = sumI / n
	a.work = w
	return w
}

// whole is the equations of the whole log.
func (w *worked) whole() (all stretch) {
	for _, p := range w.parts {
		all.add(p)
	}
	return all
}

// equation adds one bin: the means of row, voltage and current count once.
func (s *stretch) equation(row [relaxations]float64, volts, amps float64) {
	n := row[0]
	for i := range row {
		for j := range row {
			s.a[i][j] += row[i] * row[j] / (n * n)
		}
		s.v[i] += row[i] * volts / (n * n)
		s.i[i] += row[i] * amps / (n * n)
	}
}

func (s *stretch) add(o stretch) {
	for i := range s.a {
		for j := range s.a[i] {
			s.a[i][j] += o.a[i][j]
		}
		s.v[i] += o.v[i]
		s.i[i] += o.i[i]
	}
}

// solve is the level of V + ohm I and the ohms of each relaxation that lowers it, out of those
// allowed; 0 for the others.
func (s *stretch) solve(ohm float64, allowed [relaxations]bool) (fit [relaxations]float64, used [relaxations]bool, ok bool) {
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
			b.SetVec(i, s.v[x]+ohm*s.i[x])
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
