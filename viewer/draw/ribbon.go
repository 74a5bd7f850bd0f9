package draw

import (
	"math"
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
		if c.Kind != "handover" {
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

// paintUsual is the spread of the usual behind the bricks and the dashed line through it.
func (r *ribbon) paintUsual(p *pen) {
	at := func(cycle float64) float64 { return r.top - r.unit*min(cycle/r.usual, brickCap) }
	p.rect(Inset, 0, at(r.high), r.options.Width, at(r.low)-at(r.high))
	p.stroke(line{Edge, 1.2, dashed}, pt{0, at(r.usual)}, pt{r.options.Width, at(r.usual)})
}

func (r *ribbon) paintBricks(p *pen) {
	cycles := r.scoring()
	if len(cycles) == 0 {
		if why := r.noCycles(); why != "" && !r.options.Small {
			l := note(0, r.top-14, left, why).haloed()
			if x, ok := r.free(0, r.options.Width, l.width(), 0); ok {
				l.x = x
			}
			p.text(l)
		}
		return
	}
	outline := line{Ink2, 1, nil}
	for _, c := range cycles {
		x0, x1 := r.span(c.StartS, c.EndS)
		h := r.height(c)
		if !c.Complete {
			upright := line{Edge, 1, dashed}
			p.strokes(upright, []pt{{x0 + 1.5, r.top}, {x0 + 1.5, r.top - h}}, []pt{{x1 - 0.5, r.top}, {x1 - 0.5, r.top - h}})
			continue
		}
		x0, x1 = x0+1, max(x1-1, x0+1.5)
		p.rect(Usual, x0, r.top-h, x1-x0, h)
		if body := r.unit * r.high / max(r.usual, 1e-9); c.Slow && r.usual > 0 && h > body {
			p.rect(Accent, x0, r.top-h, x1-x0, h-body)
		}
		if len(cycles) <= 60 {
			p.frame(outline, x0, r.top-h, x1-x0, h)
		}
	}
	if !r.options.Small {
		r.paintNumbers(p, cycles)
	}
}

// noCycles says why there are no bricks.
func (r *ribbon) noCycles() string {
	for _, a := range r.scene.Report.Analyses {
		if a.Name == "cycles" && !a.Ran {
			return "no score signal: cycles unknown"
		}
	}
	return "nothing was scored"
}

// paintNumbers writes the seconds of cycles: inside a brick that is wide enough, above one
// that is slow or taller than drawn. A number gives way to the stems of pins.
func (r *ribbon) paintNumbers(p *pen, cycles []schemas.Cycle) {
	for _, c := range cycles {
		x0, x1 := r.span(c.StartS, c.EndS)
		switch {
		case !c.Complete:
			words := []string{"cut off by the bell", "cut off"}
			if c.Period == schemas.PeriodAutonomous {
				words = []string{"cut off by the end of autonomous", "cut off"}
			}
			if r.stopped && c.EndS >= r.scene.Report.Match.EndS {
				words = []string{"cut off by the end of the log", "cut off"}
			}
			for _, w := range words {
				l := note(0, r.top-14, left, w).haloed()
				if x, ok := r.free(x0+5, x1-3, l.width(), 0); ok {
					l.x, l.y = x, r.top-8-6*float64(r.bars(x, x+l.width()))
					p.text(l)
					break
				}
			}
		case r.numbered(c):
			color, unit := Ink, ""
			if c.Slow {
				color, unit = Accent, " s"
			}
			l := stressed(0, r.top-r.height(c)-5, left, decimal(c.DurationS, 1)+unit).in(color).haloed()
			from := max(min(x0, x1-l.width()), 0)
			l.x = max(min(x1, r.options.Width)-l.width(), from)
			if x, ok := r.free(max(from-l.width(), 0), min(max(x1, from+l.width()), r.options.Width), l.width(), 1); ok {
				l.x = x
			}
			p.text(l)
		case x1-x0 >= 24 && !r.options.narrow():
			l := note(0, r.top-7, left, decimal(c.DurationS, 1)).in(Ink)
			if h := r.height(c); h < 20 {
				l.y = r.top - h - 4
				l = l.haloed()
			}
			if x, ok := r.free(x0+2, x1-2, l.width(), 0.5); ok {
				l.x = x
				p.text(l)
			}
		}
	}
}

// bars is how many bars of pins lie over each other between x0 and x1.
func (r *ribbon) bars(x0, x1 float64) int {
	n := 0
	for _, q := range r.pins {
		if q.x1 >= x0 && q.x0 <= x1 {
			n = max(n, q.step+1)
		}
	}
	return n
}

// free finds a place of width w between x0 and x1 that no stem crosses, the one that lies
// nearest to the wanted part of the way (0 left, 1 right).
func (r *ribbon) free(x0, x1, w, want float64) (x float64, ok bool) {
	const clear = 3
	from := x0
	best := math.Inf(1)
	ideal := x0 + want*(x1-x0-w)
	try := func(a, b float64) {
		if b-a < w {
			return
		}
		at := min(max(ideal, a), b-w)
		if d := math.Abs(at - ideal); d < best {
			best, x, ok = d, at, true
		}
	}
	for _, stem := range sortedStems(r.pins) {
		if stem < x0-clear || stem > x1+clear {
			continue
		}
		try(from, min(stem-clear, x1))
		from = max(from, stem+clear)
	}
	try(from, x1)
	return x, ok
}

func (r *ribbon) paintBand(p *pen) {
	x1 := r.x.clamped(r.end)
	switch {
	case r.scene.Voltage == nil:
		p.hatch(line{Edge, 1, nil}, 7, 0.5, r.top, max(x1-1, 0), r.band/2)
		p.frame(line{Edge, 1, nil}, 0.5, r.top, max(x1-1, 0), r.band/2)
		if !r.options.Small {
			p.text(note(4, r.top+r.band/2+14, left, "no voltage signal: thickness unknown"))
		}
	default:
		r.paintSupply(p)
	}
	if r.stopped {
		p.hatch(line{Edge, 1, nil}, 7, x1, r.top, r.options.Width-x1-0.5, r.band)
		p.frame(line{Edge, 1, nil}, x1, r.top, r.options.Width-x1-0.5, r.band)
		if !r.options.Small {
			l := stressed(x1+6, r.top-7, left, "log stops at "+decimal(r.end, 1)+" s").haloed()
			if x, ok := r.free(x1+6, r.options.Width, l.width(), 0); ok {
				l.x = x
			}
			p.text(l.within(0, r.options.Width))
		}
	}
	p.stroke(line{Ink, 2, nil}, pt{0, r.top}, pt{r.options.Width, r.top})
}

// paintSupply draws the band: the least voltage of each pixel column is its lower edge, a
// paler fringe reaches to the greatest. Where samples are missing it is hatched.
func (r *ribbon) paintSupply(p *pen) {
	s := r.scene
	t0, t1 := s.micros(0), s.micros(r.end)
	part := s.Voltage.Between(t0, t1+1)
	y := scale{emptyV, fullV, r.top, r.top + r.band}
	x := func(t int64) float64 { return r.x.at(s.T(schemas.Seconds(t))) }
	columns := max(int(r.options.Width), 1)
	var edges [][]pt
	ends := []float64{0}
	for _, run := range runs(part.T) {
		T, V := part.T[run[0]:run[1]], part.V[run[0]:run[1]]
		least, greatest := extremes(T, V, s.micros(0), s.micros(r.bell), columns, x, y)
		if len(least) < 2 {
			continue
		}
		first, last := least[0].x, least[len(least)-1].x
		ends = append(ends, first, last)
		p.area(Usual, append([]pt{{first, r.top}}, append(greatest, pt{last, r.top})...)...)
		p.area(Band, append([]pt{{first, r.top}}, append(least, pt{last, r.top})...)...)
		edges = append(edges, least)
	}
	ends = append(ends, r.x.clamped(r.end))
	for i := 0; i+1 < len(ends); i += 2 {
		if w := ends[i+1] - ends[i]; w >= 2 {
			p.hatch(line{Edge, 1, nil}, 7, ends[i], r.top, w, r.band)
		}
	}
	p.strokes(line{Ink, 0.9, nil}, edges...)
	r.paintCutOff(p, y)
}

// paintCutOff is the dotted cut-off; a brownout parts the band there, and the gap is
// accent. In a small ribbon the cut goes through the whole band.
func (r *ribbon) paintCutOff(p *pen, y scale) {
	cut, known := r.scene.cutOff()
	if known && !r.options.Small {
		p.stroke(line{Ink, 1, dotted}, pt{0, y.clamped(cut)}, pt{r.x.clamped(r.end), y.clamped(cut)})
	}
	for _, b := range r.scene.Report.Brownouts {
		end := r.scene.Report.Match.EndS
		if b.EndS != nil {
			end = *b.EndS
		}
		x0, x1 := r.span(b.StartS, end)
		mid := (x0 + x1) / 2
		w := max(x1-x0, 3)
		depth := r.band
		if !r.options.Small {
			depth = 6
			if known {
				depth = max(y.clamped(cut)-r.top, 4)
			}
		}
		p.rect(Accent, min(max(mid-w/2, 0), r.options.Width-w), r.top, w, depth)
	}
}

// extremes are the least and the greatest of each pixel column that holds a sample.
func extremes(T []int64, V []float64, t0, t1 int64, columns int, x func(int64) float64, y scale) (least, greatest []pt) {
	if t1 <= t0 {
		return nil, nil
	}
	for i := 0; i < len(T); {
		c, first := column(T[i], t0, t1, columns), i
		lo, hi := V[i], V[i]
		for ; i < len(T) && column(T[i], t0, t1, columns) == c; i++ {
			lo, hi = min(lo, V[i]), max(hi, V[i])
		}
		at := x((T[first] + T[i-1]) / 2)
		least = append(least, pt{at, y.clamped(lo)})
		greatest = append(greatest, pt{at, y.clamped(hi)})
	}
	return least, greatest
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

// paintTimeAxis rules seconds of match time below a line at y. The last label carries the
// unit; a label too near to it is left out.
func paintTimeAxis(p *pen, x scale, y float64, count int) {
	ticks := Ticks(x.v0, x.v1, count)
	ink := line{Ink, 1, nil}
	if len(ticks) > 1 {
		for i := range ticks {
			half := ticks[i] + (ticks[1]-ticks[0])/2
			if half < x.v1 && x.at(ticks[1])-x.at(ticks[0]) > 40 {
				p.stroke(ink, pt{x.at(half), y}, pt{x.at(half), y + 3})
			}
		}
	}
	decimals := 0
	if x.v1 != math.Trunc(x.v1) {
		decimals = 1
	}
	last := note(x.p1, y+19, right, decimal(x.v1, decimals)+" s")
	for _, v := range ticks {
		at := min(max(x.at(v), 0.5), p1(x))
		p.stroke(ink, pt{at, y}, pt{at, y + 6})
		l := note(x.at(v), y+19, middle, short(v, 6)).within(x.p0, x.p1)
		if l.box().x1+6 < last.box().x0 {
			p.text(l)
		}
	}
	p.stroke(ink, pt{p1(x), y}, pt{p1(x), y + 6})
	p.text(last)
}

func p1(x scale) float64 { return x.p1 - 0.5 }

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
		case c.Kind == "handover":
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
	return t
}

// spansOf are the stretches of a finding, at least its own.
func spansOf(f schemas.Finding) []schemas.Span {
	if len(f.Spans) > 0 {
		return f.Spans
	}
	return []schemas.Span{{StartS: f.StartS, EndS: f.EndS}}
}
