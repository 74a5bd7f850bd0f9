package draw

import (
	"math"
	"strconv"

	"gonum.org/v1/plot/vg"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/fonts"
)

// numberFrom is the least radius at which a mark carries its rank.
const numberFrom = 8

// markHalf is half the width of a mark. A wedge is wider than its radius, and wider still
// to hold a rank of two figures.
func markHalf(r float64, severity string, rank int) float64 {
	switch {
	case severity == schemas.SeverityFix && rank > 9 && r >= numberFrom:
		return 1.6 * r
	case severity == schemas.SeverityFix:
		return 1.3 * r
	default:
		return r
	}
}

// mark draws the shape of a severity around (x, y): a square for stop, a wedge that points
// down for fix, a ring for watch, a dash for none. The shape alone tells them apart, in grey
// too. rank 0 draws no number.
func (p *pen) mark(x, y, r float64, severity string, rank int) {
	number, color, at := "", OnAccent, y
	if rank > 0 && r >= numberFrom {
		number = strconv.Itoa(rank)
	}
	switch severity {
	case schemas.SeverityStop:
		p.rect(Accent, x-r, y-r, 2*r, 2*r)
	case schemas.SeverityFix:
		half := markHalf(r, severity, rank)
		p.area(Accent, pt{x - half, y - r}, pt{x + half, y - r}, pt{x, y + 1.1*r})
		at = y - 0.28*r
	case schemas.SeverityWatch:
		p.ring(line{Ink, 1.8, nil}, Paper, x, y, r)
		color = Ink
	default:
		p.rect(Ink, x-1.4*r, y-1.5, 2.8*r, 3)
		return
	}
	if number == "" {
		return
	}
	size := 1.4 * r
	if len(number) > 1 {
		size = 1.28 * r
	}
	face := fonts.ChartBold(max(size, chartSize))
	p.text(label{number, x, at + 0.35*face.Font.Size.Points(), middle, face, color, false})
}

// SeverityMark is the shape of a severity as a picture of its own, for lists. rank 0 draws
// no number.
func SeverityMark(severity string, rank int, radius float64) *Picture {
	w := 2*markHalf(radius, severity, rank) + 2
	if severity == schemas.SeverityNone {
		w = 2.8 * radius
	}
	h := 2.2*radius + 2
	return &Picture{
		Name: "mark", Width: w, Height: h, Title: SeverityWord(severity), Desc: "",
		paint: func(p *pen) { p.mark(w/2, h/2-0.02*radius, radius, severity, rank) },
	}
}

// SeverityWord is the word that goes with a severity's shape, empty for none.
func SeverityWord(severity string) string {
	switch severity {
	case schemas.SeverityStop:
		return "Stop."
	case schemas.SeverityFix:
		return "Fix."
	case schemas.SeverityWatch:
		return "Watch."
	default:
		return ""
	}
}

// SureBoxes is a confidence as ten boxes filled to exactly that part, the last one in part.
func SureBoxes(confidence float64) *Picture {
	const box, gap, h = 7.0, 2.0, 9.0
	confidence = min(max(confidence, 0), 1)
	return &Picture{
		Name: "sure", Width: 10*box + 9*gap + 1, Height: h + 1,
		Title: "sure " + decimal(math.Floor(confidence*100+1e-9)/100, 2), Desc: "",
		paint: func(p *pen) {
			for i := range 10 {
				x := 0.5 + float64(i)*(box+gap)
				filled := min(max(confidence*10-float64(i), 0), 1)
				p.rect(Ink, x, 0.5, box*filled, h)
				p.frame(line{Ink2, 1, nil}, x, 0.5, box, h)
			}
		},
	}
}

// Brand is the mark of the project: a short decaying swing on an upright.
func Brand() *Picture {
	const w, h = 32.0, 20.0
	return &Picture{
		Name: "brand", Width: w, Height: h, Title: "afterbell", Desc: "",
		paint: func(p *pen) {
			p.stroke(line{Ink, 1.5, nil}, pt{1.5, 1}, pt{1.5, h - 1})
			p.set(line{Accent, 1.8, nil})
			var path vg.Path
			path.Move(p.at(2, 8))
			for _, c := range [][6]float64{
				{4, 1, 5.5, 1, 7, 9},
				{8, 15.5, 9.5, 17, 11, 11},
				{12.3, 5.5, 14, 5, 15.5, 10},
				{16.8, 14.2, 18, 14.5, 19.5, 11.2},
				{21, 8, 22.5, 8.2, 24, 10.6},
				{25.5, 12.6, 27, 12, 31, 10.6},
			} {
				path.CubeTo(p.at(c[0], c[1]), p.at(c[2], c[3]), p.at(c[4], c[5]))
			}
			p.c.Stroke(path)
		},
	}
}
