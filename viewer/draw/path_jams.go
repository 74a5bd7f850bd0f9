package draw

import (
	"strconv"

	"github.com/afterbell/afterbell/schemas"
)

func (t *timetable) jamY(s *stageRows, k int) float64 {
	return s.top + t.row/2 + 12 + t.jamRow*float64(k)
}

// paintJams draws the jams of a stage as trains that stand: ring, hatched bar, arrow at the
// edge, and in words how long and how it ended.
func (t *timetable) paintJams(p *pen, s *stageRows) {
	for k, j := range s.jams {
		if k == jamsDrawn {
			rest := 0.0
			for _, o := range s.jams[k:] {
				rest += t.stood(o.Jam)
			}
			p.text(stressed(t.x.p1, s.bottom-8, right, "and "+strconv.Itoa(len(s.jams)-k)+" more, "+decimal(rest, 1)+" s").in(Accent).haloed())
			return
		}
		y := t.jamY(s, k)
		x0 := t.x.clamped(t.jamBegins(j.Jam, s))
		x1, off := t.x.p1, true
		if b, ok := t.beginOfPiece(j.Piece); ok && j.StartS-b+t.stood(j.Jam) < t.x.v1 {
			x1, off = max(t.x.at(j.StartS-b+t.stood(j.Jam)), x0+10), false
		}
		x0 = min(x0, x1-10)
		p.rect(Paper, x0, y-5, x1-x0, 10)
		p.hatch(line{Accent, 1.6, nil}, 6, x0, y-5, x1-x0, 10)
		p.frame(line{Accent, 1, nil}, x0, y-5, x1-x0, 10)
		if off {
			p.area(Accent, pt{x1 - 8, y - 8}, pt{x1 + 3, y}, pt{x1 - 8, y + 8})
		}
		p.ring(line{Accent, 2.2, nil}, Paper, x0, y, 8)
		p.text(t.jamLabel(j, x0, x1, y))
	}
}

// jamLabel is the words of a jam above its bar, which runs from x0 to x1 at y: at the end of
// the bar, or, where the bar is shorter than the words, from its ring on to the right. The
// words say less when there is not enough room, for they must not lie across the ring.
func (t *timetable) jamLabel(j numberedJam, x0, x1, y float64) label {
	const ring, beyond = 12.0, 14.0 // beyond the axis the columns begin
	for _, brief := range []bool{t.narrow, true} {
		l := stressed(x1-6, y-11, right, t.jamWords(j, brief)).in(Accent).haloed()
		if l.box().x0 >= x0+ring {
			return l
		}
		l.x, l.anchor = x0+ring, left
		if l.box().x1 <= min(t.x.p1+beyond, t.width) {
			return l
		}
	}
	return stressed(t.x.p1, y-11, right, t.jamWords(j, true)).in(Accent).haloed().within(t.names+4, t.width)
}

func (t *timetable) beginOfPiece(piece *int) (float64, bool) {
	if piece == nil {
		return 0, false
	}
	for _, pass := range t.scene.Report.Passes {
		if pass.Piece == *piece {
			return beginOf(pass)
		}
	}
	return 0, false
}

// jamBegins is when a jam began after its piece entered; where the piece is not known, the
// usual time to its stage.
func (t *timetable) jamBegins(j schemas.Jam, s *stageRows) float64 {
	if b, ok := t.beginOfPiece(j.Piece); ok {
		return j.StartS - b
	}
	at := 0.0
	for i := range t.stages {
		if t.stages[i].top >= s.top {
			break
		}
		if u := t.stages[i].sum.UsualS; finite(u) {
			at += *u
		}
	}
	return at
}

// stood is how long a jam lasted, counted to the end of the match at most when it never
// cleared.
func (t *timetable) stood(j schemas.Jam) float64 { return Stood(t.scene.Report, j) }

// Stood is how long a jam lasted in seconds: to its end, or to the bell when it had not
// cleared by then.
func Stood(r *schemas.Report, j schemas.Jam) float64 {
	end := j.EndS
	if !j.Cleared && end > r.Match.EndS && j.StartS < r.Match.EndS {
		end = r.Match.EndS
	}
	return max(end-j.StartS, 0)
}

func (t *timetable) jamWords(j numberedJam, brief bool) string {
	words := "jam " + strconv.Itoa(j.number) + ": stood " + decimal(t.stood(j.Jam), 1) + " s"
	if !j.Cleared {
		if j.EndS >= t.scene.Report.Match.EndS && !stoppedEarly(t.scene) {
			return words + ", to the bell"
		}
		return words + ", to the end of the log"
	}
	if brief {
		return words
	}
	if how := HowJamEnded(j.How); how != "" {
		words += ", then " + how + " at " + decimal(t.scene.T(j.EndS), 1) + " s"
	}
	return words
}

func stoppedEarly(s *Scene) bool {
	_, early := s.Stopped()
	return early
}

// HowJamEnded is the end of a jam in words.
func HowJamEnded(how string) string {
	switch how {
	case schemas.JamMovedOn:
		return "moved on"
	case schemas.JamBackedOut:
		return "backed out"
	case schemas.JamTakenOut:
		return "was taken out"
	default:
		return ""
	}
}
