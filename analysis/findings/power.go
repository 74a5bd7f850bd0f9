package findings

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// longDip is the dip that takes the robot out of play: for this long its outputs are cut
// and the driver notices. Chosen by us.
const longDip = 0.5

// brownouts makes one finding of all dips under the cut-off: they have one battery in
// common. It stops the robot when a dip was long; else it is to be mended.
func brownouts(in Input) []drafted {
	dips := in.Report.Brownouts
	if len(dips) == 0 {
		return nil
	}
	d := drafted{}
	d.Finding = schemas.Finding{
		ID: id("brownout", "supply", 1), Kind: "brownout", Severity: schemas.SeverityFix,
		StartS: dips[0].StartS, Short: "brownout", Confidence: 0.99, // a measured fact
		Caution: []string{cautionLead},
	}
	total, lowest, longest, unseen := 0.0, math.Inf(1), 0.0, 0.0
	for _, b := range dips {
		end := in.LogEnd
		if b.EndS != nil {
			end = *b.EndS
		}
		d.EndS = end
		d.Spans = append(d.Spans, schemas.Span{StartS: b.StartS, EndS: end})
		inPeriods := 0.0
		for _, p := range in.Report.Match.Periods {
			inPeriods += overlap(b.StartS, end, p.StartS, p.EndS)
		}
		total += math.Max(0, inPeriods-b.UnseenS) // nobody knows how the supply was then
		unseen += b.UnseenS
		longest, lowest = math.Max(longest, end-b.StartS-b.UnseenS), math.Min(lowest, b.MinV)
		d.Evidence = append(d.Evidence, evidence(signal(in.Profile.Power.Voltage), b.StartS, end, fmt.Sprintf("down to %.2f V", b.MinV))...)
	}
	if longest >= longDip {
		d.Severity = schemas.SeverityStop
	}
	d.CostS = schemas.Some(total)
	n := len(dips)
	what := fmt.Sprintf("%s %s", numberWord(n), plural(n, "brownout", "brownouts"))
	cause := commonCause(dips, in.Report.Battery)
	who := batteryName(in.Report.Battery.ID)
	switch cause {
	case "weak_battery":
		d.Title = fmt.Sprintf("%s is weak: %s.", upperFirst(who), what)
		d.clause = who + " is browning out"
	case "bad_connection":
		d.Title = fmt.Sprintf("A bad connection between battery and robot: %s.", what)
		d.clause = "a bad connection browns the robot out"
	case "overload":
		d.Title = fmt.Sprintf("The robot asks for more than %s can give: %s.", who, what)
		d.clause = fmt.Sprintf("the robot browned out %s under load", times(n))
	case causeTogether:
		d.Title = fmt.Sprintf("A bad connection and %s together: %s.", who, what)
		d.clause = fmt.Sprintf("a bad connection and %s together brown the robot out", who)
	default:
		d.Title = upperFirst(what) + "."
		d.clause = fmt.Sprintf("the supply browned out %s", times(n))
	}
	d.Because = in.whyBrownout(dips, longest, lowest, unseen)
	if cause == "bad_connection" || cause == causeTogether {
		d.Caution = append(d.Caution, cautionLugs)
	}
	points, _ := in.secondsInPoints(d.Spans)
	d.Numbers = []schemas.Number{number("lowest voltage", lowest, "V"), number("time under the cut-off", total, "s")}
	if r := in.Report.Battery.ResistanceOhm; r != nil {
		usual := number("resistance", *r, "ohm")
		usual.Usual = in.Report.Battery.UsualResistanceOhm
		d.Numbers = append(d.Numbers, usual)
	}
	d.Check = brownoutChecks(cause, who, dips)
	if branch, amps, ok := oneLimit(dips); ok && cause != "bad_connection" {
		d.Numbers = append(d.Numbers, number("limit on "+branch, amps, "A"))
	}
	tellPoints(&d, points)
	d.aside = fmt.Sprintf("The supply fell to %.2f V.", lowest)
	return []drafted{d}
}

func (in Input) whyBrownout(dips []schemas.Brownout, longest, lowest, unseen float64) string {
	b := in.Report.Battery
	text := fmt.Sprintf("The supply fell to %.2f V", lowest)
	if in.Profile.Power.Brownout != nil {
		text += fmt.Sprintf(", under the cut-off of %.1f V", in.Profile.Power.Brownout.EnterV)
	}
	text += fmt.Sprintf(", longest for %.2f s.", longest)
	if unseen >= 0.05 {
		text += fmt.Sprintf(" For %.1f s more in or just before it the voltage was not read, as when the controller restarts.", unseen)
	}
	if b.ResistanceOhm != nil && b.OpenCircuitV != nil {
		text += fmt.Sprintf(" Battery and wiring show %.3f ohm and %.2f V at no load", *b.ResistanceOhm, *b.OpenCircuitV)
		if b.BrownoutA != nil {
			text += fmt.Sprintf(": that browns out at %.0f A", *b.BrownoutA)
			if b.PeakA != nil {
				text += fmt.Sprintf(", and the robot drew up to %.0f A", *b.PeakA)
			}
		}
		text += "."
	}
	if b.LooseLowOhm != nil && b.LooseHighOhm != nil {
		text += fmt.Sprintf(" It jumps between %.3f and %.3f ohm, as a loose connection makes it.", *b.LooseLowOhm, *b.LooseHighOhm)
	}
	text += charge(b)
	if top := biggestShares(dips[0]); top != "" {
		text += " In the first dip the current went to " + top
		if other := dips[0].OtherShare; other != nil && *other > 0.1 {
			text += fmt.Sprintf("; %.0f %% is in no measured branch", 100**other)
		}
		text += "."
	}
	for _, j := range in.Report.Jams { // the jam says how much its roller drew
		var at []string
		for _, l := range j.Links {
			if l.Kind == schemas.LinkDip {
				at = append(at, in.at(l.StartS))
			}
		}
		switch n := len(at); {
		case n == 1:
			text += fmt.Sprintf(" The one at %s fell into the jam of the %s, whose roller drew a good part of it.", at[0], j.Stage)
		case n > 1:
			text += fmt.Sprintf(" %s of them, from %s to %s, fell into the jam of the %s, whose roller drew a good part of them.",
				upperFirst(numberWord(n)), at[0], at[n-1], j.Stage)
		}
	}
	return text
}

// charge says how full a battery was that had been at rest, as a sentence to append.
func charge(b schemas.Battery) string {
	switch {
	case b.RestV == nil || b.RestChargeLow == nil || b.RestChargeHigh == nil:
		return ""
	case *b.RestChargeLow == *b.RestChargeHigh:
		return fmt.Sprintf(" At rest it showed %.1f V: fully charged.", *b.RestV)
	}
	return fmt.Sprintf(" At rest it showed %.1f V: %.0f to %.0f %% charged.", *b.RestV, 100**b.RestChargeLow, 100**b.RestChargeHigh)
}

// biggestShares names the two largest branches of a dip with their parts.
func biggestShares(b schemas.Brownout) string {
	shares := slices.Clone(b.Branches)
	slices.SortStableFunc(shares, func(x, y schemas.Share) int { return cmp.Compare(y.Share, x.Share) })
	var parts []string
	for _, s := range shares[:min(2, len(shares))] {
		if s.Share >= 0.05 {
			parts = append(parts, fmt.Sprintf("%s (%.0f %%)", s.Name, 100*s.Share))
		}
	}
	return list(parts)
}

func brownoutChecks(cause, who string, dips []schemas.Brownout) []string {
	switch cause {
	case "weak_battery":
		return append([]string{
			"Swap " + who + " for a charged one, then read its rest voltage after ten minutes.",
			"Feel both lugs and the main connector for play.",
		}, limitCheck(dips)...)
	case causeTogether:
		return []string{
			"Feel both lugs, the main connector and the breaker for play and heat.",
			"Swap " + who + " for a charged one, then read its rest voltage after ten minutes.",
		}
	case "bad_connection":
		return []string{
			"Feel both lugs, the main connector and the breaker for play and heat.",
			"Wiggle each lead with the robot off and look for strands that moved.",
		}
	}
	out := []string{"Put in a fully charged battery and read its rest voltage first.", "Feel both lugs and the main connector for play."}
	if advice := limitCheck(dips); advice != nil {
		return append(out, advice...)
	}
	if top := biggestShares(dips[0]); top != "" {
		out = append(out, "Limit the current of what drew most: "+top+".")
	}
	return out
}

// limitCheck is the advice to limit one branch, nil when no single limit would have done.
func limitCheck(dips []schemas.Brownout) []string {
	branch, amps, ok := oneLimit(dips)
	if !ok {
		return nil
	}
	what := "it"
	if len(dips) > 1 {
		what = "all of them"
	}
	return []string{fmt.Sprintf("By the load line a current limit of %.0f A on %s alone would have prevented %s (95 %%). Stay within the maker's and the event's rules; a qualified adult decides.", math.Floor(amps), branch, what)}
}

// oneLimit is the branch on which a single limit would have prevented every dip, and that
// limit in A: the one that may keep most of the current.
func oneLimit(dips []schemas.Brownout) (branch string, amps float64, ok bool) {
	for _, s := range dips[0].Branches {
		least := math.Inf(1)
		for _, d := range dips {
			i := slices.IndexFunc(d.Branches, func(o schemas.Share) bool { return o.Name == s.Name })
			if i < 0 || d.Branches[i].LimitA == nil {
				least = math.Inf(-1)
				break
			}
			least = math.Min(least, *d.Branches[i].LimitA)
		}
		if least >= 1 && least > amps {
			branch, amps, ok = s.Name, least, true
		}
	}
	return branch, amps, ok
}

// causeTogether is a connection that jumps and a battery behind it that lacks something: of
// most dips the log does not say which of the two did it, for it took both or either would do.
const causeTogether = "together"

// commonCause is the cause of most dips that have one; "" when none is told. Where the
// resistance jumps and most dips have no one cause it was connection and battery together.
func commonCause(dips []schemas.Brownout, battery schemas.Battery) string {
	count := map[string]int{}
	best := ""
	for _, b := range dips {
		count[b.Cause]++
		if b.Cause != "" && (best == "" || count[b.Cause] > count[best]) {
			best = b.Cause
		}
	}
	if battery.LooseHighOhm != nil && count[""] > count[best] {
		return causeTogether
	}
	return best
}

func batteryName(id string) string {
	if id == "" {
		return "the battery"
	}
	return "battery " + id
}
