package stat

import (
	"cmp"
	"math"
	"slices"
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
// to an event counts as still there at the event. The argument is not changed. With
// nothing complete the curve is empty.
//
// Kaplan and Meier, J. Am. Statist. Assoc. 53 (1958); standard error by Greenwood (1926).
func KaplanMeier(all []Lasted) Survival {
	sorted := slices.Clone(all)
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
