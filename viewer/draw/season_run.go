package draw

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// RunChart is one measure match by match: its levels with limits, change points below, the drift,
// and what lies outside. ok is false when no match has the measure.
func RunChart(y Year, name string, width float64) (*Picture, bool) {
	m := y.measure(name)
	if m == nil || len(m.Points) == 0 {
		return nil, false
	}
	r := &runChart{y: y, m: m, x: y.x(width), narrow: sizeOf(width) == narrowSize}
	r.y1, r.y0 = 14, 132
	points := m.Points
	if practice := r.practice(); practice != nil {
		points = slices.Concat(points, practice.Points)
	}
	r.scaleTo(points, m.Levels)
	return &Picture{
		Name: "run-" + name, Width: width, Height: r.y0 + 16,
		Title: measureTitle(m) + ", match by match", Desc: m.Note, Table: pointTable(y, m), paint: r.paint,
	}, true
}

type runChart struct {
	y      Year
	m      *schemas.SeasonMeasure
	x      scale
	y0, y1 float64 // lower and upper edge
	v      scale
	narrow bool
}

// scaleTo has all points and limits inside, with a little room.
func (r *runChart) scaleTo(points []schemas.SeasonPoint, levels []schemas.SeasonLevel) {
	lo, hi := math.Inf(1), math.Inf(-1)
	see := func(v float64) { lo, hi = min(lo, v), max(hi, v) }
	for _, p := range points {
		see(p.Value)
	}
	for _, l := range levels {
		for _, v := range []*float64{l.Low, l.High} {
			if finite(v) && l.Of == nil {
				see(*v)
			}
		}
	}
	room := max((hi-lo)*0.12, math.Abs(hi)*0.02, 1e-6)
	if r.m != nil && r.m.Unit == "pieces" {
		room = max(room, 0.5) // there are no parts of one
	}
	if lo -= room; lo < 0 && hi > 0 && lo+room >= 0 {
		lo = 0
	}
	r.v = scale{lo, hi + room, r.y0, r.y1}
}

// practice is the same measure in sessions of practice, nil without.
func (r *runChart) practice() *schemas.SeasonMeasure { return r.y.measure("practice_" + r.m.Name) }

func (r *runChart) at(i int) float64 { return r.x.at(float64(i)) }

func (r *runChart) paint(p *pen) {
	r.paintLevels(p)
	r.paintScale(p, r.m.Unit)
	r.y.paintParts(p, r.x, 0, r.y0+16)
	if practice := r.practice(); practice != nil {
		for _, q := range practice.Points {
			p.ring(line{Edge, 1.25, nil}, Paper, r.at(q.Index), r.v.clamped(q.Value), 2.5)
		}
	}
	r.paintPoints(p, r.m.Points)
	for _, c := range r.m.Changes {
		x := r.x.at(float64(c.Index) - 0.5)
		p.area(Ink, pt{x, r.y0 + 4}, pt{x - 6, r.y0 + 14}, pt{x + 6, r.y0 + 14})
		if c.Earliest < c.Latest {
			p.stroke(line{Ink, 1.5, nil}, pt{r.x.at(float64(c.Earliest) - 0.5), r.y0 + 4}, pt{r.x.at(float64(c.Latest) - 0.5), r.y0 + 4})
		}
	}
}

func (r *runChart) paintLevels(p *pen) {
	for _, l := range r.m.Levels {
		x0, x1 := r.x.at(float64(l.From)-0.5), r.x.at(float64(l.To)+0.5)
		if finite(l.Low) && finite(l.High) && l.Of == nil {
			top, bottom := r.v.clamped(*l.High), r.v.clamped(*l.Low)
			p.rect(Usual, x0, top, x1-x0, bottom-top)
			p.strokes(line{Edge, 1, nil}, []pt{{x0, top}, {x1, top}}, []pt{{x0, bottom}, {x1, bottom}})
		}
		p.stroke(line{Ink, 2, nil}, pt{x0, r.v.at(l.Value)}, pt{x1, r.v.at(l.Value)})
		if len(r.m.Levels) > 1 || len(r.m.Points) >= 8 {
			y := r.v.at(l.Value) - 4
			if finite(l.High) && l.Of == nil {
				y = r.v.clamped(*l.High) - 5
			}
			p.text(note(x0+6, max(y, 11), left, SeasonAmount(l.Value, r.m.Unit)).in(Ink).haloed())
		}
	}
	if t := r.m.Trend; t != nil {
		from, to := r.m.Points[0].Index, r.m.Points[len(r.m.Points)-1].Index
		// The line goes through the middle of what it stands for.
		var rest []float64
		for _, q := range r.m.Points {
			rest = append(rest, q.Value-t.PerMatch*float64(max(min(q.Index, t.Until)-t.From, 0)))
		}
		slices.Sort(rest)
		level := (rest[(len(rest)-1)/2] + rest[len(rest)/2]) / 2
		points := []pt{{r.at(from), r.v.clamped(level)}}
		if t.From > from {
			points = append(points, pt{r.at(t.From), r.v.clamped(level)})
		}
		top := r.v.clamped(level + t.PerMatch*float64(t.Until-t.From))
		points = append(points, pt{r.at(t.Until), top})
		if t.Until < to {
			points = append(points, pt{r.at(to), top})
		}
		p.stroke(line{Ink, 2, nil}, points...)
	}
}

// paintScale rules the values at the left.
func (r *runChart) paintScale(p *pen, unit string) {
	ticks := Ticks(r.v.v0, r.v.v1, 4)
	for i, v := range ticks {
		y := r.v.at(v)
		p.stroke(line{Rule, 1, nil}, pt{r.x.p0, y}, pt{r.x.p1, y})
		text := short(v, 4)
		if i == len(ticks)-1 && unit != "" && !r.narrow {
			text += " " + shortUnit(unit)
		}
		p.text(note(r.x.p0-6, y+4, right, text).within(0, r.x.p0-4))
	}
}

func (r *runChart) paintPoints(p *pen, points []schemas.SeasonPoint) {
	var path []pt
	for _, q := range points {
		path = append(path, pt{r.at(q.Index), r.v.at(q.Value)})
	}
	p.stroke(line{Ink2, 1, nil}, path...)
	radius := 3.5
	if r.narrow || len(r.y.Matches) > 80 {
		radius = 2.5
	}
	var last box
	for i, q := range points {
		if !q.Stray {
			p.dot(Ink, path[i].x, path[i].y, radius)
			continue
		}
		p.ring(line{Accent, 2, nil}, Paper, path[i].x, path[i].y, radius+1.5)
		l := stressed(path[i].x+9, path[i].y+4, left, r.y.Matches[q.Index].Match).in(Accent).haloed()
		if l.box().x1 > r.x.p1 {
			l.x, l.anchor = path[i].x-9, right
		}
		if !l.box().meets(last) {
			p.text(l)
			last = l.box().roomy()
		}
	}
}

// measureTitle names a measure in words.
func measureTitle(m *schemas.SeasonMeasure) string { return cmp.Or(m.Title, m.Name) }

// SeasonAmount is a value with its unit, of as many digits as a season tells.
func SeasonAmount(v float64, unit string) string {
	switch unit {
	case "":
		return decimal(100*v, 1) + " %"
	case "ohm":
		return decimal(v, 4) + " Ω"
	case "pieces":
		return decimal(v, 1)
	}
	return decimal(v, 1) + " " + unit
}

// SeasonFine is a value with one digit more, for what changes little.
func SeasonFine(v float64, unit string) string { return decimal(v, 2) + " " + shortUnit(unit) }

// SeasonDifference is a difference with its sign and unit; of shares in points of a hundred.
func SeasonDifference(v float64, unit string) string {
	text := SeasonAmount(math.Abs(v), unit)
	switch {
	case !strings.ContainsAny(text, "123456789"):
		return text
	case v < 0:
		return "−" + text
	}
	return "+" + text
}

func shortUnit(unit string) string {
	switch unit {
	case "ohm":
		return "Ω"
	case "pieces":
		return ""
	}
	return unit
}

func pointTable(y Year, m *schemas.SeasonMeasure) Table {
	t := Table{Head: []string{"Match", measureTitle(m)}}
	for _, q := range m.Points {
		value := SeasonAmount(q.Value, m.Unit)
		if q.Of != nil {
			value = fmt.Sprintf("%d of %d", *q.Events, *q.Of)
		}
		t.Rows = append(t.Rows, []string{y.Matches[q.Index].Event + " " + y.Matches[q.Index].Match, value})
	}
	return t
}
