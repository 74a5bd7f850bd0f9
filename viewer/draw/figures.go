package draw

import (
	"strconv"
	"strings"
)

// Figures that leave for a document: their widths, over the whole width of a page and half,
// and the paper around them.
const (
	figureWidth  = 1040.0
	figureHalf   = 496.0
	figureMargin = 16.0
)

// Figures is every picture the sheet of a match has, each under a name that is its own among
// them: the match as a ribbon, the path, the supply, every balance attempt, cycles,
// autonomous, and the evidence of each finding by its rank.
func Figures(s *Scene) []*Picture {
	var out []*Picture
	add := func(name string, p *Picture, ok bool) {
		if ok {
			p.Name, p.margin = name, figureMargin
			out = append(out, p)
		}
	}
	add("ribbon", Ribbon(s, RibbonOptions{Width: figureWidth}), true)
	for _, f := range []struct {
		name  string
		width float64
		make  func(*Scene, float64) (*Picture, bool)
	}{
		{"path", figureWidth, Path},
		{"voltage", figureWidth, VoltageStrip},
		{"load-line", figureHalf, LoadLine},
		{"shares", figureHalf, Shares},
		{"cycles", figureWidth, Cycles},
		{"autonomous", figureHalf, Autonomous},
	} {
		p, ok := f.make(s, f.width)
		add(f.name, p, ok)
	}
	for i, b := range s.Report.Balances {
		p, ok := Balance(s, b, figureWidth)
		add("balance-"+strconv.Itoa(i+1), p, ok)
	}
	for i, f := range s.Report.Findings {
		p, ok := Evidence(s, f)
		if ok {
			p.Title = strings.TrimRight(f.Title, ".") + ": " + p.Title
		}
		add("finding-"+strconv.Itoa(i+1), p, ok)
	}
	return out
}
