package sheet

import (
	"html/template"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

func (v *view) powerCard() (card, bool) {
	r := v.in.Report
	strip := v.figure("power", "voltage", func(w float64) (*draw.Picture, bool) { return draw.VoltageStrip(v.scene, w) })
	line, lineHeight := v.half("load-line", func(w float64) (*draw.Picture, bool) { return draw.LoadLine(v.scene, w) })
	shares, sharesHeight := v.half("shares", func(w float64) (*draw.Picture, bool) { return draw.Shares(v.scene, w) })
	if strip == "" && line == "" && shares == "" {
		return card{}, false
	}
	c := card{ID: "power", Name: "Power", Picture: strip, Sentence: powerSentence(v.scene)}
	if strip != "" {
		c.Keys = append(c.Keys, "Every sample is in the strip: no dip is averaged away.")
	}
	if line != "" {
		c.Halves = append(c.Halves, line+`<p class="note">Volts against amperes, all of the match. Slope is resistance. Thin: 95 %.</p>`)
	} else if r.Battery.Reason != "" {
		c.Note = "No load line: " + r.Battery.Reason + "."
	}
	beside := template.HTML("")
	if shares != "" {
		beside = `<h3 class="sub">Who drew the current</h3>` + shares
	}
	t := batteryTable(r)
	beside += t.HTML()
	height := 18 * float64(len(t.Rows))
	if shares != "" {
		height += sharesHeight + 34
	}
	v.heights["power"] += max(lineHeight, height)
	if beside != "" {
		c.Halves = append(c.Halves, beside)
	}
	for i, d := range r.StandbyDraws {
		if i == 4 {
			c.Note = joined(c.Note, counted(len(r.StandbyDraws)-i, "more branch does", "more branches do")+" so too.")
			break
		}
		c.Note = joined(c.Note, capital(d.Branch)+" drew "+number(d.MedianA, 1)+" A while the robot was disabled, from "+
			number(v.scene.T(d.StartS), 1)+" to "+number(v.scene.T(d.EndS), 1)+" s.")
	}
	at := r.Battery.LowestAtS
	if len(r.Brownouts) > 0 {
		at = &r.Brownouts[0].StartS
	}
	if at != nil {
		c.Open = "Open the dip at " + number(v.scene.T(*at), 1) + " s"
		c.Href = v.stretch(*at-0.7, *at+0.9, powerSignals(v.scene))
	}
	return c, true
}

func powerSignals(s *draw.Scene) []string {
	p := s.Profile.Power
	if p == nil {
		return nil
	}
	var out []string
	if p.Voltage != nil {
		out = append(out, p.Voltage.Signal)
	}
	if p.Current != nil {
		out = append(out, p.Current.Signal)
	}
	return out
}

// chargedWords says how full the resting voltage makes the battery.
func chargedWords(b schemas.Battery) string {
	switch {
	case b.RestChargeLow == nil || b.RestChargeHigh == nil:
		return ""
	case *b.RestChargeLow == *b.RestChargeHigh:
		return "full"
	}
	return number(100**b.RestChargeLow, 0) + " to " + number(100**b.RestChargeHigh, 0) + " % full"
}

func batteryTable(r *schemas.Report) table {
	b := r.Battery
	t := table{Head: []string{"Battery", "Open circuit", "Resistance", "Drawn"}}
	name := "today"
	if b.ID != "" {
		name = clip(b.ID) + " today"
	}
	cell := func(v *float64, decimals int, unit string) string {
		if v == nil {
			return "unknown"
		}
		return number(*v, decimals) + " " + unit
	}
	if b.OpenCircuitV == nil && b.ResistanceOhm == nil && b.ChargeAh == nil && b.RestV == nil {
		return table{}
	}
	drawn := cell(b.ChargeAh, 2, "Ah")
	if b.EnergyWh != nil {
		drawn += ", " + number(*b.EnergyWh, 1) + " Wh"
	}
	resistance := cell(b.ResistanceOhm, 3, "Ω")
	if b.ResistanceLowOhm != nil && b.ResistanceHighOhm != nil {
		resistance += " (" + number(*b.ResistanceLowOhm, 3) + " to " + number(*b.ResistanceHighOhm, 3) + ")"
	}
	t.Rows = append(t.Rows, []string{name, cell(b.OpenCircuitV, 2, "V"), resistance, drawn})
	if b.UsualResistanceOhm != nil {
		t.Rows = append(t.Rows, []string{"usual", "", cell(b.UsualResistanceOhm, 3, "Ω"), ""})
	}
	if b.RestV != nil {
		t.Rows = append(t.Rows, []string{"at rest", cell(b.RestV, 2, "V"), "", chargedWords(b)})
	}
	return t
}
