package swing

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"github.com/afterbell/afterbell/analysis/stat"
)

// gridStarts are the best starts for a damped swing on a grid of frequency and damping, three
// at the most, no two of one valley. A sparse copy of the samples is enough to find them.
func gridStarts(w Stretch) [][]float64 {
	stride := (len(w.T) + 149) / 150
	var t, y []float64
	for i := 0; i < len(w.T); i += stride {
		t, y = append(t, w.T[i]), append(y, w.Y[i])
	}
	length := t[len(t)-1] - t[0]
	if !(length > 0) {
		return nil
	}
	type point struct {
		rss float64
		p   []float64
	}
	var grid []point
	top := min(2*math.Pi*4, 0.6*math.Pi*float64(len(w.T)-1)/length) // 4 Hz, or well under half the sampling rate
	basis := make([]float64, 3*len(t))
	for wd := 0.8 * math.Pi / length; wd < top; wd *= 1.15 {
		for _, zeta := range [...]float64{-0.2, -0.05, 0.03, 0.12, 0.3, 0.7} {
			s := wd * zeta / math.Sqrt(1-zeta*zeta)
			for i, ti := range t {
				sin, cos := math.Sincos(wd * ti)
				e := math.Exp(-s * ti)
				basis[3*i], basis[3*i+1], basis[3*i+2] = 1, e*cos, e*sin
			}
			if c, rss, ok := Linear(basis, y, 3); ok {
				grid = append(grid, point{rss, []float64{c[0], c[1], c[2], s, wd}})
			}
		}
	}
	slices.SortFunc(grid, func(a, b point) int {
		switch {
		case a.rss < b.rss:
			return -1
		case a.rss > b.rss:
			return 1
		}
		return 0
	})
	var out [][]float64
	for _, g := range grid[:min(12, len(grid))] {
		if len(out) < 3 && !slices.ContainsFunc(out, func(p []float64) bool { return oneValley(p, g.p) }) {
			out = append(out, g.p)
		}
	}
	return out
}

// oneValley says that two sets of parameters are within a swing's resolution of each other: a
// descent from one ends where one from the other does.
func oneValley(p, q []float64) bool {
	wn := math.Hypot(p[3], p[4])
	return math.Abs(p[4]-q[4]) < 0.2*wn && math.Abs(p[3]-q[3]) < 0.2*wn
}

// Linear solves y = basis c in least squares; basis has k columns, row by row. ok is false
// when the columns do not tell apart.
func Linear(basis, y []float64, k int) (c []float64, rss float64, ok bool) {
	normal, right := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
	sums := make([]float64, k*k)
	for i, v := range y {
		row := basis[k*i : k*i+k]
		for a := range k {
			right.RawVector().Data[a] += row[a] * v
			for b := a; b < k; b++ {
				sums[a*k+b] += row[a] * row[b]
			}
		}
	}
	for a := range k {
		for b := a; b < k; b++ {
			normal.SetSym(a, b, sums[a*k+b])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(normal) || chol.Cond() > 1e12 {
		return nil, 0, false
	}
	solution := mat.NewVecDense(k, nil)
	if chol.SolveVecTo(solution, right) != nil {
		return nil, 0, false
	}
	c = solution.RawVector().Data
	for i, v := range y {
		for a := range k {
			v -= basis[k*i+a] * c[a]
		}
		rss += v * v
	}
	return c, rss, true
}

// Covariance is s2 (XᵀX)⁻¹ of a linear problem.
func Covariance(basis []float64, k int, s2 float64) (cov []float64, ok bool) {
	normal := mat.NewSymDense(k, nil)
	for i := 0; i+k <= len(basis); i += k {
		normal.SymRankOne(normal, 1, mat.NewVecDense(k, basis[i:i+k]))
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(normal) || chol.InverseTo(&inverse) != nil {
		return nil, false
	}
	for a := range k {
		for b := range k {
			cov = append(cov, s2*inverse.At(a, b))
		}
	}
	return cov, true
}

// fitSteady fits a swing of constant size, near the frequency of the free one: c + a cos +
// b sin with a third harmonic, for a swing that friction, slack or saturation keeps up is
// no pure sine.
func fitSteady(w Stretch, free Fit) (Fit, bool) {
	curve := stat.Curve{
		N: len(w.T),
		Residuals: func(p, out []float64) {
			for i, t := range w.T {
				s1, c1 := math.Sincos(p[5] * t)
				s3, c3 := thirds(s1, c1)
				out[i] = w.Y[i] - p[0] - p[1]*c1 - p[2]*s1 - p[3]*c3 - p[4]*s3
			}
		},
		Slopes: func(p, out []float64) {
			for i, t := range w.T {
				s1, c1 := math.Sincos(p[5] * t)
				s3, c3 := thirds(s1, c1)
				row := out[6*i : 6*i+6]
				row[0], row[1], row[2], row[3], row[4] = -1, -c1, -s1, -c3, -s3
				row[5] = -t * (p[2]*c1 - p[1]*s1 + 3*(p[4]*c3-p[3]*s3))
			}
		},
	}
	fit, ok := stat.FitCurve(curve, []float64{free.P[0], free.P[1], free.P[2], 0, 0, free.P[4]})
	if !ok || math.Hypot(fit.P[3], fit.P[4]) > math.Hypot(fit.P[1], fit.P[2]) {
		return Fit{}, false
	}
	n := float64(len(w.T))
	return Fit{
		Start: w.Start, End: w.End, P: []float64{fit.P[0], fit.P[1], fit.P[2], 0, math.Abs(fit.P[5])},
		Wn: math.Abs(fit.P[5]), RMS: math.Sqrt(fit.RSS / n), BIC: bic(fit.RSS, n, 6, w.Grain),
	}, true
}

// thirds are the sine and cosine of three times an angle.
func thirds(sin, cos float64) (sin3, cos3 float64) {
	return sin * (3 - 4*sin*sin), cos * (4*cos*cos - 3)
}

func bicOfLine(w Stretch) float64 {
	line, ok := stat.FitLine(w.T, w.Y)
	if !ok {
		return math.Inf(1)
	}
	n := float64(len(w.T))
	return bic(line.Residual*line.Residual*(n-2), n, 2, w.Grain)
}

// bicOfDecay is that of c + A e^(-s t), the answer of a first-order loop.
func bicOfDecay(w Stretch) float64 {
	length := w.T[len(w.T)-1] - w.T[0]
	basis, best := make([]float64, 2*len(w.T)), math.Inf(1)
	var start []float64
	for _, periods := range [...]float64{0.3, 1, 3, 10, 30} {
		s := periods / length
		for i, t := range w.T {
			basis[2*i], basis[2*i+1] = 1, math.Exp(-s*t)
		}
		if c, rss, ok := Linear(basis, w.Y, 2); ok && rss < best {
			best, start = rss, []float64{c[0], c[1], s}
		}
	}
	if start == nil {
		return math.Inf(1)
	}
	fit, ok := stat.FitCurve(stat.Curve{
		N:    len(w.T),
		Most: 100, // where a straight line fits better s creeps towards 0 for ever
		Residuals: func(p, out []float64) {
			for i, t := range w.T {
				out[i] = w.Y[i] - p[0] - p[1]*math.Exp(-p[2]*t)
			}
		},
		Slopes: func(p, out []float64) {
			for i, t := range w.T {
				e := math.Exp(-p[2] * t)
				out[3*i], out[3*i+1], out[3*i+2] = -1, -e, t*p[1]*e
			}
		},
	}, start)
	if !ok {
		return math.Inf(1)
	}
	return bic(fit.RSS, float64(len(w.T)), 3, w.Grain)
}
