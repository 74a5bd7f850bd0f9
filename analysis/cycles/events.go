package cycles

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// What may be seen to cost time in a cycle.
const (
	EventJam       = "jam"
	EventBrownout  = "brownout"
	EventStood     = "stood"           // on its way, and nobody drove it, or nothing tells
	EventBlocked   = "blocked"         // on its way, though it was driven
	EventMissed    = "missed_pickup"   // backed off in the pickup zone and came again
	EventLinedUp   = "lined_up_again"  // moved off from the goal and came again
	EventUncounted = "piece_uncounted" // placed a piece that did not count
)

// eventsOf are what happened in a slow cycle that explains time, in order of their starts.
func (p *places) eventsOf(c *cycle, in Input, cfg Config) []schemas.CycleEvent {
	var out []schemas.CycleEvent
	add := func(what string, start, end int64, times int) {
		start, end = max(start, c.start), min(end, c.end)
		if start <= end {
			out = append(out, schemas.CycleEvent{
				What: what, Phase: c.phaseAt(start), Times: times,
				StartS: schemas.Seconds(start), EndS: schemas.Seconds(end),
			})
		}
	}
	for _, j := range in.Jams {
		if from, to := schemas.Micros(j.StartS), schemas.Micros(j.EndS); from < c.end && to > c.start {
			add(EventJam, from, to, 0)
		}
	}
	for _, b := range in.Brownouts {
		if from := schemas.Micros(b.StartS); c.start <= from && from < c.end {
			to := from
			if b.EndS != nil {
				to = schemas.Micros(*b.EndS)
			}
			add(EventBrownout, from, to, 0)
		}
	}
	for _, s := range p.stands(c, cfg) {
		what := EventStood
		if wasDriven(in.Drive, s, cfg) {
			what = EventBlocked
		}
		add(what, s.Start, s.End, 0)
	}
	if from, to, ok := c.span(WhyCollect); ok {
		if at, n := p.backings(from, to, cfg.MissedM); n > 0 {
			add(EventMissed, at, to, n)
		}
	}
	if from, to, ok := c.span(WhyPlace); ok {
		if left, ok := lastLeft(in.Passes, from, to); ok {
			to = left // then it drives off before the piece counts
		}
		if at, n := p.backings(from, to, cfg.LinedUpM); n > 0 {
			add(EventLinedUp, at, to, n)
		}
	}
	if c.uncounted > 0 {
		add(EventUncounted, c.wasted, c.entered, c.uncounted)
	}
	slices.SortStableFunc(out, func(a, b schemas.CycleEvent) int { return cmp.Compare(a.StartS, b.StartS) })
	return out
}

// lastLeft is when the last piece left the path between from and to, if one is known to have.
func lastLeft(passes []schemas.Pass, from, to int64) (at int64, ok bool) {
	for _, p := range releasedOf(passes) {
		if from < p.leave && p.leave <= to && (!ok || p.leave > at) { // times may be negative
			at, ok = p.leave, true
		}
	}
	return at, ok
}

// span is when a phase of a cycle began and ended, µs.
func (c *cycle) span(name string) (from, to int64, ok bool) {
	ph := c.Phases
	us := func(v *float64) int64 { return schemas.Micros(*v) }
	switch {
	case name == WhyReturn && ph.ReturnS != nil:
		return c.start, c.start + us(ph.ReturnS), true
	case name == WhyCollect && ph.ReturnS != nil && ph.CollectS != nil:
		from = c.start + us(ph.ReturnS)
		return from, from + us(ph.CollectS), true
	case name == WhyCarry && ph.CarryS != nil && ph.PlaceS != nil:
		to = c.end - us(ph.PlaceS)
		return to - us(ph.CarryS), to, true
	case name == WhyPlace && ph.PlaceS != nil:
		return c.end - us(ph.PlaceS), c.end, true
	}
	return 0, 0, false
}

// phaseAt is the phase of a cycle that t lies in, empty where it is not known.
func (c *cycle) phaseAt(t int64) string {
	for _, name := range phaseNames {
		if from, to, ok := c.span(name.why); ok && from <= t && t < to {
			return name.why
		}
	}
	return ""
}

// stands are when the robot stood on its way back or to the goal, for StoodS at least.
func (p *places) stands(c *cycle, cfg Config) []series.Interval {
	var out []series.Interval
	span := schemas.Micros(cfg.SpeedS)
	for _, way := range []string{WhyReturn, WhyCarry} {
		from, to, ok := c.span(way)
		if !ok || p.topMS <= 0 || !p.seen(from, to) {
			continue
		}
		begun := int64(-1)
		for t := from; t+span <= to; t += span / 4 {
			slow := p.track.speeds(t, t+span, cfg)[0] < cfg.StoodShare*p.topMS
			if slow && begun < 0 {
				begun = t
			}
			last := t+span+span/4 > to
			if begun >= 0 && (!slow || last) {
				if s := (series.Interval{Start: begun, End: t + span/2}); schemas.Seconds(s.End-s.Start) >= cfg.StoodS {
					out = append(out, s)
				}
				begun = -1
			}
		}
	}
	return out
}

// wasDriven says whether the robot was driven for more than half of an interval.
func wasDriven(drive *series.Float, during series.Interval, cfg Config) bool {
	if drive == nil {
		return false
	}
	n, on := 0, 0
	for _, v := range drive.Between(during.Start, during.End).V {
		n++
		if math.Abs(v) >= cfg.Driven {
			on++
		}
	}
	return 2*on > n
}

// backings counts how often the robot, nearer by then, moved off by least metres from where it
// stood at to, and says when it did first.
func (p *places) backings(from, to int64, least float64) (first int64, n int) {
	x, y, ok := p.track.at(to)
	if !ok || !p.seen(from, to) {
		return 0, 0
	}
	nearest, farthest, away := math.Inf(1), 0.0, false
	for i, t := range p.track.t {
		if t < from || t > to {
			continue
		}
		d := math.Hypot(p.track.x[i]-x, p.track.y[i]-y)
		switch {
		case !away && d > nearest+least:
			if n == 0 {
				first = t
			}
			n, away, farthest = n+1, true, d
		case away && d < farthest-least:
			away, nearest = false, d
		}
		nearest, farthest = math.Min(nearest, d), math.Max(farthest, d)
	}
	return first, n
}
