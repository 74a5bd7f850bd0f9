package score

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

// conditions are the leading figures of a subject by what was different about the matches,
// where that was so often enough to say anything; the one that costs most first. Matches
// have several conditions on at once, so a line is a hint, not a cause.
func conditions(s Subject, all []played) []Condition {
	out := []Condition{}
	total, _ := sum(s.Name, all)
	for _, c := range sim.Conditions() {
		var with, without []played
		for _, p := range all {
			if slices.Contains(p.conditions, c.Name) {
				with = append(with, p)
			} else {
				without = append(without, p)
			}
		}
		if len(with) < leastForCondition {
			continue
		}
		on, lost := sum(s.Name, with)
		line := Condition{Name: c.Name, Matches: len(with), Lost: lost}
		line.P = stat.MannWhitney(losts(s.Name, with), losts(s.Name, without)).PMore
		for _, f := range s.Figures {
			if f.Leads {
				line.Figures = append(line.Figures, Compare{f.Name, row(f, on), row(f, total).Value, byChance(f.Kind, sumsOf(s.Name, f.Name, with), sumsOf(s.Name, f.Name, without))})
			}
		}
		out = append(out, line)
	}
	p := make([]float64, len(out))
	for i, c := range out {
		p[i] = c.P
	}
	for i, q := range stat.BenjaminiHochberg(p) {
		out[i].Costs = q <= falseShare
	}
	slices.SortStableFunc(out, func(a, b Condition) int { return cmp.Compare(b.Lost, a.Lost) })
	return out
}

// falseShare is how many of the conditions marked as costly may be marked for nothing.
const falseShare = 0.1

func losts(subject string, all []played) []float64 {
	out := make([]float64, len(all))
	for i, p := range all {
		out[i] = p.tallies[subject].lost()
	}
	return out
}

func sumsOf(subject, figure string, all []played) []Sum {
	out := make([]Sum, len(all))
	for i, p := range all {
		out[i] = p.tallies[subject].Sums[figure]
	}
	return out
}

// byChance says whether chance explains the difference of two shares, or of two counts for
// their exposures, given by match: whether one of two 95 % intervals holds 0. The first takes
// events as independent and is right for few. The second takes matches as the draws (ratios
// of means: Cochran, "Sampling Techniques", 3rd ed. 1977, 6.4), so that one bad match does
// not speak for every condition it had on.
func byChance(kind Kind, with, without []Sum) bool {
	a, b := addUp(with), addUp(without)
	if a.N == 0 || b.N == 0 {
		return true
	}
	if kind == Per {
		// Given the sum of two Poisson counts, the first is binomial with its part of the
		// exposure: Przyborowski and Wilenski, Biometrika 31:313-323 (1940).
		low, high := stat.ClopperPearson(int(a.K), int(a.K+b.K), level)
		if part := a.N / (a.N + b.N); low <= part && part <= high {
			return true
		}
	} else if low, high := stat.NewcombeDifference(int(a.K), int(a.N), int(b.K), int(b.N), level); low <= 0 && 0 <= high {
		return true
	}
	half := distuv.UnitNormal.Quantile(0.5+level/2) * math.Hypot(ratioError(with), ratioError(without))
	return math.Abs(a.K/a.N-b.K/b.N) <= half
}

func addUp(all []Sum) Sum {
	var out Sum
	for _, s := range all {
		out = Sum{out.K + s.K, out.N + s.N}
	}
	return out
}

// ratioError is the standard error of K of N over matches drawn at random.
func ratioError(all []Sum) float64 {
	total := addUp(all)
	n, square := 0.0, 0.0
	for _, s := range all {
		if s.N > 0 {
			d := s.K - total.K/total.N*s.N
			n, square = n+1, square+d*d
		}
	}
	if n < 2 {
		return math.Inf(1)
	}
	return math.Sqrt(square*n/(n-1)) / total.N
}
