package findings

import (
	"fmt"

	"github.com/afterbell/afterbell/schemas"
)

// Attempts that were level in this time with so few swings are as they should be. Chosen by us.
const (
	quickSettle = 6.0
	fewSwings   = 2
)

// balances makes a finding of each attempt that ran out or swung: not level is to be
// fixed, late but level is watched.
func balances(in Input) []drafted {
	platform := in.Report.Match.Game.Platform
	var out []drafted
	for i, b := range in.Report.Balances {
		late := b.Outcome == schemas.BalanceLevel && (b.Overshoots > fewSwings || b.SettleS != nil && *b.SettleS > quickSettle)
		if b.Outcome == schemas.BalanceLevel && !late {
			continue // level, and soon
		}
		d := drafted{}
		d.Finding = schemas.Finding{
			ID: id("balance", platform, i+1), Kind: "balance", Severity: schemas.SeverityWatch,
			StartS: b.StartS, EndS: b.EndS, Confidence: 0.9, Spans: []schemas.Span{{StartS: b.StartS, EndS: b.EndS}},
			Caution: []string{cautionTip, cautionGains},
			Numbers: []schemas.Number{
				number("tried", b.EndS-b.StartS, "s"),
				number("swings past level", float64(b.Overshoots), ""),
			},
			Evidence: evidence(signal(in.Profile.Balance.Tilt), b.StartS, b.EndS, "tilt"),
		}
		for _, n := range []struct {
			what, unit string
			value      *float64
		}{{"speed onto it", "m/s", b.ApproachMS}, {"climb", "s", b.ClimbS}, {"cost", "points", b.CostPoints}, {"a loop would save", "s", b.LoopSavesS}} {
			if n.value != nil {
				d.Numbers = append(d.Numbers, number(n.what, *n.value, n.unit))
			}
		}
		if b.DampingRatio != nil {
			d.Numbers = append(d.Numbers, number("damping ratio", *b.DampingRatio, ""))
		}
		switch {
		case b.Outcome == schemas.BalanceRanOut && b.EndS-b.StartS < 1.5:
			d.Short = "climbed late"
			d.Title = fmt.Sprintf("Only %.1f s were left on the %s.", b.EndS-b.StartS, platform)
			d.clause = fmt.Sprintf("only %.1f s were left on the %s", b.EndS-b.StartS, platform)
			d.Because = fmt.Sprintf("The robot climbed at %s and the match ended at %s.", in.at(b.StartS), in.at(b.EndS))
			d.Check = []string{"Start for the " + platform + " earlier."}
			d.Caution = []string{cautionTip}
		case b.Outcome == schemas.BalanceRanOut:
			d.Severity = schemas.SeverityFix
			d.Short = "never level"
			d.Title = fmt.Sprintf("The %s never came level", platform)
			if b.Overshoots > 0 {
				d.Title += fmt.Sprintf(": it swung past level %s", times(b.Overshoots))
			}
			d.Title += "."
			d.clause = fmt.Sprintf("the %s never came level", platform)
			d.aside = upperFirst(d.clause) + "."
		case b.Outcome == schemas.BalanceLeft:
			d.Short = "drove off"
			d.Title = fmt.Sprintf("The robot drove off the %s again at %s.", platform, in.at(b.EndS))
			d.clause = fmt.Sprintf("the robot drove off the %s again", platform)
			d.Check = []string{"Ask the driver: was it meant to leave?"}
		default:
			d.Short = "late level"
			d.Title = fmt.Sprintf("The %s was level after %.1f s and %s %s past level.", platform, settle(b), numberWord(b.Overshoots), plural(b.Overshoots, "swing", "swings"))
			d.clause = fmt.Sprintf("the %s took %.1f s to come level", platform, settle(b))
		}
		if b.Diagnosis != "" {
			d.Because = fmt.Sprintf("%s. In %.1f s the tilt swung past level %s and peaked at %.1f degrees.",
				upperFirst(b.Diagnosis), b.EndS-b.StartS, times(b.Overshoots), b.PeakDeg)
		} else if d.Because == "" {
			d.Because = fmt.Sprintf("The tilt passed the mounting angle at %s and peaked at %.1f degrees.", in.at(b.StartS), b.PeakDeg)
		}
		switch {
		case b.NaturalHz != nil && b.DampingRatio != nil:
			d.Because += fmt.Sprintf(" It swings at %.2f Hz with a damping ratio of %.2f%s.", *b.NaturalHz, *b.DampingRatio, span95(b.DampingLow, b.DampingHigh))
		case b.NaturalHz != nil && b.DampingLow != nil && b.DampingHigh != nil:
			d.Because += fmt.Sprintf(" It swings at %.2f Hz with a damping ratio that this log leaves open between %.2f and %.2f.", *b.NaturalHz, *b.DampingLow, *b.DampingHigh)
		}
		if b.Advice != "" {
			d.Check = append(d.Check, upperFirst(b.Advice)+".")
			d.Caution = []string{cautionTip, cautionGains, cautionNewGains}
		} else if len(d.Check) == 0 {
			d.Check = []string{"Try the balance on blocks and watch whether it answers how fast the tilt changes, not just the tilt."}
		}
		d.Because += aroundBalance(in, b)
		d.CostS = b.CostS
		in.tellLevelPoints(&d, b)
		out = append(out, d)
	}
	return out
}

func settle(b schemas.Balance) float64 {
	if b.SettleS != nil {
		return *b.SettleS
	}
	return b.EndS - b.StartS
}

// span95 is an interval in words, empty without one.
func span95(low, high *float64) string {
	if low == nil || high == nil {
		return ""
	}
	return fmt.Sprintf(" (95 %%: %.2f to %.2f)", *low, *high)
}

// aroundBalance tells how the robot came, who levelled, and what else moved the platform.
func aroundBalance(in Input, b schemas.Balance) string {
	text := ""
	if b.ApproachMS != nil && b.ClimbS != nil {
		text += fmt.Sprintf(" It came at %.1f m/s and climbed for %.1f s.", *b.ApproachMS, *b.ClimbS)
	}
	if b.DisturbedAtS != nil {
		text += fmt.Sprintf(" At %s something other than its drive command moved the platform: another robot on it, or wheels that rolled; what swings there is not the loop's fault alone.", in.at(*b.DisturbedAtS))
	}
	if b.LevelledBy == "hand" {
		text += " The drive command answers the tilt as a person does, late or with a hand that wanders: it was levelled by hand."
		if b.LoopSavesS != nil && *b.LoopSavesS >= 0.5 {
			text += fmt.Sprintf(" A well-damped loop would have saved about %.1f s (%.1f to %.1f), by a model of this platform.", *b.LoopSavesS, *b.LoopSavesLowS, *b.LoopSavesHighS)
		}
	}
	if b.CostPoints != nil && *b.CostPoints >= 0.5 {
		text += fmt.Sprintf(" In that time a usual cycle scores %.1f points.", *b.CostPoints)
	}
	return text
}
