package draw

import (
	"math"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// FleetChart is one measure of the robots of an event, a row each in the given order: value,
// interval, and the places the robot may have. Names lead to the robots' seasons. Who surely lies
// in the worse half is accent. ok is false when there is no robot.
func FleetChart(f *schemas.Fleet, m *schemas.FleetMeasure, order []string, width float64) (*Picture, bool) {
	if len(order) == 0 {
		return nil, false
	}
	c := &fleetChart{f: f, m: m, order: order, size: sizeOf(width), top: 40, row: 24}
	c.columns(width)
	c.scale()
	c.bottom = c.top + c.row*float64(len(order))
	height := c.bottom + 6
	if c.axisBelow() {
		height = c.bottom + 20
	}
	return &Picture{
		Name: "fleet-" + m.Name, Width: width, Height: height, Links: true,
		Title: m.Title + " of each robot", Desc: m.Note, Table: c.table(), paint: c.paint,
	}, true
}

type fleetChart struct {
	f     *schemas.Fleet
	m     *schemas.FleetMeasure
	order []string
	size  size
	x     scale

	value, place     float64 // left edges of columns; value is 0 where there is no room for one
	weakX            float64 // of the worst stage or battery; 0 for none
	weak             string  // head of that column
	top, row, bottom float64
}

// columns parts the width: name, plot, and behind it what is said in words.
func (c *fleetChart) columns(width float64) {
	plot := [2]float64{92, width - 92}
	c.place = width - 76
	switch c.size {
	case wideSize:
		plot[0] = 150
		c.place = width - 108
		if c.weak = c.weakHead(); c.weak != "" {
			c.weakX = width - 200
			c.place = c.weakX - 108
		}
		c.value = c.place - 188
		plot[1] = c.value - 16
	case middleSize:
		plot[0] = 120
		c.place = width - 92
		plot[1] = c.place - 16
		if width >= 700 {
			c.value = c.place - 188
			plot[1] = c.value - 16
		}
	}
	c.x = scale{p0: plot[0], p1: plot[1]}
}

// weakHead names what a robot may be weakest in; empty when no robot has any.
func (c *fleetChart) weakHead() string {
	for i := range c.m.Robots {
		if c.m.Robots[i].Weakest != nil {
			if c.m.Unit == "" {
				return "worst stage"
			}
			return "worst battery"
		}
	}
	return ""
}

// scale has all values inside, and as much of the intervals as leaves the values apart.
func (c *fleetChart) scale() {
	lo, hi, reach := c.m.Median, c.m.Median, 0.0
	for i := range c.m.Robots {
		e := &c.m.Robots[i]
		lo, hi = min(lo, e.Value), max(hi, e.Value)
	}
	span := hi - lo
	first, last := lo, hi
	for i := range c.m.Robots {
		e := &c.m.Robots[i]
		if finite(e.Low) && finite(e.High) {
			reach = max(reach, *e.High-*e.Low)
			first, last = min(first, *e.Low), max(last, *e.High)
		}
	}
	if most := 1.5 * span; c.m.Unit != "" && span > 0 && reach > 4*span { // shares have ends of their own
		first, last = max(first, lo-most), min(last, hi+most)
	}
	room := max(0.04*(last-first), 1e-3*math.Abs(last), 1e-6)
	c.x.v0, c.x.v1 = first-room, last+room
	if first >= 0 && c.x.v0 < 0 {
		c.x.v0 = 0
	}
	if c.m.Unit == "" && last <= 1 {
		c.x.v1 = min(1, c.x.v1)
	}
}

func (c *fleetChart) axisBelow() bool { return len(c.order) > 12 }

func (c *fleetChart) paint(p *pen) {
	c.paintScale(p)
	for i, robot := range c.order {
		y := c.top + c.row*(float64(i)+0.5)
		p.stroke(line{Rule, 1, nil}, pt{c.x.p0, y}, pt{c.x.p1, y})
		c.paintName(p, robot, y)
		if e := c.m.Estimate(robot); e != nil {
			c.paintRobot(p, e, y)
			continue
		}
		p.text(note(c.place, y+4, left, "not known"))
	}
}

func (c *fleetChart) paintScale(p *pen) {
	count := 6
	if c.size == narrowSize {
		count = 2
	}
	ticks := Ticks(c.x.v0, c.x.v1, count)
	end := c.x.p1 + 8
	at := c.x.at(c.m.Median)
	for i, v := range ticks {
		x := c.x.at(v)
		p.stroke(line{Rule, 1, nil}, pt{x, c.top}, pt{x, c.bottom})
		text := fleetTick(v, c.m.Unit, i == len(ticks)-1)
		l := note(x, c.top-6, middle, text).within(c.x.p0-8, end)
		if b := l.box().roomy(); at < b.x0 || at > b.x1 { // the median's line runs through there
			p.text(l)
		}
		if c.axisBelow() {
			l.y = c.bottom + 14
			p.text(l)
		}
	}
	p.stroke(line{Ink2, 1, nil}, pt{at, 18}, pt{at, c.bottom})
	p.text(note(at, 13, middle, "median "+SeasonAmount(c.m.Median, c.m.Unit)).in(Ink).within(c.x.p0-8, end))
	heads := []struct {
		x    float64
		text string
	}{{c.place, "place of " + strconv.Itoa(len(c.m.Robots))}, {c.value, "value, 95 %"}, {c.weakX, c.weak}}
	for _, h := range heads {
		if h.x > 0 {
			p.text(note(h.x, c.top-6, left, h.text))
		}
	}
}

// fleetTick is a value on the scale, with its unit when it is the last.
func fleetTick(v float64, unit string, last bool) string {
	if unit == "" {
		v *= 100
	}
	text := short(v, 4)
	switch {
	case last && unit == "":
		text += " %"
	case last:
		text += " " + shortUnit(unit)
	}
	return text
}

func (c *fleetChart) paintName(p *pen, robot string, y float64) {
	room := c.x.p0 - 12
	p.group(Group{
		Class: "robot", Href: "/s/" + c.f.Season + "/" + robot, Title: "Season of " + robot,
		Hit: box{0, y - c.row/2, room, y + c.row/2},
	}, func() {
		p.text(fitted(note(0, y+4, left, robot).in(Ink), room))
	})
}

// fitted is l cut to a width, with an ellipsis where anything was lost.
func fitted(l label, room float64) label {
	for l.width() > room && len([]rune(l.text)) > 3 {
		r := []rune(strings.TrimSuffix(l.text, "…"))
		l.text = string(r[:len(r)-1]) + "…"
	}
	return l
}

func (c *fleetChart) paintRobot(p *pen, e *schemas.FleetEstimate, y float64) {
	color := Ink
	if Behind(c.m, e) {
		color = Accent
	}
	x := c.x.clamped(e.Value)
	if finite(e.Low) && finite(e.High) {
		from, to := c.x.clamped(*e.Low), c.x.clamped(*e.High)
		p.stroke(line{color, 2, nil}, pt{from, y}, pt{to, y})
		if *e.Low < c.x.v0 { // it goes on
			p.area(color, pt{from - 5, y}, pt{from + 1, y - 4}, pt{from + 1, y + 4})
		}
		if *e.High > c.x.v1 {
			p.area(color, pt{to + 5, y}, pt{to - 1, y - 4}, pt{to - 1, y + 4})
		}
		p.dot(color, x, y, 4)
	} else {
		p.ring(line{Ink2, 1.5, nil}, Paper, x, y, 4)
	}
	words := func(at float64, text string, to float64) {
		if at > 0 {
			l := note(at, y+4, left, text).in(Ink)
			if color == Accent {
				l = stressed(at, y+4, left, text).in(Accent)
			}
			p.text(fitted(l, to-at))
		}
	}
	value, interval := FleetValue(c.m, e)
	words(c.place, c.placeWords(e), c.place+108)
	if e.Low != nil {
		value += "  (" + interval + ")"
	}
	words(c.value, value, c.place-6)
	if e.Weakest != nil && c.weakX > 0 {
		p.text(fitted(note(c.weakX, y+4, left, FleetWeakest(c.m, e.Weakest)), 200))
	}
}

func (c *fleetChart) placeWords(e *schemas.FleetEstimate) string {
	switch {
	case e.Low == nil && c.size == narrowSize:
		return "too few"
	case e.Low == nil:
		return "too few to say"
	case len(c.m.Robots) == 1:
		return "alone"
	case e.Best == e.Worst && c.size == narrowSize:
		return strconv.Itoa(e.Best)
	case e.Best == e.Worst:
		return "place " + strconv.Itoa(e.Best)
	case c.size == narrowSize:
		return strconv.Itoa(e.Best) + " to " + strconv.Itoa(e.Worst)
	}
	return "place " + strconv.Itoa(e.Best) + " to " + strconv.Itoa(e.Worst)
}

func (c *fleetChart) table() Table {
	t := Table{Head: []string{"Robot", "Value", "95 %", "Place", "Matches"}}
	weak := c.weakHead()
	if weak != "" {
		t.Head = append(t.Head, weak)
	}
	for _, robot := range c.order {
		row := make([]string, len(t.Head))
		row[0], row[1] = robot, "not known"
		if e := c.m.Estimate(robot); e != nil {
			row[1], row[2] = FleetValue(c.m, e)
			row[3], row[4] = FleetPlace(c.m, e), strconv.Itoa(e.Matches)
			if e.Weakest != nil {
				row[5] = FleetWeakest(c.m, e.Weakest)
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
