package balance

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// trace is the tilt as it was, as well as the log can tell: no spikes, no sensor noise.
// All slices are equally long. A log without noise keeps every sample as it is.
type trace struct {
	t       []int64   // µs
	v       []float64 // tilt without noise, deg
	sd      []float64 // standard error of v, deg; 0 where the log has no noise
	rate    []float64 // deg/s
	raw     []float64 // spikes taken out, noise still in
	afresh  []bool    // the first sample of the log or behind a gap
	samples []int64   // times of the log's own samples: events lie on these
	noise   float64   // usual noise of the sensor, deg
	gyro    bool      // the logged rate says what the tilt says
	zero    []float64 // taken off v, deg; nil for none
	zeroSD  []float64 // its standard error
}

// clean takes spikes and noise out of the tilt without moving what happened in time. A gyro
// that agrees with the tilt (rate may be nil) carries the motion, so that more of the tilt's
// noise can be averaged away without smearing it. step is that in which a coarse sensor tells the tilt,
// 0 for one whose steps are narrow.
func clean(tilt, rate *series.Float, step float64, cfg Config) trace {
	gapLimit := max(int64(cfg.GapS*1e6), 3*series.Step(tilt.T))
	tr := trace{samples: tilt.T}
	rough := stat.Roughness(tilt.T, tilt.V)
	noise := localNoise(tilt.T, rough, cfg)
	for lo := 0; lo < len(tilt.T); {
		hi := lo + 1
		for hi < len(tilt.T) && tilt.T[hi]-tilt.T[hi-1] <= gapLimit {
			hi++
		}
		tr.add(tilt.T[lo:hi], stat.Despike(tilt.T[lo:hi], tilt.V[lo:hi], noise[lo]), cfg.ThinS, step > 0 || anyPositive(noise[lo:hi]))
		lo = hi
	}
	if anyPositive(noise) {
		tr.noise = stat.SpreadAboutZero(rough)
	}
	// Noise is measured again on the thinned samples: neighbours of a fast log may share it.
	thinned := localNoise(tr.t, stat.Roughness(tr.t, tr.raw), cfg)
	turned, agrees := turnedBy(rate, tr, cfg)
	if step > 0 {
		if !agrees {
			rate = nil
		}
		tr.follow(tilt, rate, step)
		return tr
	}
	tr.gyro = agrees
	tr.v, tr.sd, tr.rate = make([]float64, len(tr.t)), make([]float64, len(tr.t)), make([]float64, len(tr.t))
	for lo := 0; lo < len(tr.t); {
		hi := lo + 1
		for hi < len(tr.t) && !tr.afresh[hi] {
			hi++
		}
		if agrees {
			tr.smooth(lo, hi, turned, thinned, cfg.SmoothRateS, cfg)
		} else {
			tr.smooth(lo, hi, nil, thinned, cfg.SmoothS, cfg)
		}
		lo = hi
	}
	return tr
}

func anyPositive(x []float64) bool {
	for _, v := range x {
		if v > 0 {
			return true
		}
	}
	return false
}

// localNoise is the noise about each sample, over stretches of about cfg.NoiseS. What is
// below cfg.NoiseFloorDeg is rounding or a computed tilt and counts as none.
func localNoise(t []int64, rough []float64, cfg Config) []float64 {
	out := make([]float64, len(t))
	for lo := 0; lo < len(t); {
		hi := lo + 1
		for hi < len(t) && (hi-lo < 40 || float64(t[hi]-t[lo]) < cfg.NoiseS*1e6) {
			hi++
		}
		if len(t)-hi < 20 {
			hi = len(t) // too little left over for a stretch of its own
		}
		if s := stat.SpreadAboutZero(rough[lo:hi]); s >= cfg.NoiseFloorDeg {
			for i := lo; i < hi; i++ {
				out[i] = s
			}
		}
		lo = hi
	}
	return out
}

// add appends one stretch without gaps. Where there is noise, samples nearer together than
// thinS are averaged, which loses nothing a robot's tilt can do.
func (tr *trace) add(t []int64, v []float64, thinS float64, noisy bool) {
	width := int64(0)
	if noisy {
		width = int64(thinS * 1e6)
	}
	for lo := 0; lo < len(t); {
		hi, sumT, sumV := lo, int64(0), 0.0
		for hi == lo || hi < len(t) && t[hi]-t[lo] < width {
			sumT, sumV = sumT+t[hi]-t[lo], sumV+v[hi]
			hi++
		}
		n := int64(hi - lo)
		tr.t, tr.raw = append(tr.t, t[lo]+sumT/n), append(tr.raw, sumV/float64(n))
		tr.afresh = append(tr.afresh, lo == 0)
		lo = hi
	}
}

// windows are the half-widths, in samples, that smooth tries.
var windows = [...]int{2, 3, 4, 6, 8, 11, 15, 20, 27, 36, 50, 70, 100}

// smooth fits a parabola about every sample of [lo, hi) over the widest window on which it
// still describes the tilt, by the intersection of confidence intervals: as long as the
// intervals of ever wider windows have a common point, widening only averages noise; the
// first that has none has smeared a real motion. (Goldenshluger and Nemirovski, "On spatial
// adaptive estimation of nonparametric regression", Math. Methods of Statistics 6, 1997.)
// Where the gyro tells how far the tilt turned, turned is taken off first and put back after.
func (tr *trace) smooth(lo, hi int, turned, noise []float64, reachS float64, cfg Config) {
	reach := int64(reachS * 1e6)
	still := func(i int) float64 {
		if turned == nil {
			return tr.raw[i]
		}
		return tr.raw[i] - turned[i]
	}
	for i := lo; i < hi; i++ {
		tr.v[i], tr.sd[i] = tr.raw[i], noise[i]
		tr.rate[i] = slope(tr.t[lo:hi], tr.raw[lo:hi], i-lo)
		if noise[i] == 0 {
			continue
		}
		back, turning := 0.0, 0.0
		if turned != nil {
			back, turning = turned[i], slope(tr.t[lo:hi], turned[lo:hi], i-lo)
		}
		here := still(i)
		low, high := here-cfg.SmoothSD*noise[i], here+cfg.SmoothSD*noise[i]
		var m moments
		m.add(0, here)
		from, to := i, i+1
		for _, w := range windows {
			for from > max(lo, i-w) && tr.t[i]-tr.t[from-1] <= reach {
				from--
				m.add(float64(tr.t[from]-tr.t[i])/1e6, still(from))
			}
			for to < min(hi, i+w+1) && tr.t[to]-tr.t[i] <= reach {
				m.add(float64(tr.t[to]-tr.t[i])/1e6, still(to))
				to++
			}
			v, rate, scale, ok := m.parabola()
			if !ok {
				continue // too few samples yet
			}
			sd := noise[i] * scale
			low, high = max(low, v-cfg.SmoothSD*sd), min(high, v+cfg.SmoothSD*sd)
			if low > high {
				break
			}
			tr.v[i], tr.sd[i], tr.rate[i] = v+back, sd, rate+turning
		}
	}
}

// turnedBy is how far the tilt has turned by the gyro at each sample of the trace, deg. It
// agrees when over a fifth of a second, wherever that is more than a degree, it says what
// the tilt says: a gyro of another axis, sign or unit, or one that is silent, does not.
func turnedBy(rate *series.Float, tr trace, cfg Config) (turned []float64, agrees bool) {
	if rate == nil || len(rate.T) < 2 {
		return nil, false
	}
	turned = make([]float64, len(tr.t))
	sum, at := 0.0, 0 // up to rate.T[at]
	limit := max(int64(cfg.GapS*1e6), 3*series.Step(rate.T))
	for i, t := range tr.t {
		for at+1 < len(rate.T) && rate.T[at+1] <= t {
			sum += (rate.V[at] + rate.V[at+1]) / 2 * seconds(rate.T[at+1]-rate.T[at])
			at++
		}
		if past := t - rate.T[at]; past > limit || past < -limit {
			return nil, false
		} else if past > 0 {
			turned[i] = sum + rate.V[at]*seconds(past)
		} else {
			turned[i] = sum
		}
	}
	both, own, other, n := 0.0, 0.0, 0.0, 0
	for i, j := 0, 0; j < len(tr.t); j++ {
		for tr.t[j]-tr.t[i] > 200_000 {
			i++
		}
		a, b := turned[j]-turned[i], tr.raw[j]-tr.raw[i]
		if math.Abs(a) < 1 && math.Abs(b) < 1+4*tr.noise {
			continue
		}
		both, own, other, n = both+a*b, own+a*a, other+b*b, n+1
	}
	if n < 20 {
		return nil, false
	}
	return turned, both*both > 0.8*own*other && both > 0.8*own && both < 1.25*own
}

// slope is the rate at sample i between its neighbours, deg/s.
func slope(t []int64, v []float64, i int) float64 {
	a, b := max(0, i-1), min(len(t)-1, i+1)
	if a == b {
		return 0
	}
	return (v[b] - v[a]) / (float64(t[b]-t[a]) / 1e6)
}

// moments are the sums a parabola through points (x, y) needs.
type moments struct{ n, x, xx, xxx, xxxx, y, xy, xxy float64 }

func (m *moments) add(x, y float64) {
	x2 := x * x
	m.n++
	m.x, m.xx, m.xxx, m.xxxx = m.x+x, m.xx+x2, m.xxx+x2*x, m.xxxx+x2*x2
	m.y, m.xy, m.xxy = m.y+y, m.xy+x*y, m.xxy+x2*y
}

// parabola is the least-squares parabola at x = 0: its value, its slope and the standard
// error of the value for points of standard error 1. ok is false below five points.
func (m *moments) parabola() (value, rate, scale float64, ok bool) {
	if m.n < 5 {
		return 0, 0, 0, false
	}
	c00 := m.xx*m.xxxx - m.xxx*m.xxx
	c01 := m.xxx*m.xx - m.x*m.xxxx
	c02 := m.x*m.xxx - m.xx*m.xx
	det := m.n*c00 + m.x*c01 + m.xx*c02
	if !(det > 1e-12*m.n*m.xx*m.xxxx) {
		return 0, 0, 0, false
	}
	c11 := m.n*m.xxxx - m.xx*m.xx
	c12 := m.x*m.xx - m.n*m.xxx
	value = (c00*m.y + c01*m.xy + c02*m.xxy) / det
	rate = (c01*m.y + c11*m.xy + c12*m.xxy) / det
	return value, rate, math.Sqrt(c00 / det), true
}
