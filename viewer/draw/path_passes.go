package draw

import (
	"github.com/afterbell/afterbell/schemas"
)

// paintPasses draws each piece as a falling line: dotted through a stage without sensor,
// accent when it jammed.
func (t *timetable) paintPasses(p *pen) {
	weight := 1.1
	if len(t.scene.Report.Passes) > manyPasses {
		weight = 0.55
	}
	var seen, inferred, jammed, jammedInferred [][]pt
	for _, pass := range t.scene.Report.Passes {
		_, stands := t.jamOf(pass.Piece)
		for _, seg := range t.segments(pass) {
			switch {
			case stands && seg.seen:
				jammed = append(jammed, seg.line)
			case stands:
				jammedInferred = append(jammedInferred, seg.line)
			case seg.seen:
				seen = append(seen, seg.line)
			default:
				inferred = append(inferred, seg.line)
			}
		}
	}
	p.strokes(line{Ink, weight, nil}, seen...)
	p.strokes(line{Ink, weight, dotted}, inferred...)
	p.strokes(line{Accent, 1.6, nil}, jammed...)
	p.strokes(line{Accent, 1.6, dotted}, jammedInferred...)
}

type segment struct {
	line []pt
	seen bool
}

func (t *timetable) segments(pass schemas.Pass) []segment {
	begin, ok := beginOf(pass)
	if !ok {
		return nil
	}
	var out []segment
	for i := range t.stages {
		sp, enter, ok := stageOf(pass, t.stages[i].sum.Stage)
		if !ok {
			continue
		}
		from := pt{enter - begin, t.stages[i].top}
		to, ok := t.leaves(pass, i, begin, sp)
		if !ok {
			continue
		}
		if l, ok := t.cut(from, to); ok {
			out = append(out, segment{l, t.stages[i].sum.Sensor})
		}
	}
	return out
}

// leaves is the point where a pass leaves stage i: where it enters the next, where its jam
// stands, or where it was last seen.
func (t *timetable) leaves(pass schemas.Pass, i int, begin float64, sp schemas.StagePass) (pt, bool) {
	if j, ok := t.jamOf(pass.Piece); ok && j.Stage == t.stages[i].sum.Stage {
		for k, own := range t.stages[i].jams {
			if own.number == j.number && k < jamsDrawn {
				return pt{j.StartS - begin, t.jamY(&t.stages[i], k)}, true
			}
		}
	}
	if i+1 < len(t.stages) {
		if _, enter, ok := stageOf(pass, t.stages[i+1].sum.Stage); ok {
			return pt{enter - begin, t.stages[i].bottom}, true
		}
	}
	for _, v := range []*float64{sp.LeaveS, sp.LeaveEstS} {
		if finite(v) {
			return pt{*v - begin, t.stages[i].bottom}, true
		}
	}
	return pt{}, false
}

// cut maps a segment in seconds to pixels and ends it where it runs off the axis.
func (t *timetable) cut(a, b pt) ([]pt, bool) {
	if a.x > t.x.v1 || a.x < 0 || b.x < a.x {
		return nil, false
	}
	if b.x > t.x.v1 {
		b.y = a.y + (b.y-a.y)*(t.x.v1-a.x)/(b.x-a.x)
		b.x = t.x.v1
	}
	return []pt{{t.x.at(a.x), a.y}, {t.x.at(b.x), b.y}}, true
}

// beginOf is when a pass entered the path, as far as it is known.
func beginOf(pass schemas.Pass) (float64, bool) {
	if finite(pass.EnterS) {
		return *pass.EnterS, true
	}
	if len(pass.Stages) > 0 {
		_, enter, ok := stageOf(pass, pass.Stages[0].Stage)
		return enter, ok
	}
	return 0, false
}

func stageOf(pass schemas.Pass, stage string) (schemas.StagePass, float64, bool) {
	for _, s := range pass.Stages {
		if s.Stage != stage {
			continue
		}
		if finite(s.EnterS) {
			return s, *s.EnterS, true
		}
		if finite(s.EnterEstS) {
			return s, *s.EnterEstS, true
		}
	}
	return schemas.StagePass{}, 0, false
}

func (t *timetable) jamOf(piece int) (numberedJam, bool) {
	for i, j := range t.scene.Report.Jams {
		if j.Piece != nil && *j.Piece == piece {
			return numberedJam{j, i + 1}, true
		}
	}
	return numberedJam{}, false
}
