package stat

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Lasted is a duration: until the event when Complete, else at least this long
// (right-censored: something else ended the watching).
type Lasted struct {
	Time     float64
	Complete bool
}

// Survival is the Kaplan-Meier curve: S[i] is the probability to last longer than T[i],
// with Greenwood's standard error SE[i]. T are the times of events, ascending, and S is 1
// before the first.
type Survival struct {
	T, S, SE []float64
}

// KaplanMeier estimates how long things last when some were cut off. A censored time equal
// to an event counts as still there at the event. A time that is no number is left out. The
// argument is not changed. With nothing complete the curve is empty.
//
// Kaplan and Meier, J. Am. Statist. Assoc. 53 (1958); standard error by Greenwood (1926).
func KaplanMeier(all []Lasted) Survival {
	sorted := timed(all)
	slices.SortFunc(sorted, func(a, b Lasted) int { return cmp.Compare(a.Time, b.Time) })
	var c Survival
	s, v := 1.0, 0.0
	for i := 0; i < len(sorted); {
		t, events, j := sorted[i].Time, 0, i
		for ; j < len(sorted) && sorted[j].Time == t; j++ {
			if sorted[j].Complete {
				events++
			}
		}
		if events > 0 {
			n, d := float64(len(sorted)-i), float64(events)
			s *= 1 - d/n
			if n > d {
				v += d / (n * (n - d))
			}
			c.T, c.S, c.SE = append(c.T, t), append(c.S, s), append(c.SE, s*math.Sqrt(v))
		}
		i = j
	}
	return c
}

// timed are those whose time is a number. A new slice.
func timed(all []Lasted) []Lasted {
	return slices.DeleteFunc(slices.Clone(all), func(l Lasted) bool { return math.IsNaN(l.Time) })
}

// Quantile is the first time by which the share p did not last any longer; where the curve
// is level exactly at 1-p, the middle of the level stretch, so that without censoring the
// median is the usual one. NaN when the curve never comes down that far.
func (c Survival) Quantile(p float64) float64 {
	const rounding = 1e-9
	for i, s := range c.S {
		switch {
		case s > 1-p+rounding:
			continue
		case s >= 1-p-rounding && i+1 < len(c.T):
			return (c.T[i] + c.T[i+1]) / 2
		default:
			return c.T[i]
		}
	}
	return math.NaN()
}

// QuantileInterval answers how sure a season's usual cycle is: the interval of the p-quantile
// at the given level (0.95), where the log-log limits of the curve cross 1-p. An end that
// the curve does not reach is 0 below and +Inf above.
//
// Brookmeyer and Crowley, Biometrics 38 (1982), with the log-log limits of Kalbfleisch and
// Prentice.
func (c Survival) QuantileInterval(p, level float64) (low, high float64) {
	z := distuv.UnitNormal.Quantile(0.5 + level/2)
	low, high = 0, math.Inf(1)
	for i := len(c.S) - 1; i >= 0; i-- {
		if c.S[i] <= 0 {
			continue // the limits are not defined where nothing is left
		}
		// log(-log S) has the standard error SE / (S |log S|).
		spread := math.Exp(z * c.SE[i] / (c.S[i] * -math.Log(c.S[i])))
		if math.Pow(c.S[i], 1/spread) <= 1-p {
			high = c.T[i]
		}
		if math.Pow(c.S[i], spread) <= 1-p {
			low = c.T[i]
		}
	}
	return low, high
}

// LogRank answers whether cycles before and after a change last alike when some were cut
// off: the log-rank test of two groups, its chi-squared with one degree of freedom and the
// chance of one as large when they are alike. Without an event at a time when both groups
// were still watched nothing can be told: 0 and 1. O(n log n).
//
// Mantel, Cancer Chemotherapy Reports 50 (1966); Peto and Peto, J. R. Statist. Soc. A 135
// (1972), with the hypergeometric variance for ties.
func LogRank(a, b []Lasted) (chi2, p float64) {
	type member struct {
		Lasted
		first bool
	}
	var pool []member
	a, b = timed(a), timed(b)
	for _, l := range a {
		pool = append(pool, member{l, true})
	}
	for _, l := range b {
		pool = append(pool, member{l, false})
	}
	slices.SortFunc(pool, func(x, y member) int { return cmp.Compare(x.Time, y.Time) })
	inA, left := float64(len(a)), float64(len(pool))
	var over, variance float64
	for i := 0; i < len(pool); {
		var events, eventsA, goneA float64
		j := i
		for ; j < len(pool) && pool[j].Time == pool[i].Time; j++ {
			if pool[j].first {
				goneA++
			}
			if pool[j].Complete {
				events++
				if pool[j].first {
					eventsA++
				}
			}
		}
		over += eventsA - events*inA/left
		if left > 1 {
			variance += events * (inA / left) * (1 - inA/left) * (left - events) / (left - 1)
		}
		inA, left = inA-goneA, left-float64(j-i)
		i = j
	}
	if !(variance > 0) {
		return 0, 1
	}
	chi2 = over * over / variance
	return chi2, distuv.ChiSquared{K: 1}.Survival(chi2)
}

// LogRankOfGroups is LogRank of what hangs together in groups, as the cycles of one match do: its
// variance is that of the sums of groups, so that many cycles of few matches make nothing sure. The
// chance is by Student's distribution with two degrees of freedom less than groups. Over is how many more of a
// were complete than would be if both lasted alike. With fewer than four groups, or none on one
// side, p is 1.
//
// Lin and Wei, J. American Statistical Association 84 (1989), at no effect.
func LogRankOfGroups(a, b [][]Lasted) (over, p float64) {
	type member struct {
		Lasted
		z     float64
		group int
	}
	var pool []member
	for side, groups := range [][][]Lasted{a, b} {
		for g, group := range groups {
			for _, l := range timed(group) {
				pool = append(pool, member{l, float64(1 - side), g + side*len(a)})
			}
		}
	}
	slices.SortFunc(pool, func(x, y member) int { return cmp.Compare(x.Time, y.Time) })
	inA, left := 0.0, float64(len(pool))
	for _, m := range pool {
		inA += m.z
	}
	scores := make([]float64, len(a)+len(b))
	hazard, hazardA := 0.0, 0.0 // summed, and of the share of a
	for i := 0; i < len(pool); {
		j, events := i, 0.0
		for ; j < len(pool) && pool[j].Time == pool[i].Time; j++ {
			if pool[j].Complete {
				events++
			}
		}
		share := inA / left
		hazard += events / left
		hazardA += events / left * share
		for _, m := range pool[i:j] {
			score := hazardA - m.z*hazard
			if m.Complete {
				score += m.z - share
				over += m.z - share
			}
			scores[m.group] += score
			inA -= m.z
		}
		left -= float64(j - i)
		i = j
	}
	variance := 0.0
	for _, s := range scores {
		variance += s * s
	}
	n := float64(len(scores))
	if n < 4 || len(a) == 0 || len(b) == 0 || !(variance > 0) {
		return over, 1
	}
	t := math.Abs(over) / math.Sqrt(variance*n/(n-1))
	return over, 2 * distuv.StudentsT{Sigma: 1, Nu: n - 2}.Survival(t)
}
