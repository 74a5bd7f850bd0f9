package draw

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

const (
	pinMark    = 9.0  // radius of a pin's mark
	smallMark  = 4.5  // in a small ribbon
	hitHalf    = 12.0 // half the side of the square around a mark that takes clicks
	laneHeight = 24.0 // from one lane of pins to the next
	maxLanes   = 4
	manyPins   = 12 // beyond this, watch pins lose their words
	pinWords   = 30 // longest words of a pin, in letters
)

// pin is one occurrence of a finding: a mark on a stem, and a bar along the band from its
// start to its end.
type pin struct {
	x0, x1   float64 // of the occurrence
	x        float64 // of mark and stem
	y        float64 // of the mark's centre
	lane     int     // from the band upwards; -1 when no lane had room: the bar stays
	leftward bool    // the words stand left of the mark
	words    string
	rank     int
	finding  *schemas.Finding
	step     int // of the bar: one higher for each bar it overlaps
}

// wantedPins are all occurrences in order of time, with the words they would carry.
func (r *ribbon) wantedPins() []pin {
	var pins []pin
	findings := r.scene.Report.Findings
	for i := range findings {
		f := &findings[i]
		for _, span := range spansOf(*f) {
			x0, x1 := r.span(span.StartS, span.EndS)
			q := pin{x0: x0, x1: x1, x: x0, rank: i + 1, finding: f, words: f.Short}
			if f.Kind == "jam" && r.stands(span) {
				q.words += ", not cleared"
			}
			if r.options.narrow() {
				q.words = ""
			}
			pins = append(pins, q)
		}
	}
	slices.SortStableFunc(pins, func(a, b pin) int {
		switch {
		case a.x < b.x:
			return -1
		case a.x > b.x:
			return 1
		default:
			return a.rank - b.rank
		}
	})
	stepBars(pins, r.options.Width)
	return pins
}

// stands says whether the jam of a span had not cleared when the log ended.
func (r *ribbon) stands(span schemas.Span) bool {
	return slices.ContainsFunc(r.scene.Report.Jams, func(j schemas.Jam) bool {
		return !j.Cleared && j.StartS == span.StartS
	})
}

// stepBars raises a bar that overlaps earlier ones by one step each, three at most.
func stepBars(pins []pin, width float64) {
	for i := range pins {
		taken := [4]bool{}
		for _, q := range pins[:i] {
			if q.x1 >= pins[i].x0 && q.x0 <= pins[i].x1 && !q.whole(width) {
				taken[q.step] = true
			}
		}
		for pins[i].step < 3 && taken[pins[i].step] {
			pins[i].step++
		}
	}
}

// placePins gives each pin a lane: from right to left, the lowest one in which neither its
// mark and words meet another's, nor a stem crosses words. A pin that fits nowhere with its
// words is tried without; one that fits nowhere at all keeps only its bar. It returns the
// pins, in order of time, and how many lanes are in use.
func placePins(pins []pin, width float64) ([]pin, int) {
	if len(pins) > manyPins {
		for i := range pins {
			if pins[i].finding.Severity == schemas.SeverityWatch {
				pins[i].words = ""
			}
		}
	}
	lanes := 0
	for i := len(pins) - 1; i >= 0; i-- {
		q := &pins[i]
		edge := markHalf(pinMark, q.finding.Severity, q.rank) + 0.5
		q.x = min(max(q.x, edge), width-edge)
		q.lane = -1
		for _, attempt := range []struct {
			words    string
			leftward bool
			tight    bool
		}{{q.words, false, false}, {q.words, true, false}, {"", false, false}, {"", false, true}} {
			if q.lane >= 0 {
				break
			}
			q.words, q.leftward = attempt.words, attempt.leftward
			for lane := q.lowest(pins[:i]); lane < maxLanes && q.lane < 0; lane++ {
				if q.fits(pins[i+1:], lane, width, attempt.tight) {
					q.lane = lane
				}
			}
		}
		lanes = max(lanes, q.lane+1)
	}
	return pins, lanes
}

// lowest is the lane that q must not lie below. Words on the left of a mark reach over pins
// that are placed later; those need the lanes beneath, for no stem may cross words.
func (q *pin) lowest(later []pin) int {
	if !q.leftward || q.words == "" {
		return 0
	}
	x0, _ := q.extent()
	n := 0
	for _, o := range later {
		if o.x > x0-pinMark && o.x < q.x {
			n++
		}
	}
	return n
}

// fits says whether q can lie in a lane beside the pins already placed. Where it is tight a
// stem may run behind a mark, but for its centre, where the number is.
func (q *pin) fits(placed []pin, lane int, width float64, tight bool) bool {
	x0, x1 := q.extent()
	if x0 < 0 || x1 > width {
		return false
	}
	for _, o := range placed {
		if o.lane < 0 {
			continue
		}
		ox0, ox1 := o.extent()
		const clear = 2
		if tight && o.lane != lane {
			if d := q.x - o.x; (d > 5 || d < -5) && (o.words == "" || o.lane > lane) {
				continue
			}
		}
		switch {
		case o.lane == lane && x0 < ox1+clear && ox0 < x1+clear:
			return false // side by side in one lane
		case o.lane > lane && o.x > x0-clear && o.x < x1+clear:
			return false // the other's stem would run through this one
		case o.lane < lane && q.x > ox0-clear && q.x < ox1+clear:
			return false // this one's stem would run through the other
		}
	}
	return true
}

// whole says whether a pin speaks of the whole match: a bar would then tell nothing.
func (q *pin) whole(width float64) bool { return q.x1-q.x0 > 0.98*width }

// label is where the words of a pin stand.
func (q *pin) label() label {
	if q.leftward {
		return stressed(q.x-pinMark-6, q.y+4, right, clip(q.words, pinWords))
	}
	return stressed(q.x+pinMark+6, q.y+4, left, clip(q.words, pinWords))
}

// extent is the room that a pin's mark and words take, from left to right.
func (q *pin) extent() (x0, x1 float64) {
	half := markHalf(pinMark, q.finding.Severity, q.rank)
	x0, x1 = q.x-half, q.x+half
	if q.words != "" {
		b := q.label().box()
		x0, x1 = min(x0, b.x0), max(x1, b.x1)
	}
	return x0, x1
}

// sortedStems are the places of all stems from left to right.
func sortedStems(pins []pin) []float64 {
	var at []float64
	for _, q := range pins {
		if q.lane >= 0 {
			at = append(at, q.x)
		}
	}
	slices.Sort(at)
	return at
}

// smallPins are the occurrences of a small ribbon: all in one row, no words. A mark that
// would hide one of a worse finding is left out; its bar stays.
func (r *ribbon) smallPins() []pin {
	all := r.wantedPins()
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return all[a].rank - all[b].rank })
	for n, i := range order {
		q := &all[i]
		q.words = ""
		q.x = min(max(q.x, 1.3*smallMark), r.options.Width-1.3*smallMark)
		q.y = smallMark + 1
		for _, k := range order[:n] {
			if all[k].lane == 0 && all[k].x-q.x < 2*smallMark && q.x-all[k].x < 2*smallMark {
				q.lane = -1
			}
		}
	}
	return all
}

func (r *ribbon) paintPins(p *pen) {
	radius, bar := pinMark, 4.0
	if r.options.Small {
		radius, bar = smallMark, 3.0
	}
	order := make([]*pin, len(r.pins))
	for i := range r.pins {
		order[i] = &r.pins[i]
	}
	// High lanes first: where it is tight their stems run behind the marks below.
	slices.SortStableFunc(order, func(a, b *pin) int { return b.lane - a.lane })
	for _, q := range order {
		color := Accent
		if q.finding.Severity == schemas.SeverityWatch {
			color = Ink
		}
		g := Group{Class: "pin", Finding: q.finding.ID, Title: "finding " + short(float64(q.rank), 0) + ": " + q.finding.Title}
		if r.options.Link != nil && q.lane >= 0 { // a bar alone is too small to hit
			g.Href = r.options.Link(q.rank)
			g.Hit = box{q.x - hitHalf, q.y - hitHalf, q.x + hitHalf, q.y + hitHalf}
		}
		p.group(g, func() {
			y := r.top - 1 - bar - float64(q.step)*(bar+2)
			if !q.whole(r.options.Width) && (q.x1-q.x0 > 2 || q.lane < 0) {
				p.rect(color, q.x0, y, max(q.x1-q.x0, 2), bar)
			}
			if q.lane < 0 {
				return
			}
			p.stroke(line{color, 1.3, nil}, pt{q.x, q.y + radius}, pt{q.x, r.top})
			p.mark(q.x, q.y, radius, q.finding.Severity, q.rank)
			if q.words != "" {
				p.text(q.label().haloed())
			}
		})
	}
}
