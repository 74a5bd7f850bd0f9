package draw

import (
	"strings"

	"gonum.org/v1/plot/vg"
)

// SeasonFigures are the pictures of a season for a notebook, each with the parts log and the events
// above it and the matches below, so that it stands by itself.
func SeasonFigures(y Year) []*Picture {
	var out []*Picture
	marks, any := SeasonMarks(y, figureWidth)
	axis, _ := SeasonAxis(y, figureWidth)
	if !any {
		return nil
	}
	add := func(name string, make func(Year, float64) (*Picture, bool)) {
		if p, ok := make(y, figureWidth); ok {
			out = append(out, stacked(name, p, marks, p, axis))
		}
	}
	for _, name := range []string{"cycle_s", "lowest_v", "autonomous_score"} {
		add(strings.ReplaceAll(name, "_", "-"), func(y Year, width float64) (*Picture, bool) { return RunChart(y, name, width) })
	}
	add("jams", SeasonJams)
	add("batteries", SeasonBatteries)
	add("balance", SeasonBalance)
	add("wear", SeasonWear)
	return out
}

// stacked is pictures of one width one below the other, with the words of main.
func stacked(name string, main *Picture, all ...*Picture) *Picture {
	out := *main
	out.Name, out.Height, out.margin = name, 0, figureMargin
	for _, p := range all {
		out.Height += p.Height
	}
	out.paint = func(pen *pen) {
		below := out.Height
		for _, p := range all {
			below -= p.Height
			pen.c.Push()
			pen.c.Translate(vg.Point{Y: vg.Points(below)})
			p.Paint(pen.c)
			pen.c.Pop()
		}
	}
	return &out
}
