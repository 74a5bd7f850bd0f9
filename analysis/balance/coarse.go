package balance

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// A sensor that tells in steps wider than its noise says between which two angles the tilt lies, and
// nothing more until it changes: its error is no noise, for a tilt that creeps from one step to the next
// is read too high all the way. What it tells exactly is when the tilt passes from one to the next.
const (
	coarseLevels  = 10     // readings that differ, under which a log says nothing of steps
	coarseMoves   = 8      // times that a reading that stood went one step on and stood there, likewise: a computed tilt does not
	coarseOnSteps = 0.9    // of the readings, that must lie on steps
	coarseNoise   = 2.0    // times the noise: steps narrower than this are averaged away by it
	coarseBand    = 0.1    // of the level band: narrower steps hardly move a crossing
	hiddenNoise   = 1. / 6 // of a step, that the noise of a reading is taken for where the steps hide it
)

// stepOf is the step in which a sensor tells its readings, in their unit; 0 where they lie on none.
func stepOf(v []float64) float64 {
	if heldMoves(v) < coarseMoves {
		return 0 // before anything is sorted: a log of most sensors never stands
	}
	all := slices.Clone(v)
	slices.Sort(all)
	all = slices.Compact(all)
	if len(all) < coarseLevels || math.IsNaN(all[0]) || math.IsInf(all[0], 0) || math.IsInf(all[len(all)-1], 0) {
		return 0
	}
	tiny := 1e-6 * (all[len(all)-1] - all[0])
	var apart []float64
	for i := 1; i < len(all); i++ {
		if d := all[i] - all[i-1]; d > tiny {
			apart = append(apart, d)
		}
	}
	step := slices.Min(apart)
	on, moves := 0, 0
	for i := 1; i < len(v); i++ {
		steps := math.Abs(v[i]-v[i-1]) / step
		if math.Abs(steps-math.Round(steps)) < 0.02 {
			on++
		}
		if math.Round(steps) == 1 && i > 1 && i+1 < len(v) && v[i-1] == v[i-2] && v[i] == v[i+1] {
			moves++
		}
	}
	if float64(on) < coarseOnSteps*float64(len(v)-1) || moves < coarseMoves {
		return 0
	}
	return step
}

// heldMoves is how often a signal moved from a reading that it had twice to one that it then had twice.
func heldMoves(v []float64) (n int) {
	for i := 2; i+1 < len(v); i++ {
		if v[i-1] == v[i-2] && v[i] == v[i+1] && v[i] != v[i-1] {
			n++
		}
	}
	return n
}

// reading is one that a sensor gave: what it measures lies within half a step, and its noise is small.
type reading struct{ value, step, noise float64 }

// slope is the derivative of the logarithm of the likelihood of x by this reading, and how much it bends.
func (r reading) slope(x float64) (slope, bend float64) {
	s2 := r.noise * r.noise
	if r.step == 0 {
		return (r.value - x) / s2, 1 / s2
	}
	low, high := (r.value-r.step/2-x)/r.noise, (r.value+r.step/2-x)/r.noise
	switch {
	case low > farOut:
		return low / r.noise, 1 / s2
	case high < -farOut:
		return high / r.noise, 1 / s2
	}
	chance := 0.5 * (math.Erfc(low/math.Sqrt2) - math.Erfc(high/math.Sqrt2))
	atLow, atHigh := normal(low), normal(high)
	g := (atLow - atHigh) / chance
	return g / r.noise, ((high*atHigh-low*atLow)/chance + g*g) / s2
}

const farOut = 5.0 // standard deviations beyond which the nearer edge is all that counts

func normal(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

// coarseStep is the step of a tilt that is told in steps wide enough to matter, deg, else 0.
func coarseStep(tilt *series.Float, levelDeg float64) float64 {
	step := stepOf(tilt.V)
	if step < coarseBand*levelDeg {
		return 0
	}
	if _, coarse := noiseOfSteps(tilt, step); !coarse {
		return 0
	}
	return step
}

// readingsAt are the readings of a signal about each time of a trace: those nearer to it than to another.
func readingsAt(t []int64, f *series.Float, as reading) [][]reading {
	const near = 50_000 // µs; what is further off lies in a gap of the trace
	out := make([][]reading, len(t))
	k := 0
	for i, at := range f.T {
		for k+1 < len(t) && t[k+1]-at <= at-t[k] {
			k++
		}
		if v := f.V[i]; !math.IsNaN(v) && !math.IsInf(v, 0) && at-t[k] < near && t[k]-at < near {
			as.value = v
			out[k] = append(out[k], as)
		}
	}
	return out
}

// noiseOfSteps is the noise of a signal told in steps of a size: what it is seen to be, or, where the steps hide
// it, a part of one. coarse says that they do.
func noiseOfSteps(f *series.Float, step float64) (noise float64, coarse bool) {
	noise = stat.Noise(f.T, f.V)
	if step > coarseNoise*noise {
		return hiddenNoise * step, true
	}
	return noise, false
}
