package balance

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// What the tilt did once the platform tipped, by the model that describes it best.
type kind int

const (
	unclear kind = iota // too little of it, or nothing fits
	direct              // a line or a plain decay: no swing
	damped              // a swing that dies down, or grows, by a constant factor
	steady              // a swing of constant size
)

// swing is c + e^(-s t)(a cos wd t + b sin wd t) fitted to a stretch of tilt, t from its start.
type swing struct {
	kind       kind
	start, end int64     // µs
	p          []float64 // c, a, b, s, wd
	cov        []float64 // covariance of p; nil when it cannot be had
	wn, zeta   float64   // rad/s; undamped
	wnSD       float64
	zetaSD     float64
	rms        float64 // of the residuals, deg
	bic        float64
	free       *swing // of a steady swing: the damped one that fits nearly as well
}

func (s swing) amplitude() float64 { return math.Hypot(s.p[1], s.p[2]) }
func (s swing) naturalHz() float64 { return s.wn / (2 * math.Pi) }

// model is the swing as the report has it.
func (s swing) model() *schemas.BalanceModel {
	return &schemas.BalanceModel{
		StartS: seconds(s.start), EndS: seconds(s.end),
		OffsetDeg: s.p[0], AmplitudeDeg: s.amplitude(), PhaseRad: math.Atan2(-s.p[2], s.p[1]),
		WnRadS: s.wn, Zeta: s.zeta, ErrorDeg: s.rms,
	}
}

// lookAtSwing fits the models to the tilt from where the platform tipped. Where that is
// cannot be seen exactly (a robot still drives as the tilt begins to fall), so the fit is
// tried from the end of the climb, from the first return into the band and from the first
// two peaks after that; the earliest that fits counts.
func lookAtSwing(tr trace, a attempt, in Input, cfg Config) swing {
	end := a.end
	if a.outcome == schemas.BalanceLeft {
		end = a.from[len(a.from)-1] // the last tilt was that of driving off
	}
	end = min(end, len(tr.t)-1)
	if n := len(a.peaks); n >= 6 && a.outcome != schemas.BalanceLeft {
		// A swing that dies down to a constant size is kept up by something: its later half tells.
		if s := fitModels(window(tr, a.peaks[n/2], end, cfg), in.LevelDeg, cfg); s.kind == steady {
			return s
		}
	}
	best, bestError := swing{}, math.Inf(1)
	for _, from := range swingStarts(tr, a, in) {
		if from >= end {
			continue
		}
		s := fitModels(window(tr, from, end, cfg), in.LevelDeg, cfg)
		if s.kind == unclear {
			continue
		}
		off := s.rms / max(s.amplitude(), in.LevelDeg)
		if off < bestError {
			best, bestError = s, off
		}
		if s.rms <= max(0.03*s.amplitude(), 1.3*tr.noise) {
			return s
		}
	}
	return best
}

// swingStarts are the samples from which the tilt may swing freely, earliest first.
func swingStarts(tr trace, a attempt, in Input) []int {
	firstEnd := a.start
	for firstEnd < min(a.end, len(tr.t)-1) && tr.v[firstEnd]*float64(a.first) > in.LevelDeg {
		firstEnd++
	}
	top := a.start
	for i := a.start; i < firstEnd; i++ {
		if math.Abs(tr.v[i]) >= 0.95*math.Abs(tr.v[a.peaks[0]]) {
			top = i
		}
	}
	starts := []int{top, firstEnd}
	for _, i := range a.overshoots() {
		if len(starts) < 4 && i > firstEnd {
			starts = append(starts, i)
		}
	}
	return starts
}

// stretch is a piece of tilt to fit: seconds from its start, degrees as logged.
type stretch struct {
	start, end int64
	t, y       []float64
}

// window is the tilt between two samples, averaged to at most fifty or so a second and cut at a gap
// and at cfg.SwingMaxS.
func window(tr trace, from, to int, cfg Config) stretch {
	const bin = 19_000 // µs; averaging over it leaves a swing of 2 Hz 99.8 % of its size
	s := stretch{start: tr.t[from], end: tr.t[from]}
	for i := from; i <= to; {
		if i > from && tr.afresh[i] || seconds(tr.t[i]-s.start) > cfg.SwingMaxS {
			break
		}
		sumT, sumY, n, first := 0.0, 0.0, 0.0, tr.t[i]
		for ; i <= to && (n == 0 || tr.t[i]-first < bin && !tr.afresh[i]); i++ {
			sumT, sumY, n = sumT+seconds(tr.t[i]-s.start), sumY+tr.raw[i], n+1
			s.end = tr.t[i]
		}
		s.t, s.y = append(s.t, sumT/n), append(s.y, sumY/n)
	}
	return s
}

// fitModels chooses among no swing, damped swing and steady swing by the Bayesian
// information criterion (Schwarz, Annals of Statistics 6, 1978). The kind is unclear when
// even the best explains too little or does not win by cfg.Evidence. The fields of a swing
// are filled for damped and steady.
func fitModels(w stretch, levelDeg float64, cfg Config) swing {
	if len(w.t) < 12 {
		return swing{}
	}
	free, ok := fitSwing(w)
	if !ok {
		return swing{}
	}
	plain := min(bicOfLine(w), bicOfDecay(w))
	cycles := (w.t[len(w.t)-1] - w.t[0]) * free.p[4] / (2 * math.Pi)
	constant, isConstant := swing{}, false
	if cycles >= 2 { // one swing says nothing about the size of the next
		constant, isConstant = fitSteady(w, free)
	}
	described := free.rms <= cfg.FitMaxDeg && free.rms <= cfg.FitShare*free.amplitude()
	switch {
	case plain <= free.bic && (!isConstant || plain <= constant.bic):
		return swing{kind: direct, p: free.p, rms: free.rms, start: w.start, end: w.end}
	case isConstant && constant.bic <= free.bic && constant.amplitude() > levelDeg && constant.rms <= cfg.FitShare*constant.amplitude():
		constant.kind, constant.free = steady, &free
		return constant
	case described && plain-free.bic >= cfg.Evidence && free.zeta < 0.95 && cycles >= 0.5 && free.zetaSD < 0.1 && free.wnSD < 0.1*free.wn:
		free.kind = damped
		return free
	}
	return swing{}
}

// fitSwing fits the damped swing from what the matrix pencil finds and from the best points
// of a grid of frequency and damping, on which the other three parameters are a linear problem. ok is false when nothing swings.
func fitSwing(w stretch) (swing, bool) {
	var best stat.CurveFit
	found := false
	for _, start := range append(pencilStarts(w), gridStarts(w)...) {
		fit, ok := stat.FitCurve(swingCurve(w), start)
		if ok && fit.P[4] != 0 && (!found || fit.RSS < best.RSS) {
			best, found = fit, true
		}
	}
	if !found {
		return swing{}, false
	}
	s := swing{start: w.start, end: w.end, p: best.P}
	if s.p[4] < 0 {
		s.p[4], s.p[2] = -s.p[4], -s.p[2]
		for i := range 5 {
			if best.Cov != nil {
				flip(best.Cov, i)
			}
		}
	}
	s.wn = math.Hypot(s.p[3], s.p[4])
	s.zeta = s.p[3] / s.wn
	n := float64(len(w.t))
	s.rms = math.Sqrt(best.RSS / n)
	s.bic = bic(best.RSS, n, 5)
	s.wnSD, s.zetaSD = math.Inf(1), math.Inf(1)
	if best.Cov != nil {
		s.cov = widen(best.Cov, residuals(swingCurve(w), best.P))
		s.wnSD = s.sd(s.p[3]/s.wn, s.p[4]/s.wn)
		s.zetaSD = s.sd(s.p[4]*s.p[4]/math.Pow(s.wn, 3), -s.p[3]*s.p[4]/math.Pow(s.wn, 3))
	}
	return s, true
}

// flip turns the signs of b and wd in row i of a covariance.
func flip(cov []float64, i int) {
	for _, j := range []int{2, 4} {
		cov[i*5+j] = -cov[i*5+j]
		cov[j*5+i] = -cov[j*5+i]
	}
}

// sd is the standard error of a quantity whose derivatives by s and wd are given, by the
// delta method.
func (s swing) sd(bySigma, byWd float64) float64 {
	ss, sw, ww := s.cov[3*5+3], s.cov[3*5+4], s.cov[4*5+4]
	return math.Sqrt(max(0, bySigma*bySigma*ss+2*bySigma*byWd*sw+byWd*byWd*ww))
}

func swingCurve(w stretch) stat.Curve {
	return stat.Curve{
		N: len(w.t),
		Residuals: func(p, out []float64) {
			for i, t := range w.t {
				sin, cos := math.Sincos(p[4] * t)
				out[i] = w.y[i] - p[0] - math.Exp(-p[3]*t)*(p[1]*cos+p[2]*sin)
			}
		},
		Slopes: func(p, out []float64) {
			for i, t := range w.t {
				sin, cos := math.Sincos(p[4] * t)
				e := math.Exp(-p[3] * t)
				row := out[5*i : 5*i+5]
				row[0], row[1], row[2] = -1, -e*cos, -e*sin
				row[3] = t * e * (p[1]*cos + p[2]*sin)
				row[4] = -t * e * (p[2]*cos - p[1]*sin)
			}
		},
	}
}

// residuals are those of c at p.
func residuals(c stat.Curve, p []float64) []float64 {
	r := make([]float64, c.N)
	c.Residuals(p, r)
	return r
}

// widen scales a covariance for residuals that hang together: those of a model that is only
// nearly right do, and count for fewer than they are. The factor (1+r)/(1-r) by their
// correlation r from one to the next is that of a first-order autoregression.
func widen(cov, r []float64) []float64 {
	now, next := 0.0, 0.0
	for i := 1; i < len(r); i++ {
		now, next = now+r[i-1]*r[i-1], next+r[i-1]*r[i]
	}
	factor := 1.0
	if now > 0 && next > 0 {
		c := min(next/now, 0.98)
		factor = (1 + c) / (1 - c)
	}
	out := make([]float64, len(cov))
	for i, v := range cov {
		out[i] = v * factor
	}
	return out
}

// bic is n ln(RSS/n) + k ln n. Residuals under a thousandth of a degree are rounding.
func bic(rss, n, k float64) float64 {
	return n*math.Log(rss/n+1e-6) + k*math.Log(n)
}
