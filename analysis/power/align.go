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
	response                 // of the current's sensor, taken out
	apart          bool      // the two were not read together: at other times, or at other rates
	noiseV, noiseI float64   // standard deviation of one reading
	volts, amps    trace     // as they were read
	odd            [][2]int  // readings from and to that tell nothing of level and relaxation
	work           *worked   // nil until asked for
	running        *sums     // nil until asked for
}

// align finds the response of the current's sensor first, unless the load has too few steps
// to show one.
func align(v, i trace, cfg Config) *aligned {
	plain := alignedBy(response{}, v, i)
	if plain.step == 0 {
		return plain
	}
	if steps, _ := plain.loadSteps(cfg.HalfGapS, cfg); len(events(steps, cfg)) < cfg.LeastSteps {
		return plain
	}
	if r := answer(v, i, cfg); r != (response{}) {
		return alignedBy(r, v, i)
	}
	return plain
}

// alignedBy takes that response of the current's sensor for granted.
func alignedBy(r response, v, i trace) *aligned {
	a := &aligned{response: r, noiseV: noise(v.V, 10000), noiseI: noise(i.V, 10000), volts: v, amps: i, finer: min(v.step, i.step)}
	if a.tauS > 0 {
		a.noiseV *= r.quiets(schemas.Seconds(v.step))
		v = v.smoothed(r)
	}
	if i.step > v.step {
		a.T, a.step = i.T, i.step
		a.V, a.I = v.sample(i.T, -a.lagUs), i.V
		a.apart = apart(i.T, v.T, -a.lagUs)
	} else {
		a.T, a.step = v.T, v.step
		a.V, a.I = v.V, i.sample(v.T, a.lagUs)
		a.apart = apart(v.T, i.T, a.lagUs)
	}
	a.apart = a.apart || 2*max(v.step, i.step) > 3*min(v.step, i.step)
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

// delayUs is by how much the current's reading is late on the whole.
func (a *aligned) delayUs() int64 { return a.late(a.stepS()) }

func (a *aligned) stepS() float64 { return schemas.Seconds(a.step) }

// noise is the standard deviation of one reading: from the quietest quarter of the changes
// between neighbours, where the load hardly moves, and never less than rounding to the
// sensor's resolution makes it. Equal neighbours do not count: a sensor that reads the same
// for a minute of rest is not without noise under load. Unless nearly all are equal. Of a long log
// some most readings are looked at.
func noise(x []float64, most int) float64 {
	const (
		quarter     = 0.318639 // the first quartile of |z| of a normal distribution
		finestSteps = 50       // a span of fewer steps than this is no rounding
		sameShare   = 1e-9     // of the span; readings nearer to each other are the same
	)
	stride := max(1, len(x)/most)
	count := 1 + (len(x)-1)/stride
	change, value := make([]float64, 0, count), make([]float64, 0, count)
	for i := 0; i < len(x); i += stride {
		value = append(value, x[i])
		if i+1 < len(x) && x[i+1] != x[i] {
			change = append(change, math.Abs(x[i+1]-x[i]))
		}
	}
	if 4*len(change) < len(value) {
		change = []float64{0} // mostly steady: what changes is the load, not the reading
	}
	quiet := stat.Quantile(0.25, change)
	span := slices.Max(value) - slices.Min(value)
	if quiet > sameShare*span {
		return quiet / quarter / math.Sqrt2 // readings that change do so by a step of the sensor or more
	}
	slices.Sort(value)
	resolution := span
	for i := 1; i < len(value); i++ {
		if d := value[i] - value[i-1]; d > sameShare*span {
			resolution = min(resolution, d)
		}
	}
	if resolution > span/finestSteps {
		resolution = 0
	}
	return max(quiet/quarter/math.Sqrt2, resolution/math.Sqrt(12))
}
