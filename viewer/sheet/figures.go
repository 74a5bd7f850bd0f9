package sheet

import (
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

// figure is one value of the figures row.
type figure struct {
	Label, Value, Unit, Beside string
	Hot                        bool // out of limits: drawn in the accent
	Unknown                    bool
}

// figuresOf are the six values a crew asks for first.
func figuresOf(s *draw.Scene, n names) []figure {
	r := s.Report
	return []figure{
		scoredFigure(r, n), cycleFigure(r), jamsFigure(r), voltageFigure(s), batteryFigure(r), balanceFigure(r, n),
	}
}

// ran says whether an analysis looked at the log, and if not, why.
func ran(r *schemas.Report, name string) (ok bool, why string) {
	for _, a := range r.Analyses {
		if a.Name != name {
			continue
		}
		switch {
		case a.Ran:
			return true, ""
		case a.Reason != "":
			return false, a.Reason
		case len(a.Missing) > 0:
			return false, "no " + strings.Join(a.Missing, ", ")
		}
		return false, "not looked at"
	}
	return false, "not looked at"
}

func unknown(label, why string) figure {
	return figure{Label: label, Value: "unknown", Beside: why, Unknown: true}
}

func scoredFigure(r *schemas.Report, n names) figure {
	label := capital(n.pieces) + " scored"
	if ok, why := ran(r, "cycles"); !ok {
		return unknown(label, why)
	}
	total := 0
	for _, c := range r.Cycles {
		if c.Kind != schemas.CycleHandover && c.Complete {
			total += max(c.Pieces, 1)
		}
	}
	f := figure{Label: label, Value: strconv.Itoa(total)}
	if a := r.Autonomous.Pieces; a != nil {
		f.Beside = strconv.Itoa(*a) + " in autonomous"
		if u := r.Autonomous.UsualPieces; u != nil {
			f.Beside += ", usual " + short(*u, 1)
		}
	}
	return f
}

func cycleFigure(r *schemas.Report) figure {
	const label = "Median cycle"
	if ok, why := ran(r, "cycles"); !ok {
		return unknown(label, why)
	}
	whole, cut := 0, 0
	for _, c := range r.Cycles {
		switch {
		case c.Kind == schemas.CycleHandover:
		case c.Complete:
			whole++
		default:
			cut++
		}
	}
	counts := strconv.Itoa(whole) + " whole, " + strconv.Itoa(cut) + " cut off"
	median := r.MedianCycleS()
	if median == nil {
		return unknown(label, counts)
	}
	f := figure{Label: label, Value: number(*median, 1), Unit: "s", Beside: counts}
	if r.Usual.CycleS != nil && r.Usual.Source == "matches" {
		f.Beside = "usual " + number(*r.Usual.CycleS, 1) + " s; " + counts
	}
	return f
}

func jamsFigure(r *schemas.Report) figure {
	const label = "Jams"
	if ok, why := ran(r, "path"); !ok {
		return unknown(label, why)
	}
	stood, open := 0.0, 0
	for _, j := range r.Jams {
		stood += draw.Stood(r, j)
		if !j.Cleared {
			open++
		}
	}
	f := figure{Label: label, Value: strconv.Itoa(len(r.Jams)), Hot: len(r.Jams) > 0}
	if len(r.Jams) > 0 {
		f.Beside = number(stood, 1) + " s standing"
		if open > 0 {
			f.Beside += "; " + strconv.Itoa(open) + " not cleared"
		}
	} else {
		f.Beside = "of " + counted(len(r.Passes), "pass", "passes")
	}
	if k := len(r.SuspectedJams); k > 0 {
		f.Beside += "; " + strconv.Itoa(k) + " suspected"
	}
	return f
}

func voltageFigure(s *draw.Scene) figure {
	const label = "Lowest voltage"
	r := s.Report
	if ok, why := ran(r, "power"); !ok {
		return unknown(label, why)
	}
	if r.Battery.LowestV == nil {
		return unknown(label, "no reading in the match")
	}
	f := figure{Label: label, Value: number(*r.Battery.LowestV, 2), Unit: "V", Hot: len(r.Brownouts) > 0}
	var notes []string
	switch {
	case len(r.Brownouts) > 0:
		notes = append(notes, counted(len(r.Brownouts), "brownout", "brownouts"))
	case r.Battery.LowestAtS != nil:
		notes = append(notes, "at "+number(s.T(*r.Battery.LowestAtS), 1)+" s")
	}
	if cut := s.CutOff(); cut != nil {
		notes = append(notes, "cut-off "+short(*cut, 2)+" V")
	}
	f.Beside = strings.Join(notes, "; ")
	return f
}

func batteryFigure(r *schemas.Report) figure {
	label := "Battery"
	if r.Battery.ID != "" {
		label += " " + clip(r.Battery.ID)
	}
	b := r.Battery
	if b.ResistanceOhm == nil {
		why := b.Reason
		if why == "" {
			_, why = ran(r, "power")
		}
		return unknown(label, why)
	}
	f := figure{Label: label, Value: number(*b.ResistanceOhm, 3), Unit: "Ω", Hot: blamed(r)}
	switch {
	case b.UsualResistanceOhm != nil:
		f.Beside = "usual " + number(*b.UsualResistanceOhm, 3) + " Ω"
	case b.ResistanceLowOhm != nil && b.ResistanceHighOhm != nil:
		f.Beside = "95 %: " + number(*b.ResistanceLowOhm, 3) + " to " + number(*b.ResistanceHighOhm, 3)
	}
	return f
}

// blamed says whether the report puts something down to the battery.
func blamed(r *schemas.Report) bool {
	for _, f := range r.Findings {
		if f.Kind == "battery" && f.Severity != schemas.SeverityWatch {
			return true
		}
	}
	for _, b := range r.Brownouts {
		if b.Cause == "weak_battery" {
			return true
		}
	}
	return false
}

func balanceFigure(r *schemas.Report, n names) figure {
	label := capital(n.platform)
	if ok, why := ran(r, "balance"); !ok {
		return unknown(label, why)
	}
	if len(r.Balances) == 0 {
		return figure{Label: label, Value: "no attempt"}
	}
	b := r.Balances[len(r.Balances)-1]
	f := figure{Label: label, Value: draw.OutcomeOfBalance(b.Outcome), Hot: b.Outcome == schemas.BalanceRanOut}
	swings := counted(b.Overshoots, "swing past", "swings past")
	if b.SettleS != nil {
		f.Beside = "in " + number(*b.SettleS, 1) + " s, " + swings
	} else {
		f.Beside = number(b.EndS-b.StartS, 1) + " s tried, " + swings
	}
	if len(r.Balances) > 1 {
		f.Beside += "; attempt " + strconv.Itoa(len(r.Balances))
	}
	return f
}
