package draw

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas/series"
)

// LoadLine is the supply's voltage against its current: samples as dots, the fit with its
// 95 % lines, and where it meets the cut-off. ok is false when the report has no
// resistance; the caller then says why in words.
func LoadLine(s *Scene, width float64) (*Picture, bool) {
	b := s.Report.Battery
	if !finite(b.OpenCircuitV) || !finite(b.ResistanceOhm) || *b.ResistanceOhm <= 0 || s.Bell() <= 0 {
		return nil, false
	}
	l := &loadLine{scene: s, width: width, open: *b.OpenCircuitV, ohm: *b.ResistanceOhm}
	l.dots = pairs(s)
	most := 0.0
	for _, d := range l.dots {
		most = max(most, d.x)
	}
	if finite(b.PeakA) {
		most = max(most, *b.PeakA)
	}
	l.fitTo = most
	if finite(b.BrownoutA) && *b.BrownoutA > 0 && *b.BrownoutA < 1.8*most+20 {
		l.fitTo = max(most, *b.BrownoutA*1.08)
	}
	l.fitTo = max(l.fitTo, 10)
	bottom := 6.0
	if cut, ok := s.cutOff(); ok {
		bottom = math.Floor(min(bottom, cut))
	}
	l.x = scale{0, l.fitTo * 1.06, 38, width - 4}
	l.y = scale{bottom, math.Ceil(l.open*2)/2 + 0.4, 235, 6}
	if halfSizeOf(width) == middleSize {
		l.y.p0 = 150
	}
	return &Picture{
		Name: "load-line", Width: width, Height: l.y.p0 + 26,
		Title: "Volts against amperes, all of the match", Desc: l.words(), Table: l.table(), paint: l.paint,
	}, true
}

type loadLine struct {
	scene     *Scene
	width     float64
	open, ohm float64
	fitTo     float64
	dots      []pt // A, V
	x, y      scale
}

// pairs are current and voltage read at the same time: each voltage with the current that
// holds then, if that is not older than half a second.
func pairs(s *Scene) []pt {
	if s.Voltage == nil || s.Current == nil {
		return nil
	}
	var out []pt
	part := s.Voltage.Between(s.micros(0), s.micros(s.Bell())+1)
	for i, t := range part.T {
		k := series.Before(s.Current.T, t)
		if k < 0 || t-s.Current.T[k] > 500_000 {
			continue
		}
		out = append(out, pt{s.Current.V[k], part.V[i]})
	}
	return out
}

func (l *loadLine) paint(p *pen) {
	paintValueAxis(p, l.x, l.y, "V", 4)
	l.paintUsual(p)
	l.paintDots(p)
	b := l.scene.Report.Battery
	if finite(b.ResistanceLowOhm) && finite(b.ResistanceHighOhm) {
		p.strokes(line{Edge, 1, nil}, l.ray(*b.ResistanceLowOhm), l.ray(*b.ResistanceHighOhm))
	}
	cut, known := l.scene.cutOff()
	if known {
		y := l.y.clamped(cut)
		p.stroke(line{Accent, 1.2, dashed}, pt{l.x.p0, y}, pt{l.x.p1, y})
		p.text(note(l.x.p0+8, y-5, left, "cut-off "+short(cut, 2)+" V").in(Accent).haloed())
	}
	p.strokes(line{Ink, 2.2, nil}, l.ray(l.ohm))
	p.stroke(line{Ink, 1, nil}, pt{l.x.p0, l.y.p0}, pt{l.x.p1, l.y.p0})
	paintPlainAxis(p, l.x, l.y.p0, "A", int((l.x.p1-l.x.p0)/80))
	p.ring(line{Ink, 2, nil}, Paper, l.x.p0, l.y.clamped(l.open), 4)
	taken := l.paintWords(p, cut, known)
	if u := b.UsualResistanceOhm; finite(u) && *u > 0 {
		if w, ok := l.usualWords(*u, taken); ok {
			p.text(w)
		}
	}
}

// paintUsual is this robot's usual resistance as a reference from the same open circuit.
func (l *loadLine) paintUsual(p *pen) {
	u := l.scene.Report.Battery.UsualResistanceOhm
	if !finite(u) || *u <= 0 {
		return
	}
	p.strokes(line{Edge, 1.4, dashed}, l.ray(*u))
}

// usualWords is the name of the usual line: beside it, on the side that today's line is not,
// as far right as nothing else is written. ok is false where it has no room.
func (l *loadLine) usualWords(u float64, taken []box) (words label, ok bool) {
	ray, today := l.ray(u), [][]pt{l.ray(l.ohm), l.ray(u)}
	begin, end := ray[0], ray[len(ray)-1]
	words = note(0, 0, left, "usual "+ohms(u)).haloed()
	for x := l.x.p1 - words.width(); x > begin.x+40; x -= 6 {
		words.x = x
		at := func(x float64) float64 { return begin.y + (end.y-begin.y)*(x-begin.x)/(end.x-begin.x) }
		words.y = at(x) - 6 // the line falls: it is highest where the words begin
		if u > l.ohm {
			words.y = at(x+words.width()) + 15
		}
		b := words.box()
		if b.y1 < l.y.p0 && !slices.ContainsFunc(taken, b.meets) && !slices.ContainsFunc(today, func(q []pt) bool { return crossed(b, q) }) {
			return words, true
		}
	}
	return words, false
}

// ray is the line of a resistance from the open circuit, ended where it leaves the picture.
func (l *loadLine) ray(ohm float64) []pt {
	amps := l.fitTo
	if ohm > 0 {
		amps = min(amps, (l.open-l.y.v0)/ohm)
	}
	return []pt{{l.x.p0, l.y.clamped(l.open)}, {l.x.at(amps), l.y.clamped(l.open - ohm*amps)}}
}

// paintDots draws one dot for each pixel cell that holds a sample.
func (l *loadLine) paintDots(p *pen) {
	const cell = 3.0
	drawn := map[[2]int]bool{}
	var dots [][]pt
	for _, d := range l.dots {
		if d.x < 0 || d.x > l.x.v1 || d.y < l.y.v0 || d.y > l.y.v1 {
			continue
		}
		x, y := l.x.at(d.x), l.y.at(d.y)
		key := [2]int{int(x / cell), int(y / cell)}
		if drawn[key] {
			continue
		}
		drawn[key] = true
		dots = append(dots, []pt{{x - 0.8, y}, {x + 0.8, y}})
	}
	p.strokes(line{Edge, 1.6, nil}, dots...)
}

// paintWords names what the lines say and returns where something stands.
func (l *loadLine) paintWords(p *pen, cut float64, known bool) (taken []box) {
	b := l.scene.Report.Battery
	y0 := l.y.clamped(l.open)
	drop := 0.26 * (l.y.p0 - l.y.p1)
	write := func(w label) {
		taken = append(taken, w.box())
		p.text(w)
	}
	if known {
		y := l.y.clamped(cut)
		taken = append(taken, box{l.x.p0, y - 20, l.x.p0 + 80, y}, box{l.x.p0, y - 1, l.x.p1, y + 1})
	}
	write(stressed(l.x.p0+8, y0+drop, left, decimal(l.open, 2)+" V").haloed())
	write(note(l.x.p0+8, y0+drop+15, left, "open circuit").haloed())
	name := "today: "
	if b.ID != "" {
		name = clip(b.ID, 12) + " today: "
	}
	// Below the line, at two fifths of the way, clear of the words about the open circuit.
	today := stressed(l.x.at(l.fitTo*0.42)-12, 0, right, name+ohms(l.ohm)).haloed().within(l.x.p0+92, l.x.p1)
	amps := (today.box().x1 - l.x.p0) / (l.x.p1 - l.x.p0) * l.x.v1
	steepest := l.ohm
	if finite(b.ResistanceHighOhm) {
		steepest = max(steepest, *b.ResistanceHighOhm)
	}
	today.y = l.y.clamped(l.open-steepest*amps) + 13
	write(today)
	if finite(b.ResistanceLowOhm) && finite(b.ResistanceHighOhm) {
		write(note(today.x, today.y+15, right, decimal(*b.ResistanceLowOhm, 3)+" to "+decimal(*b.ResistanceHighOhm, 3)).haloed())
	}
	if !known || !finite(b.BrownoutA) {
		return taken
	}
	words := "browns out at " + decimal(*b.BrownoutA, 0) + " A"
	at := l.x.at(*b.BrownoutA)
	yc := l.y.clamped(cut)
	if at > l.x.p1 {
		write(stressed(l.x.p1, yc+15, right, words).in(Accent).haloed())
		return taken
	}
	p.stroke(line{Accent, 2, nil}, pt{at, yc}, pt{at, l.y.p0})
	p.ring(line{Accent, 2, nil}, Paper, at, yc, 5)
	taken = append(taken, box{at - 6, yc - 6, at + 6, l.y.p0})
	write(stressed(at-8, (yc+l.y.p0)/2+8, right, words).in(Accent).haloed().within(l.x.p0, l.width))
	return taken
}

func ohms(v float64) string { return decimal(v, 3) + " Ω" }

func (l *loadLine) words() string {
	b := l.scene.Report.Battery
	text := "Open circuit " + decimal(l.open, 2) + " V, resistance " + ohms(l.ohm)
	if finite(b.ResistanceLowOhm) && finite(b.ResistanceHighOhm) {
		text += " (95 %: " + decimal(*b.ResistanceLowOhm, 3) + " to " + ohms(*b.ResistanceHighOhm) + ")"
	}
	if finite(b.BrownoutA) {
		text += ", browns out at " + decimal(*b.BrownoutA, 0) + " A"
	}
	return text + "."
}

func (l *loadLine) table() Table {
	b := l.scene.Report.Battery
	cell := func(v *float64, decimals int, unit string) string {
		if !finite(v) {
			return "unknown"
		}
		return decimal(*v, decimals) + " " + unit
	}
	return Table{
		Head: []string{"What", "Value"},
		Rows: [][]string{
			{"open circuit", decimal(l.open, 2) + " V"},
			{"resistance", ohms(l.ohm)},
			{"resistance, 95 % from", cell(b.ResistanceLowOhm, 3, "Ω")},
			{"resistance, 95 % to", cell(b.ResistanceHighOhm, 3, "Ω")},
			{"usual resistance", cell(b.UsualResistanceOhm, 3, "Ω")},
			{"browns out at", cell(b.BrownoutA, 0, "A")},
			{"largest current", cell(b.PeakA, 0, "A")},
		},
	}
}

// paintPlainAxis names values below a line at y; the last name carries the unit.
func paintPlainAxis(p *pen, x scale, y float64, unit string, count int) {
	ticks := Ticks(x.v0, x.v1, max(count, 2))
	for i, v := range ticks {
		words := short(v, 6)
		if i == len(ticks)-1 {
			words += " " + unit
		}
		p.stroke(line{Ink, 1, nil}, pt{x.at(v), y}, pt{x.at(v), y + 5})
		p.text(note(x.at(v), y+18, middle, words).within(x.p0-8, x.p1+4))
	}
}
