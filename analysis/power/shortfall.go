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
// by Shapley's rule: without the branches that are not in S the voltage would have been
// higher by R times what they drew where it was lowest, and what counts is only what would
// still be missing to enter. Unlike a share of the current this is the part of the brownout: the
// less is missing, the more it took all of them, and the more alike they bear it.
//
// What is in no branch bears its part too, so that the parts may add up to less than the
// whole, as they do when the battery lacks something without any load. Beyond twelve
// branches the smallest are taken together and part by their currents. Nothing is told
// without a load line, or when a current is not known at that moment.
func (s supply) shortfall(b *schemas.Brownout, d dip, line *LoadLine, pair *aligned, enter float64) {
	if line == nil || len(b.Branches) == 0 || len(b.Branches) != len(s.branches) {
		return
	}
	whole := s.whole.at(d.minAt + pair.delayUs())
	rest := whole
	amps := make([]float64, len(s.branches))
	for i := range s.branches {
		amps[i] = s.branches[i].at(d.minAt + pair.delayUs())
		rest -= amps[i]
	}
	if math.IsNaN(rest) {
		return
	}
	ohm := line.perRead
	parts := shortfallParts(append(slices.Clone(amps), rest), ohm, d.minV+ohm*whole, enter)
	for i := range b.Branches {
		b.Branches[i].ShortfallV = schemas.Some(parts[i])
	}
}

// shortfallParts shares max(0, enter - (open - ohm Σ amps)), less what is missing without
// any current, out among the currents.
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
