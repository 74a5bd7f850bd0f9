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
	l, color := a.endName(end)
	taken := []box{l.box(), {end.x - 6, end.y - 6, end.x + 6, end.y + 6}}
	for _, z := range zones {
		taken = append(taken, a.nameZone(p, z, taken))
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
func (a *autonomousTrack) nameZone(p *pen, z drawnZone, taken []box) box {
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
	free := slices.IndexFunc(places, func(l label) bool { return !slices.ContainsFunc(taken, l.box().meets) })
	name := places[max(free, 0)]
	p.text(name)
	return name.box()
}

// endName says when autonomous ended, and how far from its usual end if that is known.
func (a *autonomousTrack) endName(end pt) (label, Token) {
	auto := a.scene.Report.Autonomous
	words := decimal(a.scene.T(auto.Track[len(auto.Track)-1].AtS), 0) + " s"
	color := Ink
	if finite(auto.EndErrorM) {
		words = decimal(*auto.EndErrorM, 2) + " m off at " + words
		if a.remarked() {
			color = Accent
		}
	}
	l := stressed(end.x-9, end.y-9, right, words).in(color).haloed().within(a.x.p0+3, a.x.p1-3)
	if l.box().y0 < a.y.p1+2 {
		l.y = end.y + 20
	}
	return l, color
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
		for _, dy := range []float64{-9, 18} {
			n := note(points[i].x, points[i].y+dy, middle, decimal(t, 0)+" s").within(a.x.p0+3, a.x.p1-3).haloed()
			b := n.box()
			free := b.y0 > a.y.p1 && b.y1 < a.y.p0
			if free && !slices.ContainsFunc(taken, b.meets) {
				taken = append(taken, b)
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
