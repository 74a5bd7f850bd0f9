package align

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/stat"

	"github.com/afterbell/afterbell/schemas"
)

// Of measured quantities the differences from grid step to grid step are correlated: a level
// that differs, or drifts, says nothing then. Chosen by us.
const (
	gridUS = 20_000
	// leastOverlap that both must have of a quantity under the shift.
	leastOverlap = 5 * second
	// leastAlike is the least correlation there, and how far it must stand above the best at
	// any other shift.
	leastAlike = 0.5
	mostSecond = 0.7
	apartUS    = second / 2
	mostGrid   = 1 << 20 // steps of one log: six hours
	mostCourse = 8       // quantities, those with most samples
)

// correlate finds the shift under which measured quantities of both logs go the same way.
func correlate(first, other *schemas.Log) (Shift, bool) {
	startA, endA, okA := first.Bounds()
	startB, endB, okB := other.Bounds()
	if !okA || !okB {
		return Shift{}, false
	}
	na, nb := int((endA-startA)/gridUS)+1, int((endB-startB)/gridUS)+1
	if na > mostGrid || nb > mostGrid {
		return Shift{}, false
	}
	var names []string
	for _, name := range shared(first, other) {
		if a, b := first.Find(name), other.Find(name); a.Kind == schemas.Float64 && b.Kind == schemas.Float64 && !counts(a) && a.Boot == nil && b.Boot == nil {
			names = append(names, name)
		}
	}
	slices.SortStableFunc(names, func(x, y string) int { return first.Find(y).Len() - first.Find(x).Len() })
	names = names[:min(len(names), mostCourse)]
	slices.Sort(names)
	size := 1
	for size < na+nb {
		size *= 2
	}
	fft := fourier.NewFFT(size)
	sum, energyA, energyB := make([]complex128, size/2+1), make([]float64, na), make([]float64, nb)
	var used []string
	for _, name := range names {
		a := differences(first.Find(name), startA, na)
		b := differences(other.Find(name), startB, nb)
		if !scaled(a) || !scaled(b) {
			continue
		}
		used = append(used, name)
		fa, fb := fft.Coefficients(nil, padded(a, size)), fft.Coefficients(nil, padded(b, size))
		for k := range sum {
			sum[k] += fa[k] * cmplx.Conj(fb[k])
		}
		for i, v := range a {
			energyA[i] += v * v
		}
		for i, v := range b {
			energyB[i] += v * v
		}
	}
	if len(used) == 0 {
		return Shift{}, false
	}
	product := fft.Sequence(nil, sum)
	for i := range product {
		product[i] /= float64(size)
	}
	return bestLag(product, cumulated(energyA), cumulated(energyB), startA, startB, used)
}

// bestLag is the shift at which the correlation, each lag normalized by what of both logs
// lies over each other there, stands out.
func bestLag(product, energyA, energyB []float64, startA, startB int64, used []string) (Shift, bool) {
	na, nb, size := len(energyA)-1, len(energyB)-1, len(product)
	least := int(leastOverlap / gridUS)
	alike := func(lag int) float64 { // b[j] lies over a[j+lag]
		from, to := max(0, lag), min(na, nb+lag)
		if to-from < least {
			return 0
		}
		ea, eb := energyA[to]-energyA[from], energyB[to-lag]-energyB[from-lag]
		// Where little of what happened in the log lies, a chance likeness is easy.
		if ea < energyA[na]/20 || eb < energyB[nb]/20 || ea <= 0 || eb <= 0 {
			return 0
		}
		return product[(lag+size)%size] / math.Sqrt(ea*eb)
	}
	best, at := 0.0, 0
	for lag := -nb + 1; lag < na; lag++ {
		if v := alike(lag); v > best {
			best, at = v, lag
		}
	}
	next := 0.0
	for lag := -nb + 1; lag < na; lag++ {
		if d := int64(lag-at) * gridUS; d > apartUS || d < -apartUS {
			next = max(next, alike(lag))
		}
	}
	if best < leastAlike || next > mostSecond*best {
		return Shift{}, false
	}
	from, to := max(0, at), min(na, nb+at)
	fine := peak(alike(at-1), best, alike(at+1))
	return Shift{
		ShiftUS: startA - startB + int64(math.Round((float64(at)+fine)*gridUS)),
		MidUS:   startA + int64(from+to)/2*gridUS,
		// A step of the grid on either side, and what drift moves the ends against the middle.
		BoundUS: gridUS + int64(mostDrift*float64(int64(to-from)*gridUS)/2),
		Signals: used,
		Changes: (to - from) * gridUS / int(second),
	}, true
}

// peak is where a parabola through three points of equal distance is highest, from the middle.
func peak(l, m, r float64) float64 {
	d := l - 2*m + r
	if d >= 0 {
		return 0
	}
	return max(-0.5, min(0.5, 0.5*(l-r)/d))
}

// differences is what the signal changes by from grid step to grid step; nothing across a hole.
func differences(s *schemas.Signal, start int64, n int) []float64 {
	out := make([]float64, n)
	mean, count := make([]float64, n), make([]int, n)
	for i, t := range s.Time {
		if v := s.Float[i]; !math.IsNaN(v) && !math.IsInf(v, 0) {
			k := int((t - start) / gridUS)
			mean[k] += v
			count[k]++
		}
	}
	last := -1
	for k := range mean {
		if count[k] == 0 {
			continue
		}
		mean[k] /= float64(count[k])
		if last >= 0 && k-last <= 10 { // held, and the change where it was seen
			out[k] = mean[k] - mean[last]
		}
		last = k
	}
	return out
}

// scaled brings a series to a spread of one, with the wildest changes held down so that one
// spike does not decide; ok is false for one that never changes.
func scaled(v []float64) bool {
	sizes := make([]float64, 0, len(v))
	for _, x := range v {
		if x != 0 {
			sizes = append(sizes, math.Abs(x))
		}
	}
	if len(sizes) < 50 {
		return false
	}
	slices.Sort(sizes)
	limit := 6 * stat.Quantile(0.75, stat.Empirical, sizes, nil)
	sum := 0.0
	for i, x := range v {
		v[i] = max(-limit, min(limit, x))
		sum += v[i] * v[i]
	}
	scale := math.Sqrt(sum / float64(len(v)))
	for i := range v {
		v[i] /= scale
	}
	return scale > 0
}

func padded(v []float64, size int) []float64 {
	out := make([]float64, size)
	copy(out, v)
	return out
}

func cumulated(v []float64) []float64 {
	out := make([]float64, len(v)+1)
	for i, x := range v {
		out[i+1] = out[i] + x
	}
	return out
}
