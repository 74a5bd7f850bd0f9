package draw

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Year is a season as pictures show it: every picture has the same match at the same place, and
// the entries of the parts log run through all of them as uprights. Picked is the letter of the
// entry whose upright is solid; empty for none.
type Year struct {
	*schemas.Season
	Picked string
}

// Room beside the plots for labels of axes and rows.
const (
	yearLeft  = 46.0
	yearRight = 10.0
)

// x places matches by index.
func (y Year) x(width float64) scale {
	return scale{-0.5, float64(len(y.Matches)) - 0.5, yearLeft, width - yearRight}
}

// measure is the measure of that name, nil when the season has none.
func (y Year) measure(name string) *schemas.SeasonMeasure {
	i := slices.IndexFunc(y.Measures, func(m schemas.SeasonMeasure) bool { return m.Name == name })
	if i < 0 {
		return nil
	}
	return &y.Measures[i]
}

// paintParts draws the uprights of the parts log from top to bottom.
func (y Year) paintParts(p *pen, x scale, top, bottom float64) {
	for _, e := range y.Parts {
		at := x.at(float64(e.Index) - 0.5)
		l := line{Ink2, 1, dotted}
		if e.Letter == y.Picked {
			l = line{Ink, 1.5, nil}
		}
		p.stroke(l, pt{at, top}, pt{at, bottom})
	}
}

// SeasonMarks is the parts log over the events of the season. ok is false without a match.
func SeasonMarks(y Year, width float64) (*Picture, bool) {
	if len(y.Matches) == 0 {
		return nil, false
	}
	m := &seasonMarks{y: y, x: y.x(width)}
	m.place(width)
	m.top = 6 + 24*float64(max(m.lanes, 1))
	if len(y.Parts) == 0 {
		m.top = 4
	}
	rows := [][]string{}
	for _, e := range y.events() {
		rows = append(rows, []string{e.name, strconv.Itoa(e.to - e.from + 1)})
	}
	return &Picture{
		Name: "parts", Width: width, Height: m.top + 30,
		Title: "Parts log and events", Desc: m.words(), Links: true,
		Table: Table{Head: []string{"Event", "Matches"}, Rows: rows}, paint: m.paint,
	}, true
}

type seasonMarks struct {
	y     Year
	x     scale
	top   float64 // of the strip of events
	lanes int
	laid  []laidPart
}

type laidPart struct {
	part schemas.SeasonPart
	text label
	lane int
	x    float64
}

// mostLanes is how many entries lie above each other with their words.
const mostLanes = 4

// place gives each entry the lowest lane in which its words do not meet others.
func (m *seasonMarks) place(width float64) {
	ends := []float64{}
	for _, e := range m.y.Parts {
		x := m.x.at(float64(e.Index) - 0.5)
		words := e.Text
		if sizeOf(width) == narrowSize {
			words = ""
		}
		l := note(x+20, 0, left, words).in(Ink)
		for l.text != "" && l.x+l.width() > width {
			cut := []rune(strings.TrimSuffix(l.text, "…"))
			if len(cut) < 4 {
				l.text = ""
				break
			}
			l.text = strings.TrimRight(string(cut[:len(cut)-1]), " ") + "…"
		}
		box := math.Min(x, width-18)
		end := math.Max(box+18, l.x+l.width()) + 8
		free := func() (lane int) {
			for lane < len(ends) && ends[lane] > box {
				lane++
			}
			return lane
		}
		lane := free()
		if lane >= mostLanes { // many entries at once: letters, and their words in the list below
			l.text, end = "", box+24
			lane = free()
		}
		if lane == len(ends) {
			ends = append(ends, 0)
		}
		ends[lane] = end
		m.laid = append(m.laid, laidPart{e, l, lane, box})
	}
	m.lanes = len(ends)
}

func (m *seasonMarks) paint(p *pen) {
	for _, e := range m.laid {
		y := 4 + 24*float64(e.lane)
		picked := e.part.Letter == m.y.Picked
		at := m.x.at(float64(e.part.Index) - 0.5)
		l := line{Ink2, 1, dotted}
		if picked {
			l = line{Ink, 1.5, nil}
		}
		p.stroke(l, pt{at, y + 18}, pt{at, m.top + 30})
		hit := box{e.x - 3, y - 3, e.x + 21, y + 21} // the lanes are as far apart
		p.group(Group{Class: "part", Href: "?part=" + e.part.Letter + "#parts", Title: e.part.At + ": " + e.part.Text, Hit: hit}, func() {
			ground, ink := Paper, Ink
			if picked {
				ground, ink = Ink, Paper
			}
			p.rect(ground, e.x, y, 18, 18)
			p.frame(line{Ink, 1, nil}, e.x, y, 18, 18)
			p.text(stressed(e.x+9, y+13.5, middle, e.part.Letter).in(ink))
			if e.text.text != "" {
				t := e.text
				t.y = y + 13.5
				p.text(t.haloed())
			}
		})
	}
	for i, s := range m.y.events() {
		x0, x1 := m.x.at(float64(s.from)-0.5), m.x.at(float64(s.to)+0.5)
		ground := Inset
		if i%2 == 1 {
			ground = Paper
		}
		p.rect(ground, x0, m.top, x1-x0, 22)
		p.frame(line{Edge, 1, nil}, x0, m.top, x1-x0, 22)
		if l := note(x0+5, m.top+15, left, s.name).in(Ink); l.width()+10 <= x1-x0 {
			p.text(l)
		}
	}
}

func (m *seasonMarks) words() string {
	return fmt.Sprintf("%d matches at %d events; %d entries in the parts log.", len(m.y.Matches), len(m.y.events()), len(m.y.Parts))
}

// eventSpan is a row of matches at one event.
type eventSpan struct {
	name     string
	from, to int
}

func (y Year) events() []eventSpan {
	var out []eventSpan
	for i, m := range y.Matches {
		if n := len(out); n > 0 && out[n-1].name == m.Event {
			out[n-1].to = i
			continue
		}
		out = append(out, eventSpan{m.Event, i, i})
	}
	return out
}

// SeasonAxis names the matches below all plots.
func SeasonAxis(y Year, width float64) (*Picture, bool) {
	if len(y.Matches) == 0 {
		return nil, false
	}
	x := y.x(width)
	n := len(y.Matches)
	var rows [][]string
	for i, m := range y.Matches {
		rows = append(rows, []string{strconv.Itoa(i + 1), m.Event, m.Match})
	}
	return &Picture{
		Name: "axis", Width: width, Height: 26,
		Title: "Matches of the season", Desc: fmt.Sprintf("From 1 to %d, in order of time.", n),
		Table: Table{Head: []string{"Number", "Event", "Match"}, Rows: rows},
		paint: func(p *pen) {
			p.stroke(line{Ink, 1, nil}, pt{x.p0, 1}, pt{x.p1, 1})
			last := stressed(x.at(float64(n-1)), 20, middle, y.Matches[n-1].Match).within(0, width)
			step := max(1, int(math.Ceil(36/math.Max(1, x.at(1)-x.at(0)))))
			for i := 0; i < n; i += step {
				l := note(x.at(float64(i)), 20, middle, strconv.Itoa(i+1)).within(0, width)
				p.stroke(line{Ink, 1, nil}, pt{x.at(float64(i)), 1}, pt{x.at(float64(i)), 6})
				if l.box().x1+8 < last.box().x0 {
					p.text(l)
				}
			}
			p.text(last)
		},
	}, true
}
