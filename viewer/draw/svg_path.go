package draw

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"
)

// path writes path data: absolute moves, and lines relative to the point before, which
// halves the length of a trace. Each point is rounded to a tenth of a pixel before the
// difference is taken, so that errors do not add up.
func (c *svgCanvas) path(p vg.Path) string {
	var b strings.Builder
	var x, y int // the point before, in tenths
	lines := false
	for i, e := range p {
		px, py := c.at(e.Pos)
		tx, ty := tenths(px), tenths(py)
		switch e.Type {
		case vg.MoveComp:
			b.WriteString("M" + tenth(tx) + separated(tenth(ty)))
			lines = false
		case vg.LineComp:
			dx := tenth(tx - x)
			if !lines {
				dx = "l" + dx
			} else {
				dx = separated(dx)
			}
			b.WriteString(dx + separated(tenth(ty-y)))
			lines = true
		case vg.ArcComp:
			end := vg.Point{
				X: e.Pos.X + e.Radius*vg.Length(math.Cos(e.Start+e.Angle)),
				Y: e.Pos.Y + e.Radius*vg.Length(math.Sin(e.Start+e.Angle)),
			}
			c.arc(&b, e, i == 0)
			px, py = c.at(end)
			tx, ty = tenths(px), tenths(py)
			lines = false
		case vg.CurveComp:
			letter := "Q"
			if len(e.Control) == 2 {
				letter = "C"
			}
			b.WriteString(letter)
			for _, ctl := range e.Control {
				cx, cy := c.at(ctl)
				b.WriteString(pair(cx, cy) + " ")
			}
			b.WriteString(pair(px, py))
			lines = false
		case vg.CloseComp:
			b.WriteByte('Z')
			lines = false
			continue
		}
		x, y = tx, ty
	}
	return b.String()
}

// tenths is v in tenths of a pixel; a point far outside of every picture stays finite.
func tenths(v float64) int {
	const far = 1e7
	if math.IsNaN(v) {
		return 0
	}
	return int(math.Round(min(max(v, -far), far) * 10))
}

// tenth is n tenths as short as it goes: 0.5 is ".5".
func tenth(n int) string {
	s := num(float64(n) / 10)
	if strings.HasPrefix(s, "0.") {
		return s[1:]
	}
	if strings.HasPrefix(s, "-0.") {
		return "-" + s[2:]
	}
	return s
}

// separated is a number that follows another: a minus sign parts them by itself.
func separated(n string) string {
	if n[0] == '-' {
		return n
	}
	return " " + n
}

// arc writes an arc in two halves, since one SVG arc cannot close a circle.
func (c *svgCanvas) arc(b *strings.Builder, e vg.PathComp, first bool) {
	point := func(angle float64) (float64, float64) {
		sin, cos := math.Sincos(angle)
		return c.at(vg.Point{X: e.Pos.X + e.Radius*vg.Length(cos), Y: e.Pos.Y + e.Radius*vg.Length(sin)})
	}
	x, y := point(e.Start)
	letter := "L"
	if first {
		letter = "M"
	}
	b.WriteString(letter + pair(x, y))
	r := num(e.Radius.Points() * math.Hypot(c.state.m[0], c.state.m[1]))
	sweep := "0"
	if e.Angle < 0 {
		sweep = "1"
	}
	for _, part := range []float64{0.5, 1} {
		x, y := point(e.Start + part*e.Angle)
		fmt.Fprintf(b, "A%s %s 0 0 %s %s", r, r, sweep, pair(x, y))
	}
}

func pair(x, y float64) string { return num(x) + " " + num(y) }

// num is v to a tenth of a pixel, as short as it goes.
func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 1, 64)
	s = strings.TrimSuffix(s, ".0")
	if s == "-0" {
		return "0"
	}
	return s
}
