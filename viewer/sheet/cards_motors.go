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
	stood := 0
	for _, m := range motors {
		if seconds(m.StalledS) > 0 {
			stood++
		}
	}
	said := "none of them stood"
	if stood > 0 {
		said = counted(stood, "of them stood", "of them stood")
	}
	c := card{ID: "motors", Name: "Motors", Sentence: counted(len(motors), "motor", "motors") + ", " + said + " while driven."}
	c.Table = table{Head: []string{"Motor", "Resistance", "Running", "Mean square", "Most", "Stood", "Heat", "Beside its twin"}}
	order := slices.Clone(motors)
	slices.SortStableFunc(order, func(a, b schemas.Motor) int { return cmp.Compare(seconds(b.StalledS), seconds(a.StalledS)) })
	const most = 12
	for _, m := range order[:min(len(order), most)] {
		c.Table.Rows = append(c.Table.Rows, motorRow(m))
	}
	if n := len(order) - most; n > 0 {
		c.Note = counted(n, "more is", "more are") + " in the report."
	}
	return c, true
}

func motorRow(m schemas.Motor) []string {
	told := func(v *float64, decimals int, unit string) string {
		if v == nil {
			return "unknown"
		}
		return number(*v, decimals) + unit
	}
	ohm := told(m.ResistanceOhm, 3, " ohm")
	if m.ResistanceLowOhm != nil && m.ResistanceHighOhm != nil {
		ohm += " (" + number(*m.ResistanceLowOhm, 3) + " to " + number(*m.ResistanceHighOhm, 3) + ")"
	}
	heat, twin := "no limit given", ""
	if m.Heat != nil {
		heat = number(100**m.Heat, 0) + " %"
	}
	if m.TwinShare != nil {
		twin = number(100**m.TwinShare, 0) + " % of both, with " + m.Twin
	}
	return []string{
		m.Name, ohm, told(m.FreeA, 1, " A"), told(m.RmsA, 1, " A"), told(m.PeakA, 0, " A"), told(m.StalledS, 1, " s"), heat, twin,
	}
}
