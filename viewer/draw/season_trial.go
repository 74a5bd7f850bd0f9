package draw

import (
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// TrialRuns is a measure of two versions that were run in turns, run by run: a dot is a run of A, a
// square one of B, and each turn has the level of its version over all its runs. ok is false when
// no run has the measure.
func TrialRuns(t *schemas.Trial, m *schemas.TrialMeasure, width float64) (*Picture, bool) {
	if len(m.Points) == 0 {
		return nil, false
	}
	r := &trialRuns{m: m, turns: turnsOf(t), times: 1, unit: m.Unit}
	if m.A.Of != nil {
		r.times, r.unit = 100, "%"
	}
	r.runs = len(t.A.Runs) + len(t.B.Runs)
	r.x = scale{-0.5, float64(r.runs) - 0.5, yearLeft, width - yearRight}
	r.y1, r.y0, r.narrow = 14, 132, sizeOf(width) == narrowSize
	points := []schemas.SeasonPoint{{Value: r.times * m.A.Value}, {Value: r.times * m.B.Value}}
	for _, q := range m.Points {
		points = append(points, schemas.SeasonPoint{Value: r.times * q.Value})
	}
	r.scaleTo(points, nil)
	return &Picture{
		Name: "trial", Width: width, Height: r.y0 + 30,
		Title: m.Title + ", run by run", Desc: "A dot is a run of A, a square one of B; the strip below has the turns.",
		Table: r.table(t), paint: r.paintTrial,
	}, true
}

type trialRuns struct {
	runChart
	m     *schemas.TrialMeasure
	turns []turn
	runs  int
	times float64 // of a value as it is drawn: shares in percent
	unit  string
}

// turn is a row of runs of one version, from the place of its first to that of its last.
type turn struct {
	b        bool
	from, to int
}

func turnsOf(t *schemas.Trial) []turn {
	ofB := make([]bool, len(t.A.Places)+len(t.B.Places))
	for _, at := range t.B.Places {
		ofB[at] = true
	}
	var out []turn
	for i, b := range ofB {
		if n := len(out); n > 0 && out[n-1].b == b {
			out[n-1].to = i
			continue
		}
		out = append(out, turn{b, i, i})
	}
	return out
}

// has is whether a run of the turn has the measure.
func (r *trialRuns) has(t turn) bool {
	return slices.ContainsFunc(r.m.Points, func(q schemas.TrialPoint) bool { return t.from <= q.Place && q.Place <= t.to })
}

func (r *trialRuns) isB(place int) bool {
	i := slices.IndexFunc(r.turns, func(t turn) bool { return place <= t.to })
	return r.turns[i].b
}

func (r *trialRuns) paintTrial(p *pen) {
	r.paintScale(p, r.unit)
	top := r.y0 + 6
	for _, t := range r.turns {
		x0, x1 := r.x.at(float64(t.from)-0.5), r.x.at(float64(t.to)+0.5)
		level, ground, letter := r.m.A.Value, Paper, "A"
		if t.b {
			level, ground, letter = r.m.B.Value, Inset, "B"
		}
		p.rect(ground, x0, top, x1-x0, 22)
		p.frame(line{Edge, 1, nil}, x0, top, x1-x0, 22)
		if l := stressed((x0+x1)/2, top+15.5, middle, letter); l.width()+2 <= x1-x0 {
			p.text(l)
		}
		if r.has(t) {
			p.stroke(line{Ink, 2, nil}, pt{x0, r.v.at(r.times * level)}, pt{x1, r.v.at(r.times * level)})
		}
	}
	var path []pt
	for _, q := range r.m.Points {
		path = append(path, pt{r.at(q.Place), r.v.at(r.times * q.Value)})
	}
	p.stroke(line{Ink2, 1, nil}, path...)
	for i, q := range r.m.Points {
		marker := Marker(0)
		if r.isB(q.Place) {
			marker = 2
		}
		marker.paint(p, Ink, path[i].x, path[i].y)
	}
}

func (r *trialRuns) table(t *schemas.Trial) Table {
	out := Table{Head: []string{"Run", "Version", r.m.Title}}
	names := make([]schemas.SeasonMatch, r.runs)
	for _, side := range []schemas.TrialSide{t.A, t.B} {
		for i, at := range side.Places {
			names[at] = side.Runs[i]
		}
	}
	for _, q := range r.m.Points {
		letter, value := "A", SeasonAmount(q.Value, r.m.Unit)
		if r.isB(q.Place) {
			letter = "B"
		}
		if q.Of != nil {
			value = fmt.Sprintf("%d of %d", *q.Events, *q.Of)
		}
		out.Rows = append(out.Rows, []string{names[q.Place].Event + " " + names[q.Place].Match, letter, value})
	}
	return out
}
