package draw

import (
	"math"
	"slices"
)

// Autonomous is the driven path of the autonomous period on the field, with the zones of
// the profile and a dot every few seconds. ok is false without a track.
func Autonomous(s *Scene, width float64) (*Picture, bool) {
	track := s.Report.Autonomous.Track
	if len(track) < 2 {
		return nil, false
	}
	a := &autonomousTrack{scene: s, width: width}
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	grow := func(x, y float64) {
		x0, x1 = min(x0, x), max(x1, x)
		y0, y1 = min(y0, y), max(y1, y)
	}
	for _, q := range track {
		grow(q.X, q.Y)
	}
	if c := s.Profile.Cycles; c != nil {
		for _, z := range c.Zones {
			for _, q := range z.Corners {
				grow(q[0], q[1])
			}
		}
	}
	if math.IsInf(x1-x0, 0) || math.IsNaN(x1-x0+y1-y0) {
		return nil, false
	}
	margin := max(0.04*max(x1-x0, y1-y0), 0.1)
	x0, x1, y0, y1 = x0-margin, x1+margin, y0-margin, y1+margin
	tallest := 220.0
	if halfSizeOf(width) == middleSize {
		tallest = 100
	}
	perMetre := min((width-2)/(x1-x0), tallest/(y1-y0))
	w, h := perMetre*(x1-x0), perMetre*(y1-y0)
	a.x = scale{x0, x1, (width - w) / 2, (width + w) / 2}
	a.y = scale{y0, y1, h + 1, 1}
	return &Picture{
		Name: "autonomous", Width: width, Height: h + 2,
		Title: "The driven path in autonomous", Desc: a.words(), Table: a.table(), paint: a.paint,
	}, true
}

type autonomousTrack struct {
	scene *Scene
	width float64
	x, y  scale
}

func (a *autonomousTrack) paint(p *pen) {
	zones := a.zones()
	for _, z := range zones {
		p.area(Inset, z.corners...)
	}
	p.frame(line{Edge, 1, nil}, a.x.p0+0.5, a.y.p1+0.5, a.x.p1-a.x.p0-1, a.y.p0-a.y.p1-1)
	track := a.scene.Report.Autonomous.Track
	var points []pt
	for _, q := range track {
		points = append(points, pt{a.x.clamped(q.X), a.y.clamped(q.Y)})
	}
	p.stroke(line{Ink, 2, nil}, points...)
	end := points[len(points)-1]
	l, color := a.endName(end, points)
	taken := []box{l.box().roomy(), {end.x - 6, end.y - 6, end.x + 6, end.y + 6}}
	for _, z := range zones {
		taken = append(taken, a.nameZone(p, z, points, taken).roomy())
	}
	a.paintDots(p, points, taken)
	p.ring(line{color, 2, nil}, Paper, end.x, end.y, 4.5)
	p.text(l)
}

// drawnZone is a zone of the profile in the picture.
type drawnZone struct {
	name    string
	corners []pt
}

func (a *autonomousTrack) zones() []drawnZone {
	c := a.scene.Profile.Cycles
	if c == nil {
		return nil
	}
	var out []drawnZone
	for _, z := range c.Zones {
		d := drawnZone{name: clip(z.Name, 14)}
		for _, q := range z.Corners {
			d.corners = append(d.corners, pt{a.x.at(q[0]), a.y.at(q[1])})
		}
		if len(d.corners) > 2 {
			out = append(out, d)
		}
	}
	return out
}

// nameZone writes a zone's name into the first of its corners where nothing else is
// written, from the upper left on, and returns where that is.
func (a *autonomousTrack) nameZone(p *pen, z drawnZone, track []pt, taken []box) box {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, q := range z.corners {
		x0, x1 = min(x0, q.x), max(x1, q.x)
		y0, y1 = min(y0, q.y), max(y1, q.y)
	}
	places := []label{
		note(x0+5, y0+15, left, z.name), note(x1-5, y0+15, right, z.name),
		note(x0+5, y1-6, left, z.name), note(x1-5, y1-6, right, z.name),
	}
	for i := range places {
		places[i] = places[i].within(a.x.p0+3, a.x.p1-3)
	}
	free := slices.IndexFunc(places, func(l label) bool { return !slices.ContainsFunc(taken, l.box().meets) && !crossed(l.box(), track) })
	name := places[max(free, 0)]
	p.text(name)
	return name.box()
}

// endName says when autonomous ended, and how far from its usual end if that is known.
func (a *autonomousTrack) endName(end pt, points []pt) (label, Token) {
	auto := a.scene.Report.Autonomous
	words := decimal(a.scene.T(auto.Track[len(auto.Track)-1].AtS), 0) + " s"
	color := Ink
	if finite(auto.EndErrorM) {
		words = decimal(*auto.EndErrorM, 2) + " m off at " + words
		if a.remarked() {
			color = Accent
		}
	}
	l := stressed(end.x, 0, middle, words).in(color).haloed()
	places := a.beside(l, end, 9)
	// The last stretch leads into the end: only the track before it can be kept off.
	free := slices.IndexFunc(places, func(l label) bool { return !crossed(l.box(), points) })
	return places[max(free, 0)], color
}

// beside are the places of a label around a point, the nearest first, that lie in the
// field: above, below, left, right, then higher and lower. gap is the radius to keep off.
func (a *autonomousTrack) beside(l label, at pt, gap float64) []label {
	w := l.width()/2 + gap + 2
	var out []label
	for _, d := range []pt{{0, -gap - 3}, {0, gap + 11}, {-w, 4}, {w, 4}, {-w / 2, -gap - 6}, {w / 2, -gap - 6}, {0, -gap - 15}, {0, gap + 23}} {
		q := l
		q.x, q.y = at.x+d.x, at.y+d.y
		q = q.within(a.x.p0+3, a.x.p1-3)
		if b := q.box(); b.y0 > a.y.p1 && b.y1 < a.y.p0 {
			out = append(out, q)
		}
	}
	if len(out) == 0 {
		l.x, l.y = at.x, min(max(at.y-gap-3, a.y.p1+12), a.y.p0-4)
		out = append(out, l.within(a.x.p0+3, a.x.p1-3))
	}
	return out
}

// crossed says whether a line through points runs through a box.
func crossed(b box, points []pt) bool {
	for i := 1; i < len(points); i++ {
		p, q := points[i-1], points[i]
		// Cut the segment to the box, side by side (Liang and Barsky).
		t0, t1 := 0.0, 1.0
		inside := true
		for _, c := range [][2]float64{{p.x - q.x, p.x - b.x0}, {q.x - p.x, b.x1 - p.x}, {p.y - q.y, p.y - b.y0}, {q.y - p.y, b.y1 - p.y}} {
			switch slope, room := c[0], c[1]; {
			case slope == 0:
				inside = inside && room >= 0
			case slope < 0:
				t0 = max(t0, room/slope)
			default:
				t1 = min(t1, room/slope)
			}
		}
		if inside && t0 <= t1 {
			return true
		}
	}
	return false
}

// paintDots marks a dot every few seconds and names those that have room.
func (a *autonomousTrack) paintDots(p *pen, points []pt, taken []box) {
	track := a.scene.Report.Autonomous.Track
	first, last := a.scene.T(track[0].AtS), a.scene.T(track[len(track)-1].AtS)
	step := 3.0
	if ticks := Ticks(first, last, 6); len(ticks) > 1 {
		step = max(ticks[1]-ticks[0], 1)
	}
	next := math.Ceil(first/step) * step
	for i, q := range track {
		t := a.scene.T(q.AtS)
		if t < next-1e-9 {
			continue
		}
		next += step
		p.dot(Ink, points[i].x, points[i].y, 3)
		if last-t < 0.5 {
			continue // the end says its time already
		}
		for _, n := range a.beside(note(0, 0, middle, decimal(t, 0)+" s").haloed(), points[i], 5) {
			if b := n.box(); !slices.ContainsFunc(taken, b.meets) && !crossed(b, points) {
				taken = append(taken, b.roomy())
				p.text(n)
				break
			}
		}
	}
}

// remarked says whether a finding speaks of the autonomous period.
func (a *autonomousTrack) remarked() bool {
	for _, f := range a.scene.Report.Findings {
		if f.Kind == "autonomous" {
			return true
		}
	}
	return false
}

func (a *autonomousTrack) words() string {
	auto := a.scene.Report.Autonomous
	text := "Driven path"
	if finite(auto.EndX) && finite(auto.EndY) {
		text += ", ended at x " + decimal(*auto.EndX, 2) + " m, y " + decimal(*auto.EndY, 2) + " m"
	}
	if finite(auto.EndErrorM) {
		text += ", " + decimal(*auto.EndErrorM, 2) + " m from the usual end"
	}
	return text + "."
}

func (a *autonomousTrack) table() Table {
	t := Table{Head: []string{"At", "x", "y"}}
	track := a.scene.Report.Autonomous.Track
	step := max(len(track)/10, 1)
	for i := 0; i < len(track); i += step {
		q := track[i]
		t.Rows = append(t.Rows, []string{decimal(a.scene.T(q.AtS), 1) + " s", decimal(q.X, 2) + " m", decimal(q.Y, 2) + " m"})
	}
	return t
}
