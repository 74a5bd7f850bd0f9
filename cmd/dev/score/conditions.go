package score

import (
	"cmp"
	"math"
	"slices"

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
		off, _ := sum(s.Name, without)
		line := Condition{Name: c.Name, Matches: len(with), Lost: lost}
		line.P = stat.MannWhitney(losts(s.Name, with), losts(s.Name, without)).PMore
		for _, f := range s.Figures {
			if f.Leads {
				line.Figures = append(line.Figures, Compare{f.Name, row(f, on), row(f, total).Value, byChance(f.Kind, on.Sums[f.Name], off.Sums[f.Name])})
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

// byChance says whether chance explains the difference of two shares, or of two counts for
// their exposures: whether its 95 % interval holds 0. Events are taken as independent; those
// of one match are a little alike, so a small difference not explained is still a hint.
func byChance(kind Kind, a, b Sum) bool {
	if kind == Per {
		// Given the sum of two Poisson counts, the first is binomial with its part of the
		// exposure: Przyborowski and Wilenski, Biometrika 31:313-323 (1940).
		low, high := stat.ClopperPearson(int(a.K), int(a.K+b.K), level)
		part := a.N / math.Max(a.N+b.N, 1e-12)
		return low <= part && part <= high
	}
	low, high := stat.NewcombeDifference(int(a.K), int(a.N), int(b.K), int(b.N), level)
	return low <= 0 && 0 <= high
}
