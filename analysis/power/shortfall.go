package power

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// sharedApart is how many branches get a share of the shortfall worked out each for itself:
// the work doubles with every one more.
const sharedApart = 12

// shortfall gives each branch its fair part of how far the voltage fell under enter, in V,
// by Shapley's rule: with the branches in S alone the load line puts the voltage at
// open - R (sum of their currents), and what counts is only what is missing to enter. Unlike
// a share of the current this is the part of the brownout: a branch so small that the others
// had to come first bears less of it. The currents are those where the voltage was lowest,
// open is the line's level in the second before the dip.
//
// What is in no branch bears its part too, so that the parts may add up to less than the
// whole. Beyond twelve branches the smallest are taken together and part by their currents.
// Nothing is told without a load line, when a branch has no reading there, or when the line
// does not explain a voltage under enter.
func (s supply) shortfall(b *schemas.Brownout, d dip, line *LoadLine, pair *aligned, enter float64) {
	if line == nil || len(b.Branches) == 0 || len(b.Branches) != len(s.branches) {
		return
	}
	open, _ := pair.before(d.start, line.ResistanceOhm)
	amps := make([]float64, len(s.branches))
	rest := s.whole.at(d.minAt + pair.lag)
	for i := range s.branches {
		amps[i] = s.branches[i].at(d.minAt + pair.lag)
		rest -= amps[i]
	}
	if math.IsNaN(open) || math.IsNaN(rest) {
		return // some current, or the level before, is not known
	}
	parts := shortfallParts(append(slices.Clone(amps), rest), line.ResistanceOhm, open, enter)
	if parts == nil {
		return
	}
	for i := range b.Branches {
		b.Branches[i].ShortfallV = schemas.Some(parts[i])
	}
}

// shortfallParts shares max(0, enter - (open - ohm Σ amps)), less what is missing without
// any current, out among the currents; nil when that is nothing.
func shortfallParts(amps []float64, ohm, open, enter float64) []float64 {
	order := make([]int, len(amps))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(math.Abs(amps[b]), math.Abs(amps[a])) })
	players := make([]float64, min(len(amps), sharedApart+1))
	for k, i := range order {
		players[min(k, len(players)-1)] += amps[i]
	}
	missing := func(set uint) float64 {
		total := 0.0
		for k, a := range players {
			if set>>k&1 == 1 {
				total += a
			}
		}
		return max(0, enter-(open-ohm*total))
	}
	if !(missing(1<<len(players)-1) > 0) {
		return nil
	}
	shares := stat.Shapley(len(players), missing)
	parts := make([]float64, len(amps))
	for k, i := range order {
		last := len(players) - 1
		switch {
		case k < last:
			parts[i] = shares[k]
		case players[last] != 0:
			parts[i] = shares[last] * amps[i] / players[last]
		}
	}
	return parts
}
