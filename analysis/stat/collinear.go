package stat

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// Collinear answers whether changes of a season that came together (a new battery with a new
// gear) can be told apart: how alike the columns of a regression are in its data. For each
// the variance inflation factor (1 when nothing else explains it; its standard error is the
// square root of that times as large as it would be alone), and the condition number of all
// after standardizing. Common practice takes factors above 10 and condition numbers above
// 30 as too alike: such a regression can say the sum of their effects, not each.
//
// The columns, one a regressor without the constant, must be equally long and longer than
// there are columns. ok is false otherwise, and when a column is constant or holds a NaN or
// an infinity. Columns that are exactly alike give infinities.
//
// Belsley, Kuh and Welsch, Regression Diagnostics (1980), by singular values.
func Collinear(columns ...[]float64) (inflation []float64, condition float64, ok bool) {
	k := len(columns)
	if k == 0 || len(columns[0]) <= k {
		return nil, 0, false
	}
	n := len(columns[0])
	standard := mat.NewDense(n, k, nil)
	for j, column := range columns {
		mean, sd := stat.MeanStdDev(column, nil)
		if len(column) != n || !(sd > 0) || math.IsInf(sd, 0) {
			return nil, 0, false
		}
		for i, v := range column {
			standard.Set(i, j, (v-mean)/(sd*math.Sqrt(float64(n-1))))
		}
	}
	var svd mat.SVD
	if !svd.Factorize(standard, mat.SVDThinV) {
		return nil, 0, false
	}
	values := svd.Values(nil)
	var v mat.Dense
	svd.VTo(&v)
	const alike = 1e-12 // of the largest singular value: rounding
	inflation = make([]float64, k)
	for j := range inflation {
		for a, s := range values {
			if s <= alike*values[0] {
				s = 0
			}
			if part := v.At(j, a); s > 0 || math.Abs(part) > alike {
				inflation[j] += part * part / (s * s)
			}
		}
	}
	last := values[k-1]
	if last <= alike*values[0] {
		last = 0
	}
	return inflation, values[0] / last, true
}
