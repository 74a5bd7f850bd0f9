package draw

import (
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"github.com/afterbell/afterbell/viewer/fonts"
)

// pen draws on a canvas in pixels with y running down from the picture's upper edge.
type pen struct {
	c      Canvas
	height float64
}

// pt is a point of a picture.
type pt struct{ x, y float64 }

// line is how a line is drawn.
type line struct {
	color Token
	width float64
	dash  []float64
}

// Dashes of the project: a reference or the unfinished, and what is not seen, inferred or a
// threshold.
var (
	dashed = []float64{4, 3}
	dotted = []float64{1.5, 3}
)

type anchor float64

const (
	left   anchor = 0
	middle anchor = 0.5
	right  anchor = 1
)

// label is text of a picture.
type label struct {
	text   string
	x, y   float64 // of the baseline, at the anchor
	anchor anchor
	face   font.Face
	color  Token
	halo   bool
}

// chartSize is the size of text in pictures and the least size of text anywhere.
const chartSize = 12

func note(x, y float64, a anchor, text string) label {
	return label{text, x, y, a, fonts.Chart(chartSize), Ink2, false}
}

func stressed(x, y float64, a anchor, text string) label {
	return label{text, x, y, a, fonts.ChartBold(chartSize), Ink, false}
}

func (l label) in(c Token) label { l.color = c; return l }

func (l label) haloed() label { l.halo = true; return l }

func (l label) width() float64 { return fonts.Width(l.face, l.text) }

// box is the rectangle a label is drawn in.
func (l label) box() box {
	w := l.width()
	x := l.x - float64(l.anchor)*w
	size := l.face.Font.Size.Points()
	return box{x, l.y - 0.75*size, x + w, l.y + 0.22*size}
}

// within moves l sideways so that it lies between x0 and x1, as far as it fits.
func (l label) within(x0, x1 float64) label {
	b := l.box()
	if b.x1 > x1 {
		l.x -= b.x1 - x1
	}
	if b = l.box(); b.x0 < x0 {
		l.x += x0 - b.x0
	}
	return l
}

// box is an upright rectangle.
type box struct{ x0, y0, x1, y1 float64 }

// roomy is b with the room around letters that a browser counts as part of a line of text.
func (b box) roomy() box { return box{b.x0 - 2, b.y0 - 3, b.x1 + 2, b.y1 + 2} }

func (b box) meets(o box) bool { return b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1 }

func (p *pen) at(x, y float64) vg.Point { return vg.Point{X: vg.Points(x), Y: vg.Points(p.height - y)} }

func (p *pen) path(points []pt) vg.Path {
	var path vg.Path
	for i, q := range points {
		if i == 0 {
			path.Move(p.at(q.x, q.y))
		} else {
			path.Line(p.at(q.x, q.y))
		}
	}
	return path
}

func (p *pen) set(l line) {
	p.c.SetColor(l.color)
	p.c.SetLineWidth(vg.Points(l.width))
	dash := make([]vg.Length, len(l.dash))
	for i, d := range l.dash {
		dash[i] = vg.Points(d)
	}
	p.c.SetLineDash(dash, 0)
}

// stroke draws one line through points.
func (p *pen) stroke(l line, points ...pt) { p.strokes(l, points) }

// strokes draws several lines as one path.
func (p *pen) strokes(l line, lines ...[]pt) {
	p.set(l)
	var path vg.Path
	for _, points := range lines {
		if len(points) > 1 {
			path = append(path, p.path(points)...)
		}
	}
	p.c.Stroke(path)
}

// area fills the polygon of points.
func (p *pen) area(color Token, points ...pt) {
	path := p.path(points)
	path.Close()
	p.c.SetColor(color)
	p.c.Fill(path)
}

func (p *pen) outline(l line, points ...pt) {
	p.set(l)
	path := p.path(points)
	path.Close()
	p.c.Stroke(path)
}

func corners(x, y, w, h float64) []pt { return []pt{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}} }

func (p *pen) rect(color Token, x, y, w, h float64) {
	if w > 0 && h > 0 {
		p.area(color, corners(x, y, w, h)...)
	}
}

func (p *pen) frame(l line, x, y, w, h float64) { p.outline(l, corners(x, y, w, h)...) }

func (p *pen) circlePath(x, y, r float64) vg.Path {
	var path vg.Path
	path.Move(p.at(x+r, y))
	path.Arc(p.at(x, y), vg.Points(r), 0, 2*3.141592653589793)
	path.Close()
	return path
}

func (p *pen) dot(color Token, x, y, r float64) {
	p.c.SetColor(color)
	p.c.Fill(p.circlePath(x, y, r))
}

// ring is a circle with ground inside.
func (p *pen) ring(l line, ground Token, x, y, r float64) {
	p.dot(ground, x, y, r)
	p.set(l)
	p.c.Stroke(p.circlePath(x, y, r))
}

func (p *pen) text(l label) {
	if l.halo {
		p.c.Halo(Paper, 3)
		defer p.c.Halo(Paper, 0)
	}
	p.c.SetColor(l.color)
	b := l.box()
	p.c.FillString(l.face, p.at(b.x0, l.y), l.text)
}

// hatch rules a rectangle with slanted lines: not known, or standing. The lines are drawn
// one by one so that every canvas shows the same and none needs patterns or clips.
func (p *pen) hatch(l line, step, x, y, w, h float64) {
	var lines [][]pt
	for d := step / 2; d < w+h; d += step {
		// The line from (x+d, y) down to the left, cut to the rectangle.
		from, to := pt{x + d, y}, pt{x + d - h, y + h}
		if from.x > x+w {
			from = pt{x + w, y + d - w}
		}
		if to.x < x {
			to = pt{x, y + d}
		}
		lines = append(lines, []pt{from, to})
	}
	p.strokes(l, lines...)
}

func (p *pen) group(g Group, paint func()) {
	p.c.Begin(g)
	paint()
	p.c.End()
}
