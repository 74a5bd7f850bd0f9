package draw

import (
	"math"
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

// paintPasses draws each piece as a falling line: dotted through a stage without sensor,
// accent when it jammed.
func (t *timetable) paintPasses(p *pen) {
	weight := 1.1
	if len(t.scene.Report.Passes) > manyPasses {
		weight = 0.55
	}
	var seen, inferred, jammed, jammedInferred [][]pt
	for _, pass := range t.scene.Report.Passes {
		_, stands := t.jamOf(pass.Piece)
		for _, seg := range t.segments(pass) {
			switch {
			case stands && seg.seen:
				jammed = append(jammed, seg.line)
			case stands:
				jammedInferred = append(jammedInferred, seg.line)
			case seg.seen:
				seen = append(seen, seg.line)
			default:
				inferred = append(inferred, seg.line)
			}
		}
	}
	p.strokes(line{Ink, weight, nil}, seen...)
	p.strokes(line{Ink, weight, dotted}, inferred...)
	p.strokes(line{Accent, 1.6, nil}, jammed...)
	p.strokes(line{Accent, 1.6, dotted}, jammedInferred...)
}

type segment struct {
	line []pt
	seen bool
}

func (t *timetable) segments(pass schemas.Pass) []segment {
	begin, ok := beginOf(pass)
	if !ok {
		return nil
	}
	var out []segment
	for i := range t.stages {
		sp, enter, ok := stageOf(pass, t.stages[i].sum.Stage)
		if !ok {
			continue
		}
		from := pt{enter - begin, t.stages[i].top}
		to, ok := t.leaves(pass, i, begin, sp)
		if !ok {
			continue
		}
		if l, ok := t.cut(from, to); ok {
			out = append(out, segment{l, t.stages[i].sum.Sensor})
		}
	}
	return out
}

// leaves is the point where a pass leaves stage i: where it enters the next, where its jam
// stands, or where it was last seen.
func (t *timetable) leaves(pass schemas.Pass, i int, begin float64, sp schemas.StagePass) (pt, bool) {
	if j, ok := t.jamOf(pass.Piece); ok && j.Stage == t.stages[i].sum.Stage {
		for k, own := range t.stages[i].jams {
			if own.number == j.number && k < jamsDrawn {
				return pt{j.StartS - begin, t.jamY(&t.stages[i], k)}, true
			}
		}
	}
	if i+1 < len(t.stages) {
		if _, enter, ok := stageOf(pass, t.stages[i+1].sum.Stage); ok {
			return pt{enter - begin, t.stages[i].bottom}, true
		}
	}
	for _, v := range []*float64{sp.LeaveS, sp.LeaveEstS} {
		if finite(v) {
			return pt{*v - begin, t.stages[i].bottom}, true
		}
	}
	return pt{}, false
}

// cut maps a segment in seconds to pixels and ends it where it runs off the axis.
func (t *timetable) cut(a, b pt) ([]pt, bool) {
	if a.x > t.x.v1 || a.x < 0 || b.x < a.x {
		return nil, false
	}
	if b.x > t.x.v1 {
		b.y = a.y + (b.y-a.y)*(t.x.v1-a.x)/(b.x-a.x)
		b.x = t.x.v1
	}
	return []pt{{t.x.at(a.x), a.y}, {t.x.at(b.x), b.y}}, true
}

// beginOf is when a pass entered the path, as far as it is known.
func beginOf(pass schemas.Pass) (float64, bool) {
	if finite(pass.EnterS) {
		return *pass.EnterS, true
	}
	if len(pass.Stages) > 0 {
		_, enter, ok := stageOf(pass, pass.Stages[0].Stage)
		return enter, ok
	}
	return 0, false
}

func stageOf(pass schemas.Pass, stage string) (schemas.StagePass, float64, bool) {
	for _, s := range pass.Stages {
		if s.Stage != stage {
			continue
		}
		if finite(s.EnterS) {
			return s, *s.EnterS, true
		}
		if finite(s.EnterEstS) {
			return s, *s.EnterEstS, true
		}
	}
	return schemas.StagePass{}, 0, false
}

func (t *timetable) jamOf(piece int) (numberedJam, bool) {
	for i, j := range t.scene.Report.Jams {
		if j.Piece != nil && *j.Piece == piece {
			return numberedJam{j, i + 1}, true
		}
	}
	return numberedJam{}, false
}

func (t *timetable) jamY(s *stageRows, k int) float64 {
	return s.top + t.row/2 + 12 + t.jamRow*float64(k)
}

// paintJams draws the jams of a stage as trains that stand: ring, hatched bar, arrow at the
// edge, and in words how long and how it ended.
func (t *timetable) paintJams(p *pen, s *stageRows) {
	for k, j := range s.jams {
		if k == jamsDrawn {
			rest := 0.0
			for _, o := range s.jams[k:] {
				rest += t.stood(o.Jam)
			}
			p.text(stressed(t.x.p1, s.bottom-8, right, "and "+strconv.Itoa(len(s.jams)-k)+" more, "+decimal(rest, 1)+" s").in(Accent).haloed())
			return
		}
		y := t.jamY(s, k)
		x0 := t.x.clamped(t.jamBegins(j.Jam, s))
		x1, off := t.x.p1, true
		if b, ok := t.beginOfPiece(j.Piece); ok && j.StartS-b+t.stood(j.Jam) < t.x.v1 {
			x1, off = max(t.x.at(j.StartS-b+t.stood(j.Jam)), x0+10), false
		}
		x0 = min(x0, x1-10)
		p.rect(Paper, x0, y-5, x1-x0, 10)
		p.hatch(line{Accent, 1.6, nil}, 6, x0, y-5, x1-x0, 10)
		p.frame(line{Accent, 1, nil}, x0, y-5, x1-x0, 10)
		if off {
			p.area(Accent, pt{x1 - 8, y - 8}, pt{x1 + 3, y}, pt{x1 - 8, y + 8})
		}
		p.ring(line{Accent, 2.2, nil}, Paper, x0, y, 8)
		l := stressed(x1-6, y-11, right, t.jamWords(j, t.narrow)).in(Accent).haloed()
		p.text(l.within(t.names+4, t.width))
	}
}

func (t *timetable) beginOfPiece(piece *int) (float64, bool) {
	if piece == nil {
		return 0, false
	}
	for _, pass := range t.scene.Report.Passes {
		if pass.Piece == *piece {
			return beginOf(pass)
		}
	}
	return 0, false
}

// jamBegins is when a jam began after its piece entered; where the piece is not known, the
// usual time to its stage.
func (t *timetable) jamBegins(j schemas.Jam, s *stageRows) float64 {
	if b, ok := t.beginOfPiece(j.Piece); ok {
		return j.StartS - b
	}
	at := 0.0
	for i := range t.stages {
		if t.stages[i].top >= s.top {
			break
		}
		if u := t.stages[i].sum.UsualS; finite(u) {
			at += *u
		}
	}
	return at
}

// stood is how long a jam lasted, counted to the end of the match at most when it never
// cleared.
func (t *timetable) stood(j schemas.Jam) float64 { return Stood(t.scene.Report, j) }

// Stood is how long a jam lasted in seconds: to its end, or to the bell when it had not
// cleared by then.
func Stood(r *schemas.Report, j schemas.Jam) float64 {
	end := j.EndS
	if !j.Cleared && end > r.Match.EndS && j.StartS < r.Match.EndS {
		end = r.Match.EndS
	}
	return max(end-j.StartS, 0)
}

func (t *timetable) jamWords(j numberedJam, brief bool) string {
	words := "jam " + strconv.Itoa(j.number) + ": stood " + decimal(t.stood(j.Jam), 1) + " s"
	if !j.Cleared {
		if j.EndS >= t.scene.Report.Match.EndS && !stoppedEarly(t.scene) {
			return words + ", to the bell"
		}
		return words + ", to the end of the log"
	}
	if brief {
		return words
	}
	if how := HowJamEnded(j.How); how != "" {
		words += ", then " + how + " at " + decimal(t.scene.T(j.EndS), 1) + " s"
	}
	return words
}

func stoppedEarly(s *Scene) bool {
	_, early := s.Stopped()
	return early
}

// HowJamEnded is the end of a jam in words.
func HowJamEnded(how string) string {
	switch how {
	case "moved_on":
		return "moved on"
	case "backed_out":
		return "backed out"
	case "taken_out":
		return "was taken out"
	default:
		return ""
	}
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
			words := transit(s.sum.TransitS) + " (" + brackets(s.sum.UsualS) + ")"
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
	for i, h := range []string{"today", "usual", jams} {
		p.text(note(at[i], y, right, h))
	}
	for i, s := range t.stages {
		y := s.top + min(19, t.row/2+1)
		if t.covered(i) {
			p.text(note(at[1], y, right, "with "+clip(t.stages[i-1].sum.Stage, 10)))
		} else {
			p.text(note(at[0], y, right, transit(s.sum.TransitS)).in(Ink))
			p.text(note(at[1], y, right, transit(s.sum.UsualS)))
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
