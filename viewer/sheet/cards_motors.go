package sheet

import (
	"cmp"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// motorsCard lists the motors, those that stood longest first.
func (v *view) motorsCard() (card, bool) {
	motors := v.in.Report.Motors
	if len(motors) == 0 {
		return card{}, false
	}
	c := card{ID: "motors", Name: "Motors", Sentence: motorsSentence(motors)}
	heat := slices.ContainsFunc(motors, func(m schemas.Motor) bool { return m.Heat != nil })
	twin := slices.ContainsFunc(motors, func(m schemas.Motor) bool { return m.TwinShare != nil })
	c.Table = table{Head: []string{"Motor", "Resistance", "Running", "Rms", "Most", "Stood"}}
	if heat {
		c.Table.Head = append(c.Table.Head, "Heat")
	}
	if twin {
		c.Table.Head = append(c.Table.Head, "Of both twins")
	}
	order := slices.Clone(motors)
	slices.SortStableFunc(order, func(a, b schemas.Motor) int { return cmp.Compare(seconds(b.StalledS), seconds(a.StalledS)) })
	const most = 12
	for _, m := range order[:min(len(order), most)] {
		c.Table.Rows = append(c.Table.Rows, motorRow(m, heat, twin))
	}
	if n := len(order) - most; n > 0 {
		c.Note = counted(n, "more is", "more are") + " in the report."
	}
	return c, true
}

// motorsSentence names the motors that stood while driven, the longest first, and says of how
// many nobody knows.
func motorsSentence(motors []schemas.Motor) string {
	var stood []schemas.Motor
	known := 0
	for _, m := range motors {
		if m.StalledS != nil {
			known++
		}
		if seconds(m.StalledS) >= 0.05 { // what a tenth of a second shows
			stood = append(stood, m)
		}
	}
	if known == 0 {
		return "Whether a motor stood while driven this log does not tell."
	}
	one, end := "The one motor", "."
	if n := len(motors) - known; n > 0 {
		one, end = "One motor", "; of "+inWords(n)+" more the log does not tell."
	}
	return motorsThatStood(stood, known, one) + end
}

// motorsThatStood is what is said of those, by how long each stood, of so many that are known;
// one is what a single one is called.
func motorsThatStood(stood []schemas.Motor, known int, one string) string {
	total := inWords(known) + " motors"
	switch {
	case len(stood) == 0 && known == 1:
		return one + " never stood while driven"
	case len(stood) == 0:
		return "None of " + total + " stood while driven"
	}
	slices.SortStableFunc(stood, func(a, b schemas.Motor) int { return cmp.Compare(seconds(b.StalledS), seconds(a.StalledS)) })
	var parts []string
	for _, m := range stood[:min(len(stood), 3)] {
		parts = append(parts, clip(m.Name)+" "+number(*m.StalledS, 1)+" s")
	}
	if n := len(stood) - len(parts); n > 0 {
		parts = append(parts, inWords(n)+" more")
	}
	if known == 1 {
		return one + " stood while driven: " + listed(parts)
	}
	return capital(inWords(len(stood))) + " of " + total + " stood while driven: " + listed(parts)
}

// motorRow is a motor's line: heat and twin say whether the table has a column for them, which
// it has where the profile gives some motor a limit or a twin.
func motorRow(m schemas.Motor, heat, twin bool) []string {
	told := func(v *float64, decimals int, unit string) string {
		if v == nil {
			return "unknown"
		}
		return number(*v, decimals) + unit
	}
	ohm := told(m.ResistanceOhm, 3, " Ω")
	if m.ResistanceLowOhm != nil && m.ResistanceHighOhm != nil {
		ohm += " (" + number(*m.ResistanceLowOhm, 3) + " to " + number(*m.ResistanceHighOhm, 3) + ")"
	}
	row := []string{m.Name, ohm, told(m.FreeA, 1, " A"), told(m.RmsA, 1, " A"), told(m.PeakA, 0, " A"), told(m.StalledS, 1, " s")}
	percent := func(v *float64) string {
		if v == nil {
			return ""
		}
		return number(100**v, 0) + " %"
	}
	if heat {
		row = append(row, percent(m.Heat))
	}
	if twin {
		row = append(row, percent(m.TwinShare))
	}
	return row
}
