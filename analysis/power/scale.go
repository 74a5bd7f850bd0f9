package power

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// scale is by what part the sensor of the whole current reads too much, off, with its
// standard error; spread is how far the sensors' scales lie apart, as a standard deviation.
// All are 0 when the log cannot tell.
type scale struct{ off, se, spread float64 }

// scale compares the whole current with the sum of its branches: the same current seen by
// other sensors. With a scale error e0 of the whole and ei of branch i their changes leave
//
//	whole - sum of branches = e0 (sum of branches) - sum of ei (branch i) + noise.
//
// Each error is a draw about 0 of the same spread, which is found by expectation and
// maximization (Dempster, Laird and Rubin, 1977); so n branches pin the one sensor down to
// spread over the root of n+1 where all of them work. Means over ScaleS are compared, for which lag and smoothing
// do not count. When more is left than scales can make, something draws past the branches
// and nothing is told; nor when no sensors of a robot differ as much as these would.
func (s supply) scale(from, to int64, cfg Config) scale {
	n := len(s.branches)
	if s.whole == nil || s.added || n == 0 || n > sharedApart {
		return scale{}
	}
	whole := s.whole.bins(from, to, cfg.ScaleS)
	each := make([][]float64, n)
	for b := range each {
		each[b] = s.branches[b].bins(from, to, cfg.ScaleS)
	}
	a := mat.NewSymDense(n+1, nil)
	y := mat.NewVecDense(n+1, nil)
	x := make([]float64, n+1)
	var left, all, count float64
	for k := 1; k < len(whole); k++ {
		d, sum := whole[k]-whole[k-1], 0.0
		for b := range each {
			x[b+1] = -(each[b][k] - each[b][k-1])
			sum -= x[b+1]
		}
		x[0] = sum
		r := d - sum
		if math.IsNaN(r) {
			continue
		}
		count++
		left += r * r
		all += d * d
		for i := range x {
			y.SetVec(i, y.AtVec(i)+x[i]*r)
			for j := range i + 1 {
				a.SetSym(i, j, a.At(i, j)+x[i]*x[j])
			}
		}
	}
	if count < 50 || all == 0 || left > cfg.ScaleLeft*cfg.ScaleLeft*all {
		return scale{}
	}
	spread2, noise2 := 0.01*0.01, left/count
	var mean mat.VecDense
	var spreadOf mat.SymDense
	for range 30 {
		p := mat.NewSymDense(n+1, nil)
		for i := range n + 1 {
			for j := range i + 1 {
				p.SetSym(i, j, a.At(i, j)/noise2)
			}
			p.SetSym(i, i, p.At(i, i)+1/spread2)
		}
		var c mat.Cholesky
		if !c.Factorize(p) || c.InverseTo(&spreadOf) != nil {
			return scale{}
		}
		mean.MulVec(&spreadOf, y)
		mean.ScaleVec(1/noise2, &mean)
		// What is left with these errors, and how far they lie from 0.
		var fitted mat.VecDense
		fitted.MulVec(a, &mean)
		rest := left - 2*mat.Dot(&mean, y) + mat.Dot(&mean, &fitted)
		apart := mat.Dot(&mean, &mean)
		for i := range n + 1 {
			apart += spreadOf.At(i, i)
			for j := range n + 1 {
				rest += a.At(i, j) * spreadOf.At(i, j)
			}
		}
		spread2, noise2 = max(apart/float64(n+1), 1e-8), max(rest/count, 1e-12)
	}
	if spread2 > cfg.ScaleApart*cfg.ScaleApart {
		return scale{} // readings of what switches faster than they come
	}
	return scale{mean.AtVec(0), math.Sqrt(spreadOf.At(0, 0)), math.Sqrt(spread2)}
}

// bins are the means over each seconds from from to to, NaN where less than all is known.
func (c *trace) bins(from, to int64, seconds float64) []float64 {
	length := int64(seconds * 1e6)
	out := make([]float64, 0, max(0, (to-from)/length))
	for t := from; t+length <= to; t += length {
		area, known := c.integral(t, t+length)
		if known < 0.99*seconds {
			area = math.NaN()
		}
		out = append(out, area/seconds)
	}
	return out
}
