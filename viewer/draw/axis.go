package draw

import (
	"math"
)

// paintTimeAxis rules seconds of match time below a line at y. The last label carries the
// unit; a label too near to it is left out.
func paintTimeAxis(p *pen, x scale, y float64, count int) {
	ticks := Ticks(x.v0, x.v1, count)
	ink := line{Ink, 1, nil}
	if len(ticks) > 1 {
		for i := range ticks {
			half := ticks[i] + (ticks[1]-ticks[0])/2
			if half < x.v1 && x.at(ticks[1])-x.at(ticks[0]) > 40 {
				p.stroke(ink, pt{x.at(half), y}, pt{x.at(half), y + 3})
			}
		}
	}
	decimals := 0
	if x.v1 != math.Trunc(x.v1) {
		decimals = 1
	}
	last := note(x.p1, y+19, right, decimal(x.v1, decimals)+" s")
	for _, v := range ticks {
		at := min(max(x.at(v), 0.5), p1(x))
		p.stroke(ink, pt{at, y}, pt{at, y + 6})
		l := note(x.at(v), y+19, middle, short(v, 6)).within(x.p0, x.p1)
		if l.box().x1+6 < last.box().x0 {
			p.text(l)
		}
	}
	p.stroke(ink, pt{p1(x), y}, pt{p1(x), y + 6})
	p.text(last)
}

func p1(x scale) float64 { return x.p1 - 0.5 }
