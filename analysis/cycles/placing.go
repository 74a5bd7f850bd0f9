package cycles

import (
	"math"

	gonum "gonum.org/v1/gonum/stat"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// placingOf sums up how lining up went in the driver periods of this match and the earlier
// ones, and says whether it was quicker when the robot steered itself: by the Hodges-Lehmann
// difference, and only where its interval leaves no doubt. nil where no lining up was seen.
func placingOf(today []schemas.Cycle, history []History) *schemas.Placing {
	var out schemas.Placing
	var arrived, corrections, took, assisted, byHand []float64
	matches := [][]schemas.Cycle{today}
	for _, h := range history {
		matches = append(matches, h.Cycles)
	}
	for _, all := range matches {
		before := out.Cycles
		for _, c := range all {
			a := c.Align
			if a == nil || c.Period != schemas.PeriodDriver {
				continue
			}
			out.Cycles++
			if a.ArrivedM != nil {
				arrived = append(arrived, *a.ArrivedM)
			}
			if a.Corrections != nil {
				corrections = append(corrections, float64(*a.Corrections))
			}
			if a.AlignS == nil {
				continue
			}
			took = append(took, *a.AlignS)
			switch {
			case a.Assisted == nil:
			case *a.Assisted:
				assisted = append(assisted, *a.AlignS)
			default:
				byHand = append(byHand, *a.AlignS)
			}
		}
		if out.Cycles > before {
			out.Matches++
		}
	}
	if out.Cycles == 0 {
		return nil
	}
	out.ArrivedM, out.Corrections, out.AlignS = schemas.Some(stat.Median(arrived)), schemas.Some(gonum.Mean(corrections, nil)), schemas.Some(stat.Median(took))
	out.Assisted, out.HandDriven = len(assisted), len(byHand)
	compare(&out, assisted, byHand)
	return &out
}

// compare is how much longer the assisted approaches took.
func compare(out *schemas.Placing, assisted, byHand []float64) {
	shift, low, high := stat.HodgesLehmann(assisted, byHand, 0.95)
	if math.IsNaN(shift) || math.IsInf(low, 0) || math.IsInf(high, 0) {
		return // too few to be that sure of anything
	}
	out.DifferenceS, out.LowS, out.HighS = &shift, &low, &high
	switch {
	case high < 0:
		out.Quicker = schemas.QuickerAssisted
	case low > 0:
		out.Quicker = schemas.QuickerByHand
	}
}
