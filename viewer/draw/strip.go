package draw

import (
	"math"
	"slices"
	"strconv"

	"github.com/afterbell/afterbell/schemas"
)

// VoltageStrip is the supply over the match: least and greatest of every pixel column, the
// cut-off, and the dips under it ringed. ok is false without a voltage signal or a match.
func VoltageStrip(s *Scene, width float64) (*Picture, bool) {
	lo, hi, ok := extent(s.Voltage, s.micros(0), s.micros(s.Bell()))
	if !ok || s.Bell() <= 0 {
		return nil, false
	}
	st := &strip{scene: s, width: width}
	bottom := math.Min(6, math.Floor(lo))
	top := math.Max(math.Ceil(hi*2)/2, bottom+1)
	perVolt := min(11.3, 90/(top-bottom))
	if sizeOf(width) == middleSize {
		perVolt *= 0.8
	}
	st.y = scale{bottom, top, 8 + perVolt*(top-bottom), 8}
	st.x = scale{0, s.Bell(), 38, width - 6}
	return &Picture{
		Name: "voltage", Width: width, Height: st.y.p0 + 24,
		Title: "Supply voltage over the match",
		Desc:  "Lowest " + decimal(lo, 2) + " V, highest " + decimal(hi, 2) + " V.",
		Table: st.table(lo), paint: st.paint,
	}, true
}

type strip struct {
	scene *Scene
	width float64
	x, y  scale
}

func (st *strip) paint(p *pen) {
	paintValueAxis(p, st.x, st.y, "V", 4)
	t0, t1 := st.scene.micros(0), st.scene.micros(st.scene.Bell())
	x := scale{float64(t0), float64(t1), st.x.p0, st.x.p1}
	p.strokes(line{Ink, 1.25, nil}, polylines(st.scene.Voltage, t0, t1, x, st.y)...)
	cut, known := st.scene.cutOff()
	if known {
		y := st.y.clamped(cut)
		p.stroke(line{Accent, 1.2, dashed}, pt{st.x.p0, y}, pt{st.x.p1, y})
		p.text(note(st.x.p0+4, y-5, left, "cut-off "+short(cut, 2)+" V").in(Accent).haloed())
	}
	p.stroke(line{Ink, 1, nil}, pt{st.x.p0, st.y.p0}, pt{st.x.p1, st.y.p0})
	paintTimeAxis(p, st.x, st.y.p0, max(int((st.x.p1-st.x.p0)/66), 3))
	if at, early := st.scene.Stopped(); early {
		x0 := st.x.clamped(at)
		p.hatch(line{Edge, 1, nil}, 8, x0, st.y.p1, st.x.p1-x0, st.y.p0-st.y.p1)
	}
	st.paintDips(p, cut, known)
}

// paintDips rings each brownout and writes value and time of those that fit, the deepest
// first.
func (st *strip) paintDips(p *pen, cut float64, known bool) {
	dips := slices.Clone(st.scene.Report.Brownouts)
	slices.SortStableFunc(dips, func(a, b schemas.Brownout) int {
		switch {
		case a.MinV < b.MinV:
			return -1
		case a.MinV > b.MinV:
			return 1
		default:
			return 0
		}
	})
	var taken []box
	if known {
		taken = append(taken, note(st.x.p0+4, st.y.clamped(cut)-5, left, "cut-off "+short(cut, 2)+" V").box())
	}
	const ring = 4.5
	at := func(b schemas.Brownout) (x, y float64) {
		return st.x.clamped(st.scene.T(b.MinAtS)), st.y.clamped(b.MinV)
	}
	for _, b := range dips {
		x, y := at(b)
		p.ring(line{Accent, 1.6, nil}, Paper, x, y, ring)
		// A label leaves the whole height above a ring free, or it would be read as its own.
		taken = append(taken, box{x - ring - 1, st.y.p1, x + ring + 1, y + ring})
	}
	for _, b := range dips {
		t := st.scene.T(b.MinAtS)
		x, y := at(b)
		words := decimal(b.MinV, 2) + " V"
		if sizeOf(st.width) != narrowSize {
			words += " at " + decimal(t, 1) + " s"
		}
		base := y - 8
		if known {
			base = min(base, st.y.clamped(cut)-5)
		}
		for _, l := range []label{stressed(x+8, base, left, words), stressed(x-8, base, right, words)} {
			l = l.in(Accent).haloed()
			bounds := l.box()
			if bounds.x0 < st.x.p0 || bounds.x1 > st.width || slices.ContainsFunc(taken, bounds.meets) {
				continue
			}
			taken = append(taken, bounds)
			p.text(l)
			break
		}
	}
}

func (st *strip) table(lo float64) Table {
	t := Table{Head: []string{"Brownout at", "Lowest", "Lasted", "Whole current", "Cause"}}
	for _, b := range st.scene.Report.Brownouts {
		t.Rows = append(t.Rows, []string{
			decimal(st.scene.T(b.StartS), 2) + " s", decimal(b.MinV, 2) + " V", Lasted(b), amps(b.CurrentA), CauseOfBrownout(b.Cause),
		})
	}
	if len(t.Rows) == 0 {
		t.Rows = [][]string{{"none", decimal(lo, 2) + " V", "", "", ""}}
	}
	return t
}

// Lasted is the length of a brownout in words.
func Lasted(b schemas.Brownout) string {
	if b.EndS == nil {
		return "to the end of the log"
	}
	d := *b.EndS - b.StartS
	if d < 1 {
		return decimal(d*1000, 0) + " ms"
	}
	return decimal(d, 1) + " s"
}

// CauseOfBrownout is the cause in words, "unknown" when none was told.
func CauseOfBrownout(cause string) string {
	switch cause {
	case "weak_battery":
		return "weak battery"
	case "bad_connection":
		return "bad connection"
	case "overload":
		return "overload"
	default:
		return "unknown"
	}
}

func amps(v *float64) string {
	if !finite(v) {
		return "unknown"
	}
	return decimal(*v, 0) + " A"
}

// paintValueAxis rules the values of y across x and names them at the left; the uppermost
// name carries the unit.
func paintValueAxis(p *pen, x, y scale, unit string, count int) {
	ticks := Ticks(y.v0, y.v1, count)
	for i, v := range ticks {
		at := y.at(v)
		p.stroke(line{Rule, 1, nil}, pt{x.p0, at}, pt{x.p1, at})
		words := short(v, 6)
		if i == len(ticks)-1 {
			words += " " + unit
			if unit == "°" {
				words = short(v, 6) + unit
			}
		}
		p.text(note(x.p0-6, at+4, right, words).within(0, x.p0))
	}
	p.stroke(line{Ink, 1, nil}, pt{x.p0, y.p1}, pt{x.p0, y.p0})
}

// counted is a number of things with its word.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}
