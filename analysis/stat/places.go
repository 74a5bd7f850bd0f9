package stat

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Place is the range of ranks one of several may have; 1 is the best.
type Place struct{ Best, Worst int }

// Places answers which rank each of n may have, for all n at once: better(i, j) is the
// one-sided chance that i looks as much better than j as it does although it is not. Of the
// n(n-1) claims 'i is better than j' those are kept that stand together by Holm's step-down
// method, so that one wrong claim among them comes about in at most 1 - level (0.05) of all
// cases, however the comparisons hang together. A rank then is at best one more than the
// number surely better, at worst n less the number surely worse. surely[i][j] is whether i is surely
// better than j. A chance that is no number claims nothing.
//
// Mogstad, Romano, Shaikh and Wilhelm, "Inference for Ranks with Applications to Mobility across
// Neighbourhoods and Academic Achievement across Countries", Review of Economic Studies 91
// (2024); theirs resamples where this uses Holm, Scandinavian Journal of Statistics 6 (1979),
// which is a little wider and never too narrow.
func Places(n int, better func(i, j int) float64, level float64) (places []Place, surely [][]bool) {
	type claim struct {
		i, j int
		p    float64
	}
	places, surely = make([]Place, n), make([][]bool, n)
	var claims []claim
	for i := range n {
		places[i], surely[i] = Place{1, n}, make([]bool, n)
		for j := range n {
			if i == j {
				continue
			}
			p := better(i, j)
			if math.IsNaN(p) {
				p = 1
			}
			claims = append(claims, claim{i, j, p})
		}
	}
	slices.SortStableFunc(claims, func(a, b claim) int { return cmp.Compare(a.p, b.p) })
	for done, c := range claims {
		if c.p*float64(len(claims)-done) > 1-level {
			break
		}
		surely[c.i][c.j] = true
		places[c.i].Worst--
		places[c.j].Best++
	}
	return places, surely
}

// Mean is an estimated mean with its standard error; Freedom are the degrees of freedom of the
// error, infinite when it is known.
type Mean struct{ Value, SE, Freedom float64 }

// MeanOf is the mean of x with its standard error; both are NaN where there are too few.
func MeanOf(x []float64) Mean {
	n := float64(len(x))
	sum, squares := 0.0, 0.0
	for _, v := range x {
		sum += v
	}
	m := Mean{Value: sum / n, SE: math.NaN(), Freedom: n - 1}
	if len(x) < 2 {
		return m
	}
	for _, v := range x {
		squares += (v - m.Value) * (v - m.Value)
	}
	m.SE = math.Sqrt(squares / (n - 1) / n)
	return m
}

// Interval is Student's interval of the mean at the given level (0.95); infinite without a
// standard error.
func (m Mean) Interval(level float64) (low, high float64) {
	if !(m.SE >= 0) || !(m.Freedom > 0) {
		return math.Inf(-1), math.Inf(1)
	}
	half := m.SE * studentQuantile(0.5+level/2, m.Freedom)
	return m.Value - half, m.Value + half
}

// Above is the one-sided chance that m lies as far above o as it does although it is not above:
// Welch's test of independent means whose spread may differ.
//
// Welch, Biometrika 34 (1947).
func (m Mean) Above(o Mean) float64 {
	a, b := m.SE*m.SE, o.SE*o.SE
	if !(a+b > 0) {
		return math.NaN()
	}
	freedom := (a + b) * (a + b) / (a*a/m.Freedom + b*b/o.Freedom)
	return studentSurvival((m.Value-o.Value)/math.Sqrt(a+b), freedom)
}

func studentQuantile(p, freedom float64) float64 {
	if math.IsInf(freedom, 1) {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Sigma: 1, Nu: freedom}.Quantile(p)
}

func studentSurvival(t, freedom float64) float64 {
	if math.IsInf(freedom, 1) {
		return distuv.UnitNormal.Survival(t)
	}
	return distuv.StudentsT{Sigma: 1, Nu: freedom}.Survival(t)
}
