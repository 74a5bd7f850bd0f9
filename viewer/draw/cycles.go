package draw

import (
	"strconv"

	"github.com/afterbell/afterbell/schemas"
)

const (
	denseRows = 15 // beyond this, rows are lower
	mostRows  = 40 // beyond this, only slow cycles have a row
)

var phaseNames = [4]string{"return", "collect", "carry", "place"}

// phaseTones are fill and text of the four phases.
var phaseTones = [4]struct{ fill, text Token }{{Paper, Ink}, {Usual, Ink}, {Band, Ink}, {Ink2, Paper}}

// cycleRow is one scoring cycle with its number among the complete ones; 0 when cut off.
type cycleRow struct {
	schemas.Cycle
	number int
}

// Cycles is one bar a cycle, its phases in four tones; the phase that cost the time is
// accent. ok is false without a scoring cycle.
func Cycles(s *Scene, width float64) (*Picture, bool) {
	c := &cycleBars{scene: s, width: width, narrow: sizeOf(width) == narrowSize, row: 21, bar: 17}
	if sizeOf(width) == middleSize {
		c.row, c.bar = 15.5, 12.5
	}
	for _, q := range s.Report.Cycles {
		if q.Kind == schemas.CycleHandover {
			continue
		}
		row := cycleRow{Cycle: q}
		if q.Complete {
			c.complete++
			row.number = c.complete
		}
		c.rows = append(c.rows, row)
	}
	if len(c.rows) == 0 {
		return nil, false
	}
	if len(c.rows) > mostRows {
		c.left = len(c.rows)
		c.rows = c.slowOnly()
		c.left -= len(c.rows)
	}
	if len(c.rows) > denseRows {
		c.row, c.bar = 14, 11
	}
	most := 0.0
	for _, r := range c.rows {
		if r.Complete {
			most = max(most, min(r.DurationS, 1e4))
		}
	}
	for _, v := range []*float64{s.Report.Usual.CycleS, s.Report.Usual.HighS} {
		if finite(v) {
			most = max(most, *v)
		}
	}
	c.x = scale{0, max(most, 1) * 1.02, 64, width - 250}
	switch {
	case c.narrow:
		c.x.p0, c.x.p1 = 30, width-40
	case sizeOf(width) == middleSize:
		c.x.p0, c.x.p1 = 52, width-190
	}
	c.top = 34
	height := c.top + c.row*float64(len(c.rows)) + 34
	if c.left > 0 {
		height += 18
	}
	return &Picture{
		Name: "cycles", Width: width, Height: height,
		Title: "Every cycle by phase", Desc: c.words(), Table: c.table(), paint: c.paint,
	}, true
}

type cycleBars struct {
	scene    *Scene
	width    float64
	narrow   bool
	rows     []cycleRow
	complete int
	left     int // cycles without a row
	row, bar float64
	top      float64
	x        scale
}

func (c *cycleBars) slowOnly() []cycleRow {
	var out []cycleRow
	for _, r := range c.rows {
		if r.Slow {
			out = append(out, r)
		}
	}
	return out
}

func (c *cycleBars) paint(p *pen) {
	bottom := c.top + c.row*float64(len(c.rows))
	u := c.scene.Report.Usual
	if finite(u.LowS) && finite(u.HighS) {
		x0, x1 := c.x.clamped(*u.LowS), c.x.clamped(*u.HighS)
		p.rect(Inset, x0, c.top-4, x1-x0, bottom-c.top+8)
		p.strokes(line{Edge, 1, dotted}, []pt{{x0, c.top - 4}, {x0, bottom + 4}}, []pt{{x1, c.top - 4}, {x1, bottom + 4}})
	}
	c.paintKey(p)
	for i, r := range c.rows {
		c.paintRow(p, r, c.top+c.row*float64(i))
	}
	y := bottom + 6
	p.stroke(line{Ink, 1, nil}, pt{c.x.p0, y}, pt{c.x.p1, y})
	ticks := Ticks(0, c.x.v1, max(int((c.x.p1-c.x.p0)/110), 3))
	for i, v := range ticks {
		unit := ""
		if i == 0 {
			unit = " s"
		}
		p.stroke(line{Ink, 1, nil}, pt{c.x.at(v), y}, pt{c.x.at(v), y + 5})
		p.text(note(c.x.at(v), y+18, middle, short(v, 3)+unit).within(0, c.width))
	}
	if c.left > 0 {
		p.text(note(0, y+38, left, "and "+strconv.Itoa(c.left)+" cycles not slow"))
	}
}

// paintKey is the usual cycle on top, which is also the key to the tones.
func (c *cycleBars) paintKey(p *pen) {
	u := c.scene.Report.Usual
	if !finite(u.CycleS) {
		p.text(note(0, 15, left, "usual cycle unknown"))
		return
	}
	p.text(note(0, 15, left, "usual").in(Ink))
	seconds, known := secondsOf(u.Phases)
	end := c.x.clamped(*u.CycleS)
	if known {
		x := c.x.p0
		for i, s := range seconds {
			x1 := c.x.clamped(c.x.v0 + (x-c.x.p0)/(c.x.p1-c.x.p0)*c.x.v1 + s)
			p.rect(phaseTones[i].fill, x, 4, x1-x, 14)
			p.frame(line{Ink2, 1, nil}, x, 4, x1-x, 14)
			if l := note(x+5, 15, left, phaseNames[i]).in(phaseTones[i].text); l.width()+8 <= x1-x {
				p.text(l)
			}
			x = x1
		}
		end = x
	} else {
		p.frame(line{Ink2, 1, nil}, c.x.p0, 4, end-c.x.p0, 14)
	}
	words := decimal(*u.CycleS, 1) + " s"
	if c.narrow && known {
		words += ": return · collect · carry · place"
	} else if finite(u.LowS) && finite(u.HighS) {
		words += ", 10 to 90 %: " + decimal(*u.LowS, 1) + " to " + decimal(*u.HighS, 1) + " s"
	}
	if l := note(end+8, 15, left, words); l.box().x1 <= c.width {
		p.text(l)
	} else if l = note(end+8, 15, left, decimal(*u.CycleS, 1)+" s"); l.box().x1 <= c.width {
		p.text(l)
	}
}

// secondsOf are the four phases; known is false unless all are.
func secondsOf(f schemas.Phases) (s [4]float64, known bool) {
	for i, v := range []*float64{f.ReturnS, f.CollectS, f.CarryS, f.PlaceS} {
		if !finite(v) {
			return s, false
		}
		s[i] = max(*v, 0)
	}
	return s, true
}

func (c *cycleBars) paintRow(p *pen, r cycleRow, y float64) {
	textY := y + c.bar/2 + 4.5
	name := strconv.Itoa(r.number)
	if r.Period == schemas.PeriodAutonomous && !c.narrow {
		name = "auto " + name
	}
	x1 := c.x.clamped(r.DurationS)
	if !r.Complete {
		h := min(c.bar-3, 14)
		x1 = max(x1, c.x.p0+8)
		p.frame(line{Edge, 1, dashed}, c.x.p0, y+1, x1-c.x.p0, h)
		l := note(c.x.p0+6, textY-1, left, c.cutWords(r)).haloed()
		if l.box().x1 > x1-4 {
			l.x = x1 + 6
		}
		p.text(l.within(0, c.width))
		return
	}
	if r.Slow {
		p.text(stressed(0, textY, left, name).in(Accent))
	} else {
		p.text(note(0, textY, left, name).in(Ink))
	}
	c.paintPhases(p, r, y, x1)
	if r.Slow {
		l := stressed(x1+7, textY, left, decimal(r.DurationS, 1)).in(Accent).haloed()
		p.text(l.within(0, c.width))
		why := fit(c.because(r), note(0, 0, left, "").face, c.width-l.box().x1-14)
		if !c.narrow && len([]rune(why)) > 4 {
			p.text(note(l.box().x1+14, textY, left, why))
		}
		return
	}
	p.text(note(x1+7, textY, left, decimal(r.DurationS, 1)).in(Ink).haloed().within(0, c.width))
}

// paintPhases draws the bar of one cycle: hatched whole when its phases are not known.
func (c *cycleBars) paintPhases(p *pen, r cycleRow, y, x1 float64) {
	seconds, known := secondsOf(r.Phases)
	if !known {
		color := Edge
		if r.Slow {
			color = Accent
		}
		p.rect(Paper, c.x.p0, y, x1-c.x.p0, c.bar)
		p.hatch(line{color, 1, nil}, 6, c.x.p0, y, x1-c.x.p0, c.bar)
		p.frame(line{color, 1, nil}, c.x.p0, y, x1-c.x.p0, c.bar)
		return
	}
	usual, usualKnown := secondsOf(c.scene.Report.Usual.Phases)
	cost := c.costly(r, seconds, usual, usualKnown)
	at := 0.0
	for i, s := range seconds {
		from, to := c.x.clamped(at), c.x.clamped(at+s)
		at += s
		fill := phaseTones[i].fill
		if i == cost {
			fill = Accent
		}
		p.rect(fill, from, y, to-from, c.bar)
		p.frame(line{Ink2, 1, nil}, from, y, to-from, c.bar)
		if i != cost || c.bar < chartSize {
			continue
		}
		words := phaseNames[i] + " " + decimal(s, 1) + " s"
		for _, w := range []string{words + ", usual " + decimal(usual[i], 1), words} {
			if !usualKnown && w != words {
				continue
			}
			if l := stressed(from+6, y+c.bar/2+4.5, left, w).in(OnAccent); l.width()+10 <= to-from {
				p.text(l)
				break
			}
		}
	}
}

// costly is the phase that cost a slow cycle its time, -1 for none: the one the report
// names; for a jam the one that grew most.
func (c *cycleBars) costly(r cycleRow, seconds, usual [4]float64, usualKnown bool) int {
	if !r.Slow || r.Why == nil {
		return -1
	}
	for i, n := range phaseNames {
		if *r.Why == n {
			return i
		}
	}
	if !usualKnown {
		return -1
	}
	best, most := -1, 0.0
	for i := range seconds {
		if d := seconds[i] - usual[i]; d > most {
			best, most = i, d
		}
	}
	return best
}
