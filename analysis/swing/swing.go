// Package swing fits what a controlled thing did once it came to where it was sent: a plain
// approach, a swing that dies down or grows, or one of constant size. The balance loop's tilt
// and the position of an arm or a lift are looked at with these same estimators.
package swing

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
)

// Kind is which model describes a stretch best.
type Kind int

// Kinds of swings.
const (
	Unclear Kind = iota // too little of it, or nothing fits
	Direct              // a line or a plain decay: no swing
	Damped              // a swing that dies down, or grows, by a constant factor
	Steady              // a swing of constant size
)

// Fit is c + e^(-s t)(a cos wd t + b sin wd t) fitted to a stretch, t in s from its start.
type Fit struct {
	Kind       Kind
	Start, End int64     // µs
	P          []float64 // c, a, b, s, wd
	Cov        []float64 // covariance of P; nil when it cannot be had
	Wn, Zeta   float64   // rad/s, undamped; damping ratio
	WnSD       float64   // standard errors
	ZetaSD     float64
	RMS        float64 // of the residuals, in the unit of the stretch
	BIC        float64
	Free       *Fit // of a steady swing: the damped one that fits nearly as well
}

// Amplitude is the size of the swing at the start of its stretch.
func (f Fit) Amplitude() float64 { return math.Hypot(f.P[1], f.P[2]) }

// NaturalHz is its undamped frequency.
func (f Fit) NaturalHz() float64 { return f.Wn / (2 * math.Pi) }

// Stretch is what is fitted: seconds from its start, and values in any unit.
type Stretch struct {
	Start, End int64 // µs
	T, Y       []float64
	Grain      float64 // residuals under this are rounding, in the unit of Y
}

// Limits are what a fit must reach.
type Limits struct {
	Error    float64 // RMS in the unit of the stretch; a model that errs by more explains nothing
	Share    float64 // of the amplitude; likewise
	Least    float64 // amplitude that a steady swing must exceed
	Evidence float64 // BIC by which a damped swing must win over none
}

// Window is the stretch between two samples, averaged to at most fifty or so a second and cut
// at maxS seconds and where cut says that sample i does not go on from the one before it.
func Window(t []int64, y []float64, from, to int, maxS float64, cut func(i int) bool) Stretch {
	const bin = 19_000 // µs; averaging over it leaves a swing of 2 Hz 99.8 % of its size
	s := Stretch{Start: t[from], End: t[from]}
	since := func(i int) float64 { return float64(t[i]-s.Start) / 1e6 }
	for i := from; i <= to; {
		if i > from && cut(i) || since(i) > maxS {
			break
		}
		sumT, sumY, n, first := 0.0, 0.0, 0.0, t[i]
		for ; i <= to && (n == 0 || t[i]-first < bin && !cut(i)); i++ {
			sumT, sumY, n = sumT+since(i), sumY+y[i], n+1
			s.End = t[i]
		}
		s.T, s.Y = append(s.T, sumT/n), append(s.Y, sumY/n)
	}
	return s
}

// Models chooses among no swing, damped swing and steady swing by the Bayesian
// information criterion (Schwarz, Annals of Statistics 6, 1978). The kind is unclear when
// even the best explains too little or does not win by lim.Evidence. The fields of a fit
// are filled for damped and steady.
func Models(w Stretch, lim Limits) Fit {
	if len(w.T) < 12 {
		return Fit{}
	}
	free, ok := DampedSwing(w)
	if !ok {
		return Fit{}
	}
	plain := min(bicOfLine(w), bicOfDecay(w))
	cycles := (w.T[len(w.T)-1] - w.T[0]) * free.P[4] / (2 * math.Pi)
	constant, isConstant := Fit{}, false
	if cycles >= 2 { // one swing says nothing about the size of the next
		constant, isConstant = fitSteady(w, free)
	}
	described := free.RMS <= lim.Error && free.RMS <= lim.Share*free.Amplitude()
	switch {
	case plain <= free.BIC && (!isConstant || plain <= constant.BIC):
		return Fit{Kind: Direct, P: free.P, RMS: free.RMS, Start: w.Start, End: w.End}
	case isConstant && constant.BIC <= free.BIC && constant.Amplitude() > lim.Least && constant.RMS <= lim.Share*constant.Amplitude():
		constant.Kind, constant.Free = Steady, &free
		return constant
	case described && plain-free.BIC >= lim.Evidence && free.Zeta < 0.95 && cycles >= 0.5 && free.ZetaSD < 0.1 && free.WnSD < 0.1*free.Wn:
		free.Kind = Damped
		return free
	}
	return Fit{}
}

// DampedSwing fits the damped swing from what the matrix pencil finds and from the best points
// of a grid of frequency and damping, on which the other three parameters are a linear problem. ok is false when nothing swings.
func DampedSwing(w Stretch) (Fit, bool) {
	var best stat.CurveFit
	found := false
	for _, start := range append(pencilStarts(w), gridStarts(w)...) {
		if found && oneValley(best.P, start) {
			continue
		}
		fit, ok := stat.FitCurve(Curve(w), start)
		if ok && fit.P[4] != 0 && (!found || fit.RSS < best.RSS) {
			best, found = fit, true
		}
	}
	if !found {
		return Fit{}, false
	}
	s := Fit{Start: w.Start, End: w.End, P: best.P}
	if s.P[4] < 0 {
		s.P[4], s.P[2] = -s.P[4], -s.P[2]
		for i := range 5 {
			if best.Cov != nil {
				flip(best.Cov, i)
			}
		}
	}
	s.Wn = math.Hypot(s.P[3], s.P[4])
	s.Zeta = s.P[3] / s.Wn
	n := float64(len(w.T))
	s.RMS = math.Sqrt(best.RSS / n)
	s.BIC = bic(best.RSS, n, 5, w.Grain)
	s.WnSD, s.ZetaSD = math.Inf(1), math.Inf(1)
	if best.Cov != nil {
		s.Cov = Widen(best.Cov, Residuals(Curve(w), best.P))
		s.WnSD = s.SD(s.P[3]/s.Wn, s.P[4]/s.Wn)
		s.ZetaSD = s.SD(s.P[4]*s.P[4]/math.Pow(s.Wn, 3), -s.P[3]*s.P[4]/math.Pow(s.Wn, 3))
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

// SD is the standard error of a quantity whose derivatives by s and wd are given, by the
// delta method.
func (f Fit) SD(bySigma, byWd float64) float64 {
	ss, sw, ww := f.Cov[3*5+3], f.Cov[3*5+4], f.Cov[4*5+4]
	return math.Sqrt(max(0, bySigma*bySigma*ss+2*bySigma*byWd*sw+byWd*byWd*ww))
}

// Curve is the damped swing as a problem of least squares in P.
func Curve(w Stretch) stat.Curve {
	return stat.Curve{
		N: len(w.T),
		Residuals: func(p, out []float64) {
			for i, t := range w.T {
				sin, cos := math.Sincos(p[4] * t)
				out[i] = w.Y[i] - p[0] - math.Exp(-p[3]*t)*(p[1]*cos+p[2]*sin)
			}
		},
		Slopes: func(p, out []float64) {
			for i, t := range w.T {
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

// Residuals are those of c at p.
func Residuals(c stat.Curve, p []float64) []float64 {
	r := make([]float64, c.N)
	c.Residuals(p, r)
	return r
}

// Widen scales a covariance for residuals that hang together: those of a model that is only
// nearly right do, and count for fewer than they are. The factor (1+r)/(1-r) by their
// correlation r from one to the next is that of a first-order autoregression.
func Widen(cov, r []float64) []float64 {
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

// bic is n ln(RSS/n) + k ln n. Residuals under the grain are rounding.
func bic(rss, n, k, grain float64) float64 {
	return n*math.Log(rss/n+grain*grain) + k*math.Log(n)
}
