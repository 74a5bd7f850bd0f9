package stat

import "math"

// Roughness is, for every sample, how far it and its six neighbours are from any smooth
// curve: the sixth divided difference of (t, v), scaled so that for independent noise of
// standard deviation s on a smooth curve its own standard deviation is s. Curves up to the
// fifth degree leave nothing, at any spacing of t, so that motion is not taken for noise:
// a swing sampled ten times a period leaves 0.2 % of its amplitude.
//
// t (any unit, strictly increasing) and v are equally long; the result is as long, its
// first and last three values repeat their neighbour's. With fewer than seven samples it
// is all zero. A jump or a spike shows in the seven values around it: take a median.
func Roughness(t []int64, v []float64) []float64 { return roughnesses(t, v)[0] }

// roughnesses is Roughness of several signals read at the same times.
func roughnesses(t []int64, v ...[]float64) [][]float64 {
	out := make([][]float64, len(v))
	for s := range out {
		out[s] = make([]float64, len(t))
	}
	if len(t) < roughSpan {
		return out
	}
	var w [roughSpan]float64
	var norm float64
	even, step := 0, int64(0) // how many steps up to here were that one
	for i := 1; i < len(t); i++ {
		if now := t[i] - t[i-1]; now != step {
			even, step = 0, now
		}
		even++
		from := i - (roughSpan - 1)
		if from < 0 {
			continue
		}
		if even < roughSpan { // else they are those of the last seven
			w, norm = roughWeights(t[from : i+1])
		}
		for s, v := range v {
			sum := 0.0
			for j := range w {
				sum += w[j] * (v[from+j] - v[from])
			}
			out[s][from+roughSpan/2] = sum / norm
		}
	}
	for _, rough := range out {
		for i := range roughSpan / 2 {
			rough[i] = rough[roughSpan/2]
			rough[len(t)-1-i] = rough[len(t)-1-roughSpan/2]
		}
	}
	return out
}

const roughSpan = 7

// roughWeights are those of the values at seven times in their sixth divided difference,
// 1 / Π (t[j] - t[k]) over k ≠ j, and their norm.
func roughWeights(t []int64) (w [roughSpan]float64, norm float64) {
	var x [roughSpan]float64
	unit := float64(t[roughSpan-1] - t[0])
	for j := range x {
		x[j] = float64(t[j]-t[0]) / unit
		w[j] = 1
	}
	for j := range x {
		for k := j + 1; k < roughSpan; k++ {
			apart := x[k] - x[j]
			w[j] *= apart
			w[k] *= apart
		}
	}
	sign, squares := 1.0, 0.0 // the sign of six later times, then of five, ...
	for j := range w {
		w[j] = sign / w[j]
		squares += w[j] * w[j]
		sign = -sign
	}
	return w, math.Sqrt(squares)
}

// Noise is the standard deviation of the noise on a smooth curve, from the median of
// |Roughness|: jumps and spikes in up to a twentieth of the samples hardly move it. 0 with
// fewer than seven samples or when more than half of them lie on a smooth curve exactly.
func Noise(t []int64, v []float64) float64 { return Noises(t, v)[0] }

// Noises is Noise of several signals read at the same times, each as long as t: what only hangs on
// the times is worked out once for all.
func Noises(t []int64, v ...[]float64) []float64 {
	out := make([]float64, len(v))
	if len(t) < roughSpan {
		return out
	}
	for s, rough := range roughnesses(t, v...) {
		out[s] = SpreadAboutZero(rough)
	}
	return out
}

// SpreadAboutZero is the standard deviation of x by the median of |x|, for x whose mean is
// known to be zero. NaN for no values.
func SpreadAboutZero(x []float64) float64 {
	size := make([]float64, len(x))
	for i, v := range x {
		size[i] = math.Abs(v)
	}
	return MADToSigma * quantileOf(size, 0.5)
}

// Despike is v with spikes of one or two samples replaced by the straight line between
// their neighbours. A spike stands off that line by more than
//   - six standard deviations of the noise, and
//   - any change within the two neighbours on either side, or between them:
//     a step, a ramp or the top of a swing sampled more than six times a period is none.
//
// t (strictly increasing, any unit) and v are equally long and are not changed; noise is
// in the unit of v and may be zero. At the ends, where nothing tells whether v would have
// come back, any of the outermost three samples that stands off its inner neighbour by six
// standard deviations and by three times the largest change among the four samples inside
// them is taken to have stayed with it. Fewer than seven samples have their ends left alone.
func Despike(t []int64, v []float64, noise float64) []float64 {
	out := append([]float64(nil), v...)
	for i := 2; i+2 < len(out); i++ {
		for width := 2; width >= 1; width-- {
			if i+width+1 < len(out) && isSpike(t, out, i, width, noise) {
				for j := range width {
					out[i+j] = onLine(t, out, i-1, i+width, i+j)
				}
				break
			}
		}
	}
	if n := len(out); n >= 7 {
		settleEnd(out, 0, 1, noise)
		settleEnd(out, n-1, -1, noise)
	}
	return out
}

// settleEnd holds the inner neighbour's value over a spike in the three samples at end.
func settleEnd(v []float64, end, inward int, noise float64) {
	usual := 0.0
	for j := 3; j < 6; j++ {
		usual = max(usual, math.Abs(v[end+j*inward]-v[end+(j+1)*inward]))
	}
	limit := max(6*noise, 3*usual)
	for j := 2; j >= 0; j-- {
		inner := v[end+(j+1)*inward]
		if math.Abs(v[end+j*inward]-inner) > limit {
			v[end+j*inward] = inner
		}
	}
}

func isSpike(t []int64, v []float64, i, width int, noise float64) bool {
	before, after := v[i-1], v[i+width]
	usual := max(math.Abs(after-before), math.Abs(before-v[i-2]), math.Abs(v[i+width+1]-after))
	limit := math.Max(6*noise, usual)
	for j := range width {
		if !(math.Abs(v[i+j]-onLine(t, v, i-1, i+width, i+j)) > limit) {
			return false
		}
	}
	return true
}

// onLine is the value at sample at on the line through samples a and b.
func onLine(t []int64, v []float64, a, b, at int) float64 {
	return v[a] + (v[b]-v[a])*float64(t[at]-t[a])/float64(t[b]-t[a])
}
