package power

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"github.com/afterbell/afterbell/analysis/stat"
)

// bent says whether the resistance depends on the current, as that of real cells does: with
// V = V0 - R i + c i² a step from i1 to i2 changes the voltage by -(R - c (i1 + i2)) (i2 - i1),
// so that its slope changes with the middle of the two. at and ohms are the resistance at
// the tenths of the steps with the lowest and the highest middle; is holds when these
// differ by more than the part CurvedPart and c by CurvedTimes its standard error.
func (a *aligned) bent(steps []step, cfg Config) (at, ohms [2]float64, is bool) {
	const parameters = 3 // R, c, and what the charge takes
	if len(steps) < 5*parameters {
		return at, ohms, false
	}
	x, y := mat.NewDense(len(steps), parameters, nil), mat.NewVecDense(len(steps), nil)
	middles := make([]float64, len(steps))
	for k, s := range steps {
		middles[k] = s.middle
		x.SetRow(k, []float64{-s.di, 2 * s.middle * s.di, s.u})
		y.SetVec(k, s.dv)
	}
	var xx, cov mat.Dense
	var xy, p, rest mat.VecDense
	xx.Mul(x.T(), x)
	xy.MulVec(x.T(), y)
	if cov.Inverse(&xx) != nil {
		return at, ohms, false
	}
	p.MulVec(&cov, &xy)
	rest.MulVec(x, &p)
	rest.SubVec(y, &rest)
	variance := mat.Dot(&rest, &rest) / float64(len(steps)-parameters)
	for n, q := range [...]float64{0.1, 0.9} {
		at[n] = stat.Quantile(q, middles)
		ohms[n] = p.AtVec(0) - 2*p.AtVec(1)*at[n]
	}
	apart := math.Abs(ohms[1]-ohms[0]) > cfg.CurvedPart*math.Abs(p.AtVec(0))
	return at, ohms, apart && math.Abs(p.AtVec(1)) > cfg.CurvedTimes*math.Sqrt(variance*cov.At(1, 1))
}
