package findings

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// explainAligning says how the robot lined up in a cycle that was slow to place, beside how it
// usually does, and whether it was quicker when it steered itself.
func (in Input) explainAligning(d *drafted, c schemas.Cycle) {
	a, all := c.Align, in.Report.Placing
	if a == nil || a.ArrivedM == nil || a.Corrections == nil || in.Profile.Cycles.Align == nil {
		return
	}
	corrected := "did not correct"
	if *a.Corrections > 0 {
		corrected = "corrected " + times(*a.Corrections)
	}
	d.Because += fmt.Sprintf(" It arrived %.2f m off its aiming point and %s", *a.ArrivedM, corrected)
	arrived, again := number("off on arrival", *a.ArrivedM, "m"), number("corrections", float64(*a.Corrections), "")
	if all != nil && all.ArrivedM != nil && all.Corrections != nil {
		d.Because += fmt.Sprintf(", usually %.2f m and %.1f", *all.ArrivedM, *all.Corrections)
		arrived.Usual, again.Usual = all.ArrivedM, all.Corrections
	}
	d.Because += "."
	if a.PlacedM != nil && *a.PlacedM > in.Profile.Cycles.Align.Good {
		d.Because += fmt.Sprintf(" When the piece left it was still %.2f m off.", *a.PlacedM)
	}
	d.Numbers = append(d.Numbers, arrived, again)
	d.Evidence = append(d.Evidence, evidence(signal(in.Profile.Cycles.Align.Error), c.EndS-*c.Phases.PlaceS, c.EndS, "distance from the aiming point")...)
	if all != nil && all.DifferenceS != nil {
		d.Because += " " + quicker(*all)
	}
}

// quicker says whether assisted or hand-driven approaches took less time.
func quicker(p schemas.Placing) string {
	low, high := *p.LowS, *p.HighS
	of := fmt.Sprintf("%d assisted and %d hand-driven approaches", p.Assisted, p.HandDriven)
	switch p.Quicker {
	case schemas.QuickerAssisted:
		return fmt.Sprintf("The assisted approach was %.1f s quicker than the hand-driven one (%.1f to %.1f s, by %s).", -*p.DifferenceS, math.Max(0, -high), -low, of)
	case schemas.QuickerByHand:
		return fmt.Sprintf("The hand-driven approach was %.1f s quicker than the assisted one (%.1f to %.1f s, by %s).", *p.DifferenceS, low, high, of)
	}
	return fmt.Sprintf("Whether the assisted or the hand-driven approach is quicker cannot be told yet (assisted from %.1f s quicker to %.1f s slower, by %s).", -low, high, of)
}
