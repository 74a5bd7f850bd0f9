package draw

import (
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot/font"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/fonts"
)

const (
	jamsDrawn   = 3  // in one stage; the rest is told in words
	manyPasses  = 30 // beyond this, lines are drawn at half weight
	axisPerPass = 1.8
)

// stageRows is one stage of the timetable.
type stageRows struct {
	sum         schemas.StageSum
	top, bottom float64
	jams        []numberedJam
}

// numberedJam is a jam with its place in the report, from 1.
type numberedJam struct {
	schemas.Jam
	number int
}

// timetable is the geometry of a path drawing.
type timetable struct {
	scene  *Scene
	width  float64
	narrow bool
	row    float64 // height of a stage
	jamRow float64 // height of a jam in it
	x      scale   // seconds since the mouth
	stages []stageRows
	height float64
	names  float64 // width of the names' column
	walls  float64 // left wall of the robot's outline, 0 without one
}

// Path is the way of the pieces as a graphic timetable: stages from top to bottom, time
// since the first stage to the right, each piece one falling line. ok is false when the
// report has no stages.
func Path(s *Scene, width float64) (*Picture, bool) {
	if len(s.Report.Stages) == 0 {
		return nil, false
	}
	t := newTimetable(s, width)
	return &Picture{
		Name: "path", Width: width, Height: t.height,
		Title: "The path of every piece, stage by stage", Desc: t.words(), Table: t.table(),
		paint: t.paint,
	}, true
}

func newTimetable(s *Scene, width float64) *timetable {
	t := &timetable{scene: s, width: width, narrow: sizeOf(width) == narrowSize, row: 46, jamRow: 40}
	axis := 0.0
	for _, st := range s.Report.Stages {
		switch {
		case finite(st.UsualS):
			axis += *st.UsualS
		case finite(st.TransitS):
			axis += *st.TransitS
		}
	}
	if axis <= 0 {
		axis = 1
	}
	t.names, t.x = 145, scale{0, axisPerPass * axis, 196, width - 215}
	t.walls = 153
	switch {
	case t.narrow:
		t.names, t.walls = 84, 0
		t.x.p0, t.x.p1 = 92, width-6
	case sizeOf(width) == middleSize:
		t.row, t.jamRow = 31, 27
		t.names, t.walls = 116, 124
		t.x.p0, t.x.p1 = 166, width-190
	}
	y := 46.0
	for _, st := range s.Report.Stages {
		row := stageRows{sum: st, top: y}
		for i, j := range s.Report.Jams {
			if j.Stage == st.Stage {
				row.jams = append(row.jams, numberedJam{j, i + 1})
			}
		}
		y += t.row + t.jamRow*float64(min(len(row.jams), jamsDrawn))
		if len(row.jams) > jamsDrawn {
			y += 18
		}
		row.bottom = y
		t.stages = append(t.stages, row)
	}
	t.height = y + 20
	return t
}

func (t *timetable) paint(p *pen) {
	t.paintGrid(p)
	t.paintUsual(p)
	t.paintPasses(p)
	for i := range t.stages {
		t.paintJams(p, &t.stages[i])
	}
	t.paintNames(p)
	if !t.narrow {
		t.paintColumns(p)
	}
	last := t.stages[len(t.stages)-1]
	p.text(note(t.x.p1, last.bottom+14, right, "waiting at the "+clip(last.sum.Stage, 16)+" to be released is no jam").within(0, t.width))
}

func (t *timetable) paintGrid(p *pen) {
	top, bottom := t.stages[0].top, t.stages[len(t.stages)-1].bottom
	piece := t.scene.Report.Match.Game.Piece
	if piece == "" {
		piece = "piece"
	}
	title := "seconds since the " + clip(piece, 20) + " entered the " + clip(t.stages[0].sum.Stage, 16)
	if t.narrow {
		title = "seconds since it entered"
	}
	p.text(note(t.x.p0-6, 20, left, title).within(0, t.width))
	for _, v := range Ticks(0, t.x.v1, int((t.x.p1-t.x.p0)/100)) {
		x, unit := t.x.at(v), ""
		if v == 0 {
			unit = " s"
		} else {
			p.stroke(line{Rule, 1, nil}, pt{x, top}, pt{x, bottom})
		}
		p.stroke(line{Ink, 1, nil}, pt{x, top - 5}, pt{x, top})
		p.text(note(x, top-9, middle, short(v, 6)+unit).within(0, t.x.p1+12))
	}
	for i, s := range t.stages {
		l := line{Rule, 1, nil}
		if i == 0 {
			l = line{Ink, 1, nil}
		}
		p.stroke(l, pt{0, s.top}, pt{t.width, s.top})
	}
	p.stroke(line{Ink, 1, nil}, pt{0, bottom}, pt{t.width, bottom})
}

// paintUsual shades between the usual least and greatest times, added up over the stages as
// far as they are known. The time of a stage runs to the next beam, so that of a stage
// before one without a beam covers both.
func (t *timetable) paintUsual(p *pen) {
	var low, high []pt
	lo, hi := 0.0, 0.0
	add := func(y float64) {
		low = append(low, pt{t.x.clamped(lo), y})
		high = append(high, pt{t.x.clamped(hi), y})
	}
	add(t.stages[0].top)
	for i := 0; i < len(t.stages); i++ {
		s := t.stages[i].sum
		if !finite(s.UsualLowS) || !finite(s.UsualHighS) {
			break
		}
		lo, hi = lo+*s.UsualLowS, hi+*s.UsualHighS
		for i+1 < len(t.stages) && t.covered(i+1) {
			i++
		}
		add(t.stages[i].bottom)
	}
	if len(low) < 2 {
		return
	}
	polygon := append([]pt{}, low...)
	for i := len(high) - 1; i >= 0; i-- {
		polygon = append(polygon, high[i])
	}
	p.area(Usual, polygon...)
	p.strokes(line{Edge, 1, nil}, low, high)
}

// covered says whether the time through stage i is counted with that of the stage before it.
func (t *timetable) covered(i int) bool {
	s := t.stages[i].sum
	return i > 0 && !s.Sensor && !finite(s.TransitS) && !finite(s.UsualS)
}

func (t *timetable) paintNames(p *pen) {
	if t.walls > 0 {
		top, bottom := t.stages[0].top, t.stages[len(t.stages)-1].bottom
		p.strokes(line{Edge, 1.4, nil}, []pt{{t.walls, top}, {t.walls, bottom}}, []pt{{t.walls + 22, top}, {t.walls + 22, bottom}})
	}
	for i := range t.stages {
		s := &t.stages[i]
		x, color := 0.0, Ink
		if len(s.jams) > 0 {
			p.rect(Accent, 0, s.top+0.5, 4, s.bottom-s.top-1)
			x, color = 11, Accent
		}
		lead := max(t.row/2-5, 13)
		p.text(label{fit(s.sum.Stage, fonts.Heading(14.5), t.names-x-6), x, s.top + lead, left, fonts.Heading(14.5), color, false})
		y := s.top + lead + 14 + max(t.row-43, 0)
		if t.narrow {
			words := transit(s.sum.TransitS)
			if t.hasUsual() {
				words += " (" + brackets(s.sum.UsualS) + ")"
			}
			if t.covered(i) {
				words = "with " + clip(t.stages[i-1].sum.Stage, 8)
			}
			p.text(note(x, y, left, words))
			if y += 16; !s.sum.Sensor && len(s.jams) > 0 {
				p.text(note(x, y, left, "no beam"))
			}
			continue
		}
		if s.sum.Sensor {
			p.text(note(x, y, left, "beam"))
			p.rect(Ink, t.walls-8, s.top+4, 5, 6)
			p.stroke(line{Ink, 1.2, dotted}, pt{t.walls, s.top + 7}, pt{t.walls + 26, s.top + 7})
			continue
		}
		p.text(note(x, y, left, "no beam: inferred"))
		if len(s.jams) > 0 {
			p.text(note(x, y+16, left, "place in it unknown"))
			h := s.bottom - s.top - 12
			p.hatch(line{Accent, 1.2, nil}, 6, t.walls+0.5, s.top+6, 21, h)
			p.ring(line{Accent, 2, nil}, Paper, t.walls+11, s.top+6+h/2, 9)
			p.text(stressed(t.walls+11, s.top+10+h/2, middle, "?").in(Accent))
		}
	}
}

// hasUsual is whether the usual time of any stage is known: without a past there is nothing
// to set beside today's.
func (t *timetable) hasUsual() bool {
	return slices.ContainsFunc(t.stages, func(s stageRows) bool { return finite(s.sum.UsualS) })
}

func transit(v *float64) string {
	if !finite(v) {
		return "unknown"
	}
	return decimal(*v, 2) + " s"
}

func brackets(v *float64) string {
	if !finite(v) {
		return "unknown"
	}
	return decimal(*v, 2)
}

func (t *timetable) paintColumns(p *pen) {
	at := []float64{t.width - 148, t.width - 82, t.width}
	if sizeOf(t.width) == middleSize {
		at = []float64{t.width - 128, t.width - 66, t.width}
	}
	y := t.stages[0].top - 9
	jams := "jams today"
	if sizeOf(t.width) == middleSize {
		jams = "jams"
	}
	p.text(note(at[0], y, right, "today"))
	p.text(note(at[2], y, right, jams))
	past := t.hasUsual()
	if past {
		p.text(note(at[1], y, right, "usual"))
	}
	for i, s := range t.stages {
		y := s.top + min(19, t.row/2+1)
		if t.covered(i) {
			p.text(note(at[0], y, right, "with "+clip(t.stages[i-1].sum.Stage, 10)))
		} else {
			p.text(note(at[0], y, right, transit(s.sum.TransitS)).in(Ink))
			if past {
				p.text(note(at[1], y, right, transit(s.sum.UsualS)))
			}
		}
		jams := strconv.Itoa(s.sum.Jams) + " of " + strconv.Itoa(s.sum.Passes)
		if s.sum.Jams > 0 {
			p.text(stressed(at[2], y, right, jams).in(Accent))
		} else {
			p.text(note(at[2], y, right, jams))
		}
	}
}

// fit cuts s to a width.
func fit(s string, f font.Face, w float64) string {
	n := len([]rune(s))
	for n > 1 && fonts.Width(f, clip(s, n)) > w {
		n--
	}
	return clip(s, n)
}

func (t *timetable) words() string {
	return strconv.Itoa(len(t.scene.Report.Passes)) + " passes through " + strconv.Itoa(len(t.stages)) +
		" stages, " + strconv.Itoa(len(t.scene.Report.Jams)) + " jams."
}

func (t *timetable) table() Table {
	table := Table{Head: []string{"Stage", "Sensor", "Median today", "Usual", "8 in 10 usual", "Passes", "Jams"}}
	for _, s := range t.stages {
		sensor := "yes"
		if !s.sum.Sensor {
			sensor = "none: inferred"
		}
		spread := "unknown"
		if finite(s.sum.UsualLowS) && finite(s.sum.UsualHighS) {
			spread = decimal(*s.sum.UsualLowS, 2) + " to " + decimal(*s.sum.UsualHighS, 2) + " s"
		}
		table.Rows = append(table.Rows, []string{
			s.sum.Stage, sensor, transit(s.sum.TransitS), transit(s.sum.UsualS), spread,
			strconv.Itoa(s.sum.Passes), strconv.Itoa(s.sum.Jams),
		})
	}
	for _, s := range t.stages {
		for _, j := range s.jams {
			table.Rows = append(table.Rows, []string{
				s.sum.Stage, t.jamWords(j, false), "", "", "from " + decimal(t.scene.T(j.StartS), 2) + " s", "", "sure " + decimal(math.Floor(j.Confidence*100+1e-9)/100, 2),
			})
		}
	}
	return table
}
