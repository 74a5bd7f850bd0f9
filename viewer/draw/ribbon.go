package draw

import (
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// The band of the ribbon is this thick at fullV and has no thickness at emptyV.
const (
	emptyV = 6.0
	fullV  = 12.8
)

// brickCap is the height of the tallest brick, in usual cycles.
const brickCap = 2.25

// RibbonOptions say how much of a ribbon is drawn and where its pins lead.
type RibbonOptions struct {
	Width float64
	Small bool                  // for a row of the board: no text, no axis
	Link  func(rank int) string // address of a finding by its rank from 1; nil for no links
}

// ribbon is the geometry of one ribbon.
type ribbon struct {
	scene   *Scene
	options RibbonOptions
	x       scale   // match time to pixels
	top     float64 // the band's upper edge, on which the bricks stand
	unit    float64 // height of a usual cycle
	band    float64 // thickness of the band at fullV
	bell    float64
	stopped bool // the log ended before the bell
	end     float64
	usual   float64 // length of a usual cycle, 0 when unknown
	low     float64
	high    float64
	pins    []pin
}

// Ribbon is the whole match as one band: supply as thickness, cycles as bricks on it,
// findings as pins.
func Ribbon(s *Scene, o RibbonOptions) *Picture {
	r := newRibbon(s, o)
	height := r.top + r.band + 2
	if !o.Small {
		height = r.top + r.band + 48
	}
	p := &Picture{
		Name: "ribbon", Width: o.Width, Height: height,
		Title: "The match from 0 to " + short(r.bell, 1) + " s",
		Desc:  r.words(), Table: r.table(), Links: o.Link != nil,
		paint: r.paint,
	}
	return p
}

func newRibbon(s *Scene, o RibbonOptions) *ribbon {
	r := &ribbon{scene: s, options: o, unit: 34, band: 52, bell: s.Bell()}
	switch {
	case o.Small:
		r.unit, r.band = 14, 17
	case sizeOf(o.Width) != wideSize:
		r.unit, r.band = 26, 42
	}
	r.x = scale{0, max(r.bell, 1e-9), 0.5, o.Width - 0.5}
	r.end, r.stopped = s.Stopped()
	if !r.stopped {
		r.end = r.bell
	}
	if u := s.Report.Usual.CycleS; finite(u) && *u > 0 {
		r.usual, r.low, r.high = *u, *u, *u
		if finite(s.Report.Usual.LowS) && finite(s.Report.Usual.HighS) {
			r.low, r.high = *s.Report.Usual.LowS, *s.Report.Usual.HighS
		}
	}
	r.place()
	return r
}

func (o RibbonOptions) narrow() bool { return sizeOf(o.Width) == narrowSize }

// place gives the pins their lanes and the band its place below them.
func (r *ribbon) place() {
	tallest := r.unit * 1.3
	numbers := false
	for _, c := range r.scoring() {
		tallest = max(tallest, r.height(c))
		numbers = numbers || r.numbered(c)
	}
	if r.options.Small {
		r.pins = r.smallPins()
		r.top = 2 + max(tallest, r.unit*brickCap)
		if len(r.pins) > 0 {
			r.top += 2 * smallMark
		}
		return
	}
	if numbers {
		tallest += 16
	}
	if r.bell <= 0 {
		r.top, r.band = 8, 0
		return
	}
	var lanes int
	r.pins, lanes = placePins(r.wantedPins(), r.options.Width)
	head := 4.0
	if lanes > 0 {
		head = 8 + laneHeight*float64(lanes)
	}
	r.top = head + tallest
	for i := range r.pins {
		r.pins[i].y = head - 4 - laneHeight*(float64(r.pins[i].lane)+0.5)
	}
}

// scoring is the cycles drawn as bricks; a hand-over is a row of the table only.
func (r *ribbon) scoring() []schemas.Cycle {
	var out []schemas.Cycle
	for _, c := range r.scene.Report.Cycles {
		if c.Kind != schemas.CycleHandover {
			out = append(out, c)
		}
	}
	return out
}

func (r *ribbon) height(c schemas.Cycle) float64 {
	if r.usual <= 0 {
		return r.unit
	}
	return r.unit * min(c.DurationS/r.usual, brickCap)
}

// numbered says whether a brick's seconds stand outside of it.
func (r *ribbon) numbered(c schemas.Cycle) bool {
	return c.Complete && (c.Slow || r.usual > 0 && c.DurationS/r.usual > brickCap)
}

func (r *ribbon) span(startS, endS float64) (x0, x1 float64) {
	return r.x.clamped(r.scene.T(startS)), r.x.clamped(r.scene.T(endS))
}

func (r *ribbon) paint(p *pen) {
	if r.bell <= 0 {
		p.stroke(line{Ink, 2, nil}, pt{0, r.top}, pt{r.options.Width, r.top})
		if !r.options.Small {
			p.text(stressed(0, r.top+22, left, "no match in this log"))
		}
		return
	}
	if len(r.scoring()) > 0 && r.usual > 0 {
		r.paintUsual(p)
	}
	r.paintBricks(p)
	r.paintBand(p)
	r.paintPins(p)
	if !r.options.Small {
		r.paintAxis(p)
	}
}

func (r *ribbon) paintAxis(p *pen) {
	y := r.top + r.band + 8
	p.stroke(line{Ink, 1, nil}, pt{0, y}, pt{r.options.Width, y})
	paintTimeAxis(p, scale{0, r.bell, 0, r.options.Width}, y, max(int(r.options.Width/66), 3))
	type named struct {
		at   float64
		name string
	}
	var starts []named
	seen := map[string]bool{}
	for _, q := range r.scene.Report.Match.Periods {
		if !seen[q.Name] {
			starts = append(starts, named{r.scene.T(q.StartS), q.Name})
			seen[q.Name] = true
		}
	}
	if at, ok := r.scene.endgame(); ok {
		starts = append(starts, named{at, "endgame"})
	}
	for i, s := range starts {
		x := min(r.x.clamped(s.at), r.options.Width-1)
		p.stroke(line{Ink, 1, nil}, pt{x + 0.5, y + 25}, pt{x + 0.5, y + 37})
		room := r.options.Width - x
		if i+1 < len(starts) {
			room = r.x.clamped(starts[i+1].at) - x
		}
		for _, w := range []string{s.name, strings.TrimSuffix(s.name, "nomous")} {
			if l := note(x+5, y+35, left, w).in(Ink); l.width()+8 <= room || i+1 == len(starts) {
				p.text(l.within(0, r.options.Width))
				break
			}
		}
	}
}

// words are what the ribbon shows, for readers that do not see it.
func (r *ribbon) words() string {
	text := strconv.Itoa(len(r.scoring())) + " cycles, " + strconv.Itoa(len(r.scene.Report.Findings)) + " findings, " +
		strconv.Itoa(len(r.scene.Report.Brownouts)) + " brownouts."
	if lo, _, ok := extent(r.scene.Voltage, r.scene.micros(0), r.scene.micros(r.bell)); ok {
		text += " Lowest voltage " + decimal(lo, 2) + " V."
	} else {
		text += " No voltage signal."
	}
	if r.stopped {
		text += " The log stops at " + decimal(r.end, 1) + " s."
	}
	return text
}

func (r *ribbon) table() Table {
	t := Table{Head: []string{"From", "To", "What"}}
	add := func(startS, endS float64, what string) {
		t.Rows = append(t.Rows, []string{decimal(r.scene.T(startS), 2) + " s", decimal(r.scene.T(endS), 2) + " s", what})
	}
	for _, q := range r.scene.Report.Match.Periods {
		add(q.StartS, q.EndS, q.Name)
	}
	for _, c := range r.scene.Report.Cycles {
		what := "cycle, " + decimal(c.DurationS, 1) + " s"
		switch {
		case c.Kind == schemas.CycleHandover:
			what = "hand-over"
		case !c.Complete:
			what = "cycle cut off after " + decimal(c.DurationS, 1) + " s"
		case c.Slow:
			what = "slow " + what
		}
		add(c.StartS, c.EndS, what)
	}
	for i, f := range r.scene.Report.Findings {
		for _, q := range spansOf(f) {
			add(q.StartS, q.EndS, "finding "+strconv.Itoa(i+1)+": "+f.Title)
		}
	}
	if len(t.Rows) == 0 {
		t.Rows = [][]string{{"", "", "no match in this log"}}
	}
	return t
}

// spansOf are the stretches of a finding, at least its own.
func spansOf(f schemas.Finding) []schemas.Span {
	if len(f.Spans) > 0 {
		return f.Spans
	}
	return []schemas.Span{{StartS: f.StartS, EndS: f.EndS}}
}
