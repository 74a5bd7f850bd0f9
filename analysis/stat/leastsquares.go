package stat

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// Curve is what FitCurve fits: n observations, described by the parameters p.
type Curve struct {
	N int // observations
	// Residuals writes observed minus predicted into out, which has N places.
	Residuals func(p, out []float64)
	// Slopes writes the derivatives of the residuals, out[i*len(p)+j] = d r_i / d p_j.
	// May be nil: central differences then.
	Slopes func(p, out []float64)
	// Most is how many steps may be taken, 500 when 0: a curve that may have no bottom, only a valley
	// that falls for ever, needs fewer to show that.
	Most int
}

// CurveFit is where FitCurve came to rest.
type CurveFit struct {
	P         []float64 // the parameters
	SD        []float64 // their standard errors, from Cov
	Cov       []float64 // covariance s² (JᵀJ)⁻¹ row by row, s² = RSS / (N - len(P)); nil when it cannot be had
	RSS       float64   // residual sum of squares
	Converged bool      // false when the steps ran out first
	Steps     int
}

// Covariance is the covariance of parameters i and j.
func (f *CurveFit) Covariance(i, j int) float64 { return f.Cov[i*len(f.P)+j] }

const (
	curveSteps     = 500
	curveTolerance = 1e-13 // a step is over when it moves no parameter by more, relatively
	curveRounding  = 1e-13 // two sums of squares nearer than this are equal
	curveOffset    = 1e-20 // fall of the RSS still to be had, relatively: the square of the distance in standard errors
)

// FitCurve minimises the sum of squared residuals of c from start by the
// Levenberg-Marquardt method: Marquardt's scaling by the largest diagonal of JᵀJ seen so
// far (Moré, "The Levenberg-Marquardt algorithm", Lecture Notes in Mathematics 630, 1978)
// and the damping rule of Nielsen, report IMM-REP-1999-05. It finds the bottom of the
// valley it starts in: try several starts where there may be more than one.
//
// It needs N > len(start) >= 1; ok is false otherwise, and when the residuals at start are
// not finite. A step to where residuals are not finite is taken back. start is not changed.
// SD and Cov are nil when the data do not tell the parameters apart.
//
// Checked against the certified values of two NIST problems, to 1e-6 and better.
func FitCurve(c Curve, start []float64) (fit CurveFit, ok bool) {
	k := len(start)
	if k == 0 || c.N <= k {
		return CurveFit{}, false
	}
	most := curveSteps
	if c.Most > 0 {
		most = c.Most
	}
	w := newDescent(c, k)
	p := append([]float64(nil), start...)
	c.Residuals(p, w.r)
	rss := sumSquares(w.r)
	if math.IsNaN(rss) || math.IsInf(rss, 0) {
		return CurveFit{}, false
	}
	damping, growth := 1e-3, 2.0
	fit = CurveFit{P: p, RSS: rss}
	w.linearise(p)
	for fit.Steps < most && !fit.Converged {
		fit.Steps++
		if !w.step(damping) {
			damping, growth = damping*growth, growth*2
			if damping > 1e20 {
				break // no downhill direction left that rounding can tell
			}
			continue
		}
		for j := range p {
			w.next[j] = p[j] - w.delta[j]
		}
		c.Residuals(w.next, w.trial)
		now := sumSquares(w.trial)
		foreseen := w.foreseen(damping)
		// Near the bottom the RSS is flat to rounding long before the parameters are: there
		// the linear model is believed, not the comparison of two nearly equal sums.
		atBottom := foreseen <= curveRounding*fit.RSS && now <= fit.RSS*(1+curveRounding)
		if !atBottom && !(now <= fit.RSS) { // worse, or not a number
			fit.Converged = w.tiny(p)
			damping, growth = damping*growth, growth*2
			if damping > 1e20 {
				break
			}
			continue
		}
		fit.Converged = w.tiny(p) || foreseen <= curveOffset*now
		copy(p, w.next)
		w.r, w.trial = w.trial, w.r
		gain := math.Max(0, fit.RSS-now) / math.Max(foreseen, math.SmallestNonzeroFloat64)
		damping *= math.Max(1.0/3, 1-math.Pow(2*math.Min(gain, 1)-1, 3))
		growth, fit.RSS = 2, now
		w.linearise(p)
	}
	w.errors(&fit)
	return fit, true
}

// descent holds the working arrays of one fit.
type descent struct {
	c                       Curve
	k                       int
	r, trial, slopes        []float64
	normal                  *mat.SymDense // JᵀJ
	sums                    []float64     // its upper half, row after row
	gradient                []float64     // Jᵀr
	scale, next, delta, low []float64
	damped                  *mat.SymDense
	chol                    mat.Cholesky
}

func newDescent(c Curve, k int) *descent {
	return &descent{
		c: c, k: k,
		r: make([]float64, c.N), trial: make([]float64, c.N), low: make([]float64, c.N), slopes: make([]float64, c.N*k),
		normal: mat.NewSymDense(k, nil), sums: make([]float64, k*(k+1)/2), damped: mat.NewSymDense(k, nil),
		gradient: make([]float64, k), scale: make([]float64, k), next: make([]float64, k), delta: make([]float64, k),
	}
}

// linearise takes JᵀJ and Jᵀr at p; w.r holds the residuals there.
func (w *descent) linearise(p []float64) {
	if w.c.Slopes != nil {
		w.c.Slopes(p, w.slopes)
	} else {
		w.differences(p)
	}
	clear(w.gradient)
	clear(w.sums)
	for i, r := range w.r {
		row := w.slopes[i*w.k : (i+1)*w.k]
		at := 0
		for a, s := range row {
			w.gradient[a] += s * r
			for _, o := range row[a:] {
				w.sums[at] += s * o
				at++
			}
		}
	}
	at := 0
	for a := range w.k {
		w.scale[a] = math.Max(w.scale[a], w.sums[at])
		for b := a; b < w.k; b++ {
			w.normal.SetSym(a, b, w.sums[at])
			at++
		}
	}
}

// differences are central differences with the step that balances rounding and curvature.
func (w *descent) differences(p []float64) {
	copy(w.next, p)
	for j := range w.k {
		h := math.Cbrt(2.2e-16) * math.Max(math.Abs(p[j]), 1e-4)
		w.next[j] = p[j] + h
		w.c.Residuals(w.next, w.trial)
		w.next[j] = p[j] - h
		w.c.Residuals(w.next, w.low)
		w.next[j] = p[j]
		for i := range w.c.N {
			w.slopes[i*w.k+j] = (w.trial[i] - w.low[i]) / (2 * h)
		}
	}
}

// step solves (JᵀJ + damping D) delta = Jᵀr; false when the matrix is not positive.
func (w *descent) step(damping float64) bool {
	w.damped.CopySym(w.normal)
	for a := range w.k {
		w.damped.SetSym(a, a, w.normal.At(a, a)+damping*math.Max(w.scale[a], 1e-300))
	}
	// mat.Cholesky would also estimate how nearly singular the matrix is, which takes several times as
	// long as solving: a bad step is taken back by the caller in any case.
	factor, ok := lapack64.Potrf(w.damped.RawSymmetric())
	if !ok {
		return false
	}
	copy(w.delta, w.gradient)
	lapack64.Potrs(factor, blas64.General{Rows: w.k, Cols: 1, Stride: 1, Data: w.delta})
	for _, d := range w.delta {
		if math.IsNaN(d) || math.IsInf(d, 0) {
			return false
		}
	}
	return true
}

// foreseen is the fall of the RSS that the linear model promised for the last step.
func (w *descent) foreseen(damping float64) float64 {
	sum := 0.0
	for a, d := range w.delta {
		sum += d * (damping*w.scale[a]*d + w.gradient[a])
	}
	return sum
}

// tiny says that the last step moved no parameter by more than rounding.
func (w *descent) tiny(p []float64) bool {
	for j, d := range w.delta {
		if math.Abs(d) > curveTolerance*(math.Abs(p[j])+curveTolerance) {
			return false
		}
	}
	return true
}

// errors fills in the covariance, scaled to unit diagonal first so that parameters of very
// different size do not spoil the inverse.
func (w *descent) errors(fit *CurveFit) {
	root := make([]float64, w.k)
	for a := range w.k {
		root[a] = math.Sqrt(w.normal.At(a, a))
		if !(root[a] > 0) {
			return
		}
	}
	for a := range w.k {
		for b := a; b < w.k; b++ {
			w.damped.SetSym(a, b, w.normal.At(a, b)/(root[a]*root[b]))
		}
	}
	if !w.chol.Factorize(w.damped) || w.chol.Cond() > 1e14 {
		return
	}
	var inverse mat.SymDense
	if w.chol.InverseTo(&inverse) != nil {
		return
	}
	s2 := fit.RSS / float64(w.c.N-w.k)
	fit.Cov, fit.SD = make([]float64, w.k*w.k), make([]float64, w.k)
	for a := range w.k {
		for b := range w.k {
			fit.Cov[a*w.k+b] = s2 * inverse.At(a, b) / (root[a] * root[b])
		}
		fit.SD[a] = math.Sqrt(fit.Cov[a*w.k+a])
	}
}

func sumSquares(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return sum
}
