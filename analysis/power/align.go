package power

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// aligned is voltage and current at the same times: those of the slower of the two, the
// faster one read in between. The current's lag behind the voltage is taken out.
type aligned struct {
	T              []int64
	V, I           []float64 // NaN where not known
	step, finer    int64     // µs, usual, of the slower and of the faster
	lag            int64     // µs, of the current's reading behind the voltage's
	apart          bool      // the two were not read at the same times
	noiseV, noiseI float64   // standard deviation of one reading
}

func align(v, i trace, cfg Config) *aligned {
	a := &aligned{lag: lag(v, i, cfg), noiseV: noise(v.V), noiseI: noise(i.V)}
	if i.step > v.step {
		a.T, a.step = i.T, i.step
		a.V, a.I = v.sample(i.T, -a.lag), i.V
	} else {
		a.T, a.step = v.T, v.step
		a.V, a.I = v.V, i.sample(v.T, a.lag)
	}
	a.finer = min(v.step, i.step)
	if i.step > v.step {
		a.apart = apart(i.T, v.T, -a.lag)
	} else {
		a.apart = apart(v.T, i.T, a.lag)
	}
	return a
}

// apart says whether more than a few of the times a, plus lag, are no times of b.
func apart(a, b []int64, lag int64) bool {
	const probes = 1000
	asked, missed := 0, 0
	for k := 0; k < len(a); k += 1 + len(a)/probes {
		if t := a[k] + lag; b[0] <= t && t <= b[len(b)-1] {
			asked++
			if _, hit := slices.BinarySearch(b, t); !hit {
				missed++
			}
		}
	}
	return 10*missed > asked
}

func (a *aligned) stepS() float64 { return schemas.Seconds(a.step) }

// lag is how much later the current's reading comes than the voltage's, in µs: where their
// changes go together most closely (in opposite directions, unless the sign of the current
// is turned around), looked for within LagS either way. It is a whole number of
// steps of the slower signal, of 5 ms for faster ones, which is as fine as the measurement
// of a load step needs it, and 0 unless clearly better than none.
func lag(v, i trace, cfg Config) int64 {
	const (
		finest = 5000
		better = 1.1
	)
	grid := max(v.step, i.step, finest)
	first, last := max(v.T[0], i.T[0]), min(v.T[len(v.T)-1], i.T[len(i.T)-1])
	n := int((last - first) / grid)
	if n < 2 {
		return 0
	}
	T := make([]int64, n)
	for k := range T {
		T[k] = first + int64(k)*grid
	}
	dv, di := changes(v.sample(T, 0)), changes(i.sample(T, 0))
	together := func(lag int) float64 {
		var sum float64
		for k := max(0, -lag); k < len(dv) && k+lag < len(di); k++ {
			sum += dv[k] * di[k+lag]
		}
		return math.Abs(sum)
	}
	best, most := 0, better*together(0)
	furthest := int(schemas.Micros(cfg.LagS) / grid)
	for l := -furthest; l <= furthest; l++ {
		if c := together(l); l != 0 && c > most {
			best, most = l, c
		}
	}
	return int64(best) * grid
}

// changes are the differences of neighbours, 0 where one is not known.
func changes(x []float64) []float64 {
	d := make([]float64, len(x)-1)
	for k := range d {
		if c := x[k+1] - x[k]; !math.IsNaN(c) {
			d[k] = c
		}
	}
	return d
}

// noise is the standard deviation of one reading: from the quietest quarter of the changes
// between neighbours, where the load hardly moves, and never less than rounding to the
// sensor's resolution makes it. Equal neighbours do not count: a sensor that reads the same
// for a minute of rest is not without noise under load. Unless nearly all are equal.
func noise(x []float64) float64 {
	const (
		most        = 10000
		quarter     = 0.318639 // the first quartile of |z| of a normal distribution
		finestSteps = 50       // a span of fewer steps than this is no rounding
	)
	stride := max(1, len(x)/most)
	var change, value []float64
	for i := 0; i < len(x); i += stride {
		value = append(value, x[i])
		if i+1 < len(x) && x[i+1] != x[i] {
			change = append(change, math.Abs(x[i+1]-x[i]))
		}
	}
	if 4*len(change) < len(value) {
		change = []float64{0} // mostly steady: what changes is the load, not the reading
	}
	slices.Sort(value)
	span := value[len(value)-1] - value[0]
	resolution := span
	for i := 1; i < len(value); i++ {
		if d := value[i] - value[i-1]; d > 1e-9*span {
			resolution = min(resolution, d)
		}
	}
	if resolution > span/finestSteps {
		resolution = 0
	}
	return max(stat.Quantile(0.25, change)/quarter/math.Sqrt2, resolution/math.Sqrt(12))
}
