package draw

import (
	"fmt"
	"math"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// SeasonJams is a row for each stage: a square is a jam, a point a match without one. A stage
// whose rate has changed is accent since then. ok is false without a stage.
func SeasonJams(y Year, width float64) (*Picture, bool) {
	j := &seasonJams{y: y, x: y.x(width), row: 22}
	var rows [][]string
	for i := range y.Measures {
		m := &y.Measures[i]
		stage, ok := strings.CutPrefix(m.Name, "jam_rate/")
		if !ok {
			continue
		}
		j.stages, j.measures = append(j.stages, stage), append(j.measures, m)
		events, of := 0, 0
		for _, q := range m.Points {
			events, of = events+*q.Events, of+*q.Of
		}
		rows = append(rows, []string{stage, fmt.Sprintf("%d of %d passes", events, of), m.Note})
	}
	if len(j.stages) == 0 {
		return nil, false
	}
	return &Picture{
		Name: "jams", Width: width, Height: 8 + j.row*float64(len(j.stages)),
		Title: "Jams by stage, match by match", Desc: "Rows are stages in the order a piece passes them; a square is a jam.",
		Table: Table{Head: []string{"Stage", "Jams", "What it tells"}, Rows: rows}, paint: j.paint,
	}, true
}

type seasonJams struct {
	y        Year
	x        scale
	row      float64
	stages   []string
	measures []*schemas.SeasonMeasure
}

func (j *seasonJams) paint(p *pen) {
	bottom := 8 + j.row*float64(len(j.stages))
	j.y.paintParts(p, j.x, 0, bottom)
	for i, m := range j.measures {
		y := 4 + j.row*(float64(i)+0.5)
		p.stroke(line{Rule, 1, nil}, pt{j.x.p0, y}, pt{j.x.p1, y})
		name := note(j.x.p0-6, y+4, right, j.stages[i])
		worse := len(m.Changes) > 0 && m.Changes[len(m.Changes)-1].After > m.Changes[len(m.Changes)-1].Before
		if worse {
			name = stressed(name.x, name.y, right, j.stages[i]).in(Accent)
		}
		for name.box().x0 < 0 && len([]rune(name.text)) > 3 {
			r := []rune(strings.TrimSuffix(name.text, "…"))
			name.text = string(r[:len(r)-1]) + "…"
		}
		p.text(name)
		pitch := j.x.at(1) - j.x.at(0)
		for _, q := range m.Points {
			x := j.x.at(float64(q.Index))
			if *q.Events == 0 {
				p.dot(Edge, x, y, 1)
				continue
			}
			color := Ink2
			if worse && q.Index >= m.Changes[len(m.Changes)-1].Index {
				color = Accent
			}
			// As many squares as jams, as far as they fit; more say their number.
			n := min(*q.Events, 3)
			side := min(8, max(3, (pitch-2)/float64(n)-1))
			for k := range n {
				p.rect(color, x+(float64(k)-float64(n)/2)*(side+1)+0.5, y-4, side, 8)
			}
		}
	}
}

// SeasonBatteries is the resistance of each battery over the matches it was in. One that has
// changed, or drifts, is accent, with its intervals; the others are told by marker and name. ok
// is false without a battery.
func SeasonBatteries(y Year, width float64) (*Picture, bool) {
	b := &batteries{}
	var points []schemas.SeasonPoint
	var rows [][]string
	for i := range y.Measures {
		m := &y.Measures[i]
		name, ok := strings.CutPrefix(m.Name, "resistance_ohm/")
		if !ok {
			continue
		}
		b.names, b.measures = append(b.names, name), append(b.measures, m)
		points = append(points, m.Points...)
		for _, q := range m.Points {
			rows = append(rows, []string{name, y.Matches[q.Index].Event + " " + y.Matches[q.Index].Match, SeasonAmount(q.Value, "ohm")})
		}
	}
	if len(b.names) == 0 {
		return nil, false
	}
	b.runChart = runChart{y: y, x: y.x(width), narrow: sizeOf(width) == narrowSize, y0: 128, y1: 10}
	b.scaleTo(points, nil)
	return &Picture{
		Name: "batteries", Width: width, Height: 138,
		Title: "Battery resistance, match by match", Desc: "Each battery has its own marker.",
		Table: Table{Head: []string{"Battery", "Match", "Resistance"}, Rows: rows}, paint: b.paint,
	}, true
}

type batteries struct {
	runChart
	names    []string
	measures []*schemas.SeasonMeasure
}

// moved is whether something is said of a battery.
func moved(m *schemas.SeasonMeasure) bool { return len(m.Changes) > 0 || m.Trend != nil }

func (b *batteries) paint(p *pen) {
	b.paintScale(p, "ohm")
	b.y.paintParts(p, b.x, 0, b.y0+10)
	var names []box
	for pass := range 2 { // what is said of lies on top
		for i, m := range b.measures {
			if moved(m) != (pass == 1) {
				continue
			}
			names = b.paintOne(p, i, m, names)
		}
	}
}

func (b *batteries) paintOne(p *pen, i int, m *schemas.SeasonMeasure, names []box) []box {
	color, width := Ink2, 1.0
	if moved(m) {
		color, width = Accent, 2
	}
	var path []pt
	for _, q := range m.Points {
		at := pt{b.at(q.Index), b.v.at(q.Value)}
		path = append(path, at)
		if moved(m) && finite(q.Low) && finite(q.High) {
			p.stroke(line{color, 1, nil}, pt{at.x, b.v.clamped(*q.Low)}, pt{at.x, b.v.clamped(*q.High)})
		}
	}
	p.stroke(line{color, width, nil}, path...)
	for _, at := range path {
		Marker(i).paint(p, color, at.x, at.y)
	}
	last := path[len(path)-1]
	l := note(last.x+8, last.y+4, left, b.names[i]).in(color).haloed()
	if l.box().x1 > b.x.p1+yearRight {
		l.x, l.y = last.x, last.y-8
		l.anchor = right
	}
	for _, o := range names {
		if l.box().meets(o) {
			return names // the list beside the picture names it too
		}
	}
	p.text(l)
	return append(names, l.box().roomy())
}

// Marker is the shape of the battery at a place in their order; there are five, then again.
type Marker int

func (m Marker) paint(p *pen, color Token, x, y float64) {
	const r = 4.0
	switch m % 5 {
	case 0:
		p.dot(color, x, y, r-0.5)
	case 1:
		p.area(color, pt{x, y - r}, pt{x + r, y + r - 0.5}, pt{x - r, y + r - 0.5})
	case 2:
		p.rect(color, x-r+0.5, y-r+0.5, 2*r-1, 2*r-1)
	case 3:
		p.strokes(line{color, 1.5, nil}, []pt{{x - r, y - r}, {x + r, y + r}}, []pt{{x - r, y + r}, {x + r, y - r}})
	default:
		p.ring(line{color, 1.5, nil}, Paper, x, y, r-0.5)
	}
}

// MarkerPicture is the marker alone, for lists beside the picture.
func MarkerPicture(m Marker, hot bool) *Picture {
	return &Picture{Width: 14, Height: 14, paint: func(p *pen) {
		color := Ink
		if hot {
			color = Accent
		}
		m.paint(p, color, 7, 7)
	}}
}

// SeasonBalance is the time to level with the attempts that did not come level above: crosses. A
// short bar at the foot is a match without an attempt. ok is false when no attempt was made.
func SeasonBalance(y Year, width float64) (*Picture, bool) {
	level := y.measure("balance_level_rate")
	if level == nil {
		return nil, false
	}
	b := &seasonBalance{level: level}
	b.runChart = runChart{y: y, m: y.measure("balance_settle_s"), x: y.x(width), narrow: sizeOf(width) == narrowSize, y0: 146, y1: 42}
	if b.m == nil {
		b.m = &schemas.SeasonMeasure{Name: "balance_settle_s", Unit: "s"}
	}
	b.scaleTo(b.m.Points, b.m.Levels)
	if len(b.m.Points) == 0 {
		b.v = scale{0, 1, b.y0, b.y1}
	}
	table := pointTable(y, level)
	return &Picture{
		Name: "balance", Width: width, Height: b.y0 + 16,
		Title: "Time to level, match by match", Desc: b.m.Note, Table: table, paint: b.paintAll,
	}, true
}

type seasonBalance struct {
	runChart
	level *schemas.SeasonMeasure
}

func (b *seasonBalance) paintAll(p *pen) {
	p.rect(Inset, b.x.p0, 4, b.x.p1-b.x.p0, 22)
	if len(b.m.Points) > 0 {
		b.paint(p)
	} else {
		b.y.paintParts(p, b.x, 0, b.y0+16)
	}
	p.text(note(b.x.p0-6, 19, right, "not level").within(0, b.x.p0-2))
	tried := map[int]bool{}
	for _, q := range b.level.Points {
		tried[q.Index] = true
		missed := min(*q.Of-*q.Events, 2)
		for k := range missed {
			x, y := b.at(q.Index), 15+8*(float64(k)-float64(missed-1)/2)
			p.strokes(line{Ink, 1.5, nil}, []pt{{x - 4, y - 4}, {x + 4, y + 4}}, []pt{{x - 4, y + 4}, {x + 4, y - 4}})
		}
	}
	for i, m := range b.y.Matches {
		if !tried[i] && !m.Practice {
			x := b.at(i)
			p.stroke(line{Edge, 1.5, nil}, pt{x - 3, b.y0 + 1}, pt{x + 3, b.y0 + 1})
		}
	}
}

// Difference is an interval of a difference on a line with 0: what is since less what was before.
func Difference(value float64, low, high *float64, lower, higher string, width float64) *Picture {
	reach := math.Abs(value)
	for _, v := range []*float64{low, high} {
		if finite(v) {
			reach = max(reach, math.Abs(*v))
		}
	}
	x := scale{-1.15 * max(reach, 1e-9), 1.15 * max(reach, 1e-9), 8, width - 8}
	return &Picture{Name: "difference", Width: width, Height: 40, paint: func(p *pen) {
		p.stroke(line{Rule, 1, nil}, pt{x.p0, 12}, pt{x.p1, 12})
		zero := x.at(0)
		p.stroke(line{Ink, 1, nil}, pt{zero, 3}, pt{zero, 21})
		from, to := x.p0, x.p1
		if finite(low) {
			from = x.clamped(*low)
		}
		if finite(high) {
			to = x.clamped(*high)
		}
		p.stroke(line{Ink, 3, nil}, pt{from, 12}, pt{to, 12})
		p.dot(Ink, x.clamped(value), 12, 4.5)
		p.text(note(zero, 35, middle, "0"))
		p.text(note(x.p0, 35, left, lower))
		p.text(note(x.p1, 35, right, higher))
	}}
}
