package balance

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// follow is the tilt without noise, and its rate, where a sensor told it in wide steps: the likeliest way of it
// through all that its readings, and those of a gyro that agrees (else nil), leave open. It moves as a
// platform does, by accelerations that are another from one moment to the next: a Kalman filter and the
// smoother of Rauch, Tung and Striebel, AIAA J. 3, 1965, with readings in steps about the mode of their
// likelihood, found by Newton's steps (from memory).
func (tr *trace) follow(tilt, rate *series.Float, step float64) {
	hidden, _ := noiseOfSteps(tilt, step)
	tilts := readingsAt(tr.t, &series.Float{T: tilt.T, V: stat.Despike(tilt.T, tilt.V, step)}, reading{step: step, noise: hidden})
	rates := make([][]reading, len(tr.t))
	if rate != nil {
		as := reading{step: stepOf(rate.V)}
		noise, coarse := noiseOfSteps(rate, as.step)
		if !coarse {
			as.step = 0
		}
		as.noise = max(noise, rateNoiseLeast)
		rates = readingsAt(tr.t, rate, as)
		for _, at := range rates {
			for k, r := range at {
				at[k].noise = math.Hypot(r.noise, rateOff*r.value)
			}
		}
	}
	tr.v, tr.sd, tr.rate = make([]float64, len(tr.t)), make([]float64, len(tr.t)), make([]float64, len(tr.t))
	for lo := 0; lo < len(tr.t); {
		hi := lo + 1
		for hi < len(tr.t) && !tr.afresh[hi] {
			hi++
		}
		x := make([]state, hi-lo)
		for pass := range stepPasses {
			x = smoothed(tr.t[lo:hi], tilts[lo:hi], rates[lo:hi], x, newton{first: pass == 0, last: pass == stepPasses-1})
		}
		for i, s := range x {
			tr.v[lo+i], tr.rate[lo+i], tr.sd[lo+i] = s.mean[0], s.mean[1], math.Sqrt(max(0, s.cov[0][0]))
			if math.Abs(tr.raw[lo+i]-s.mean[0]) > step { // it read what no platform does: nothing is known but that
				tr.v[lo+i], tr.rate[lo+i], tr.sd[lo+i] = tr.raw[lo+i], slope(tr.t[lo:hi], tr.raw[lo:hi], i), step/math.Sqrt(12)
			}
		}
		lo = hi
	}
	// What else looks at the tilt has it without its steps; the gyro's readings are in it.
	tr.raw, tr.gyro, tr.noise = slices.Clone(tr.v), false, stat.Median(tr.sd)
}

const (
	stepPasses     = 12    // of Newton's steps: more change nothing that matters
	cautious       = 0.25  // of the most that a reading's likelihood can bend, added until the last
	pushPower      = 100.0 // deg²/s³: accelerations of some 30 deg/s², those of a swing of 12 degrees at a quarter of a hertz, that are others after a tenth of a second
	biasPower      = 1e-4  // deg²/s³ by which a gyro's own bias wanders
	biasUsual      = 2.0   // deg/s of bias of a gyro that nobody took the zero of
	rateNoiseLeast = 0.1   // deg/s; no gyro on a robot is quieter
	rateOff        = 0.05  // of the rate, by which scale and direction of a gyro are off (common practice)
)

// newton says which of Newton's steps it is.
type newton struct{ first, last bool }

// state is tilt, its rate and the gyro's bias, deg and deg/s: mean and covariance.
type state struct {
	mean [3]float64
	cov  [3][3]float64
}

// What a reading of the tilt and one of a gyro are the sum of.
var (
	ofTilt = [3]float64{1, 0, 0}
	ofRate = [3]float64{0, 1, 1}
)

// smoothed are the states at the times of some readings, about those there were before.
func smoothed(t []int64, tilts, rates [][]reading, about []state, by newton) []state {
	n := len(t)
	ahead, was := make([]state, n), make([]state, n) // foreseen, and with the readings
	now := state{cov: [3][3]float64{{1e4, 0, 0}, {0, 1e3, 0}, {0, 0, biasUsual * biasUsual}}}
	for i := range n {
		if i > 0 {
			now = now.later(seconds(t[i] - t[i-1]))
		}
		ahead[i] = now
		for _, r := range tilts[i] {
			now = now.told(r, ofTilt, about[i], by)
		}
		for _, r := range rates[i] {
			now = now.told(r, ofRate, about[i], by)
		}
		was[i] = now
	}
	out := make([]state, n)
	out[n-1] = was[n-1]
	for i := n - 2; i >= 0; i-- {
		out[i] = was[i].given(ahead[i+1], out[i+1], seconds(t[i+1]-t[i]))
	}
	return out
}

// later is the state h seconds on.
func (s state) later(h float64) state {
	m, c := s.mean, s.cov
	out := state{mean: [3]float64{m[0] + h*m[1], m[1], m[2]}}
	// F C Fᵀ with F = 1 but for h in the first row's second place.
	fc := c
	for j := range 3 {
		fc[0][j] = c[0][j] + h*c[1][j]
	}
	out.cov = fc
	for i := range 3 {
		out.cov[i][0] = fc[i][0] + h*fc[i][1]
	}
	out.cov[0][0] += pushPower * h * h * h / 3
	out.cov[0][1] += pushPower * h * h / 2
	out.cov[1][0] += pushPower * h * h / 2
	out.cov[1][1] += pushPower * h
	out.cov[2][2] += biasPower * h
	return out
}

// told is the state with a reading of a sum of it, whose likelihood is taken as that of a normal one which
// bends as it does about a state.
func (s state) told(r reading, of [3]float64, about state, by newton) state {
	x := of[0]*about.mean[0] + of[1]*about.mean[1] + of[2]*about.mean[2]
	var value, variance float64
	if by.first {
		value, variance = r.value, r.noise*r.noise+r.step*r.step/12 // of an even spread over a step
	} else {
		slope, bend := r.slope(x)
		if !by.last {
			bend += cautious / (r.noise * r.noise)
		}
		bend = max(bend, 1e-4/(r.noise*r.noise)) // in the middle of a step next to nothing is told
		value, variance = x+slope/bend, 1/bend
	}
	var gain [3]float64
	spread := variance
	for i := range 3 {
		for j := range 3 {
			gain[i] += s.cov[i][j] * of[j]
		}
		spread += of[i] * gain[i]
	}
	off := value - (of[0]*s.mean[0] + of[1]*s.mean[1] + of[2]*s.mean[2])
	out := s
	for i := range 3 {
		out.mean[i] += gain[i] / spread * off
		for j := range 3 {
			out.cov[i][j] -= gain[i] * gain[j] / spread
		}
	}
	return out
}

// given is the state with what came h seconds later, where ahead had been foreseen.
func (s state) given(ahead, after state, h float64) state {
	inverse, ok := inverted(ahead.cov)
	if !ok {
		return s
	}
	// C Fᵀ, then times the inverse.
	var cf, gain [3][3]float64
	for i := range 3 {
		cf[i] = s.cov[i]
		cf[i][0] += h * s.cov[i][1]
	}
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				gain[i][j] += cf[i][k] * inverse[k][j]
			}
		}
	}
	out := s
	var less [3][3]float64
	for i := range 3 {
		for j := range 3 {
			out.mean[i] += gain[i][j] * (after.mean[j] - ahead.mean[j])
			less[i][j] = after.cov[i][j] - ahead.cov[i][j]
		}
	}
	gl := product(gain, less)
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out.cov[i][j] += gl[i][k] * gain[j][k]
			}
		}
	}
	return out
}

func inverted(m [3][3]float64) (out [3][3]float64, ok bool) {
	for i := range 3 {
		for j := range 3 {
			a, b, c, d := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
			out[j][i] = m[a][c]*m[b][d] - m[a][d]*m[b][c]
		}
	}
	det := m[0][0]*out[0][0] + m[0][1]*out[1][0] + m[0][2]*out[2][0]
	if !(math.Abs(det) > 0) {
		return out, false
	}
	for i := range 3 {
		for j := range 3 {
			out[i][j] /= det
		}
	}
	return out, true
}
