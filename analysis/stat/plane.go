package stat

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Plane is y = B[0] x[0] + B[1] x[1] + ... fitted to points, with the covariance of B.
type Plane struct {
	B        []float64
	Cov      []float64 // of B, row by row
	Residual float64   // standard deviation of y about the plane
	N        int       // points
	Groups   int       // of points that hang together
}

// SE is the standard error of B[j].
func (p Plane) SE(j int) float64 { return math.Sqrt(p.Cov[j*len(p.B)+j]) }

// At is the plane's value at x and its standard error.
func (p Plane) At(x []float64) (y, se float64) {
	v := 0.0
	for i, a := range x {
		y += a * p.B[i]
		for j, b := range x {
			v += a * b * p.Cov[i*len(x)+j]
		}
	}
	return y, math.Sqrt(max(0, v))
}

// FitPlane fits a plane through the origin by least squares, corrected for what errors in x
// do: they make every coefficient too small, as if the motor's current mattered less because
// its sensor is poor. columns are the x, each as long as y; errors is the variance of the
// errors in each, 0 for none, independent of each other and of those in y, which may be of
// any size. Put in a column of ones for a constant. group names which points hang together
// (a run of samples one after the other): the standard errors count groups, not points.
//
// ok is false with fewer groups than columns and two more, when the columns cannot be told
// apart once their errors are taken off, and when a value is NaN or infinite.
//
// Fuller, Measurement Error Models (1987), 2.2: the moments of x less those of its errors;
// the covariance is that of his estimator, with the sums taken over groups.
func FitPlane(y []float64, columns [][]float64, errors []float64, group []int) (p Plane, ok bool) {
	n, k := len(y), len(columns)
	moments, right := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
	for a := range k {
		for b := a; b < k; b++ {
			moments.SetSym(a, b, product(columns[a], columns[b]))
		}
		moments.SetSym(a, a, moments.At(a, a)-float64(n)*errors[a])
		right.SetVec(a, product(columns[a], y))
	}
	var chol mat.Cholesky
	if !chol.Factorize(moments) || !(chol.Cond() < 1e12) {
		return Plane{}, false
	}
	solution := mat.NewVecDense(k, nil)
	if chol.SolveVecTo(solution, right) != nil {
		return Plane{}, false
	}
	p.B, p.N = append([]float64(nil), solution.RawVector().Data...), n
	var sums [][]float64 // by group, in the order they come: what its points pull at each coefficient
	place := map[int]int{}
	rss := 0.0
	for i, v := range y {
		r := v
		for j := range k {
			r -= p.B[j] * columns[j][i]
		}
		rss += r * r
		g, known := place[group[i]]
		if !known {
			g, place[group[i]] = len(sums), len(sums)
			sums = append(sums, make([]float64, k))
		}
		for j := range k {
			sums[g][j] += columns[j][i]*r + errors[j]*p.B[j]
		}
	}
	p.Groups = len(sums)
	if p.Groups < k+2 || !isFinite(rss) {
		return Plane{}, false
	}
	p.Residual = math.Sqrt(rss / float64(n-k))
	spread := mat.NewSymDense(k, nil)
	for _, s := range sums {
		spread.SymRankOne(spread, float64(p.Groups)/float64(p.Groups-k), mat.NewVecDense(k, s))
	}
	var inverse mat.SymDense
	if chol.InverseTo(&inverse) != nil {
		return Plane{}, false
	}
	var half, cov mat.Dense
	half.Mul(&inverse, spread)
	cov.Mul(&half, &inverse)
	for a := range k {
		for b := range k {
			p.Cov = append(p.Cov, cov.At(a, b))
		}
	}
	return p, true
}

func product(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}
