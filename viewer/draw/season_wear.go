package draw

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// wearBase is how many readings make what a measure was at first.
const wearBase = 8

// SeasonWear is what wears, each in percent of what it was at first: transit and current of stages,
// moves of arms. What has changed is accent and named; the others lie behind it. ok is false without.
func SeasonWear(y Year, width float64) (*Picture, bool) {
	w := &wear{}
	w.runChart = runChart{y: y, x: y.x(width), narrow: sizeOf(width) == narrowSize, y0: 128, y1: 10}
	var all []schemas.SeasonPoint
	var rows [][]string
	for i := range y.Measures {
		m := &y.Measures[i]
		if !InWear(m) {
			continue
		}
		l := wearLine{m: m, first: WearFirst(m)}
		for _, q := range m.Points {
			l.points = append(l.points, schemas.SeasonPoint{Index: q.Index, Value: 100 * q.Value / l.first})
		}
		w.lines = append(w.lines, l)
		all = append(all, l.points...)
		rows = append(rows, []string{measureTitle(m), SeasonAmount(l.first, m.Unit), m.Note})
	}
	if len(w.lines) == 0 {
		return nil, false
	}
	w.scaleTo(withoutStrays(all), nil)
	w.v.v0, w.v.v1 = min(w.v.v0, 90), max(w.v.v1, 110)
	return &Picture{
		Name: "wear", Width: width, Height: 138,
		Title: "What wears, match by match", Desc: "Each line is a transit, a current or a move, in percent of its first matches.",
		Table: Table{Head: []string{"Measure", "At first", "What it tells"}, Rows: rows}, paint: w.paint,
	}, true
}

// InWear is whether a measure is in the picture of what wears: those of a size that can be compared with what
// it was.
func InWear(m *schemas.SeasonMeasure) bool {
	kind, _, _ := strings.Cut(m.Name, "/")
	return slices.Contains([]string{"transit_s", "free_current_a", "move_settle_s"}, kind) && len(m.Points) >= wearBase && WearFirst(m) > 0
}

// WearFirst is what the measure was in its first matches.
func WearFirst(m *schemas.SeasonMeasure) float64 {
	var v []float64
	for _, q := range m.Points[:min(wearBase, len(m.Points))] {
		v = append(v, q.Value)
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// withoutStrays leaves out the two in a hundred farthest up and down, which would flatten the rest.
func withoutStrays(points []schemas.SeasonPoint) []schemas.SeasonPoint {
	sorted := slices.Clone(points)
	slices.SortFunc(sorted, func(a, b schemas.SeasonPoint) int { return int(math.Copysign(1, a.Value-b.Value)) })
	cut := len(sorted) / 50
	return sorted[cut : len(sorted)-cut]
}

type wearLine struct {
	m      *schemas.SeasonMeasure
	first  float64
	points []schemas.SeasonPoint
}

type wear struct {
	runChart
	lines []wearLine
}

func (w *wear) paint(p *pen) {
	w.paintScale(p, "%")
	w.y.paintParts(p, w.x, 0, w.y0+10)
	var names []box
	for pass := range 2 { // what is said of lies on top
		for _, l := range w.lines {
			if moved(l.m) == (pass == 1) {
				names = w.paintLine(p, l, names)
			}
		}
	}
}

func (w *wear) paintLine(p *pen, l wearLine, names []box) []box {
	color, thick := Edge, 0.75
	if moved(l.m) {
		color, thick = Accent, 2
	}
	var path []pt
	for _, q := range l.points {
		path = append(path, pt{w.at(q.Index), w.v.clamped(q.Value)})
	}
	p.stroke(line{color, thick, nil}, path...)
	if !moved(l.m) {
		return names
	}
	last := path[len(path)-1]
	name := stressed(last.x-6, last.y-7, right, WearName(l.m)).in(color).haloed()
	for _, dy := range []float64{-7, 16, -22, 31} {
		name.y = last.y + dy
		b := name.box()
		if b.y0 < 0 || b.y1 > w.y0+8 || slices.ContainsFunc(names, b.meets) {
			continue
		}
		p.text(name)
		return append(names, b.roomy())
	}
	return names // the list beside the picture names it too
}

// WearName is a short name of what wears, for pictures and lists.
func WearName(m *schemas.SeasonMeasure) string {
	kind, of, _ := strings.Cut(m.Name, "/")
	return fmt.Sprintf("%s %s", of, map[string]string{"transit_s": "transit", "free_current_a": "current", "move_settle_s": "moves"}[kind])
}
