package cycles

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// routeOf names the pickup zone the piece was taken in and the goal zone it was scored from, and
// gives the straight metres of the trip: from the goal to the piece and back.
func (c *cycle) routeOf(in Input, p *places) {
	if len(p.track.t) == 0 {
		return
	}
	if at, _, ok := c.span(WhyCarry); ok && c.hasPiece {
		c.Pickup = p.zoneAt(in.Zones, profile.UsePickup, at)
	}
	if c.Pickup == "" {
		if at, ok := p.firstPickup(c.own, c.end); ok {
			c.Pickup = p.zoneAt(in.Zones, profile.UsePickup, at)
		}
	}
	if at, ok := p.lastGoal(c.own, c.end); ok {
		c.Goal = p.zoneAt(in.Zones, profile.UseGoal, at)
	}
	if c.legs[legOut].known && c.legs[legBack].known {
		c.WayM = schemas.Some(c.legs[legOut].wayM + c.legs[legBack].wayM)
	}
}

// zoneAt names the zone of a use that the robot is in at t, µs.
func (p *places) zoneAt(zones []profile.Zone, use string, t int64) string {
	x, y, ok := p.track.at(t)
	for _, z := range zones {
		if ok && z.Use == use && contains(z.Corners, x, y) {
			return z.Name
		}
	}
	return ""
}

// ways is what trips between other zones usually take beside the middle one: longer by the metres
// more at the speed the robot reaches. A near and a far goal make two kinds of cycles, each of
// which is usual. Where all trips go between the same zones there is one kind. A trip
// shorter than all others makes no kind, as when a piece was handed in half-way: no
// cycle is slow that took no longer than the robot's usual ones.
type ways struct {
	middleM, topMS, usualS float64
	all                    []float64 // m
}

func waysOf(mine []*cycle, topMS float64) ways {
	var m, s []float64
	routes := map[[2]string]int{}
	for _, c := range mine {
		if c.WayM != nil && c.own == c.start {
			m, s = append(m, *c.WayM), append(s, free(c.Cycle))
			routes[[2]string{c.Pickup, c.Goal}]++
		}
	}
	several := 0
	for _, n := range routes {
		if n > 1 {
			several++
		}
	}
	if several < 2 || !(topMS > 0) {
		return ways{}
	}
	return ways{stat.Median(m), topMS, stat.Median(s), m}
}

// scale is how many times the middle trip one of wayM metres usually takes; 1 where it is not known.
func (w ways) scale(wayM *float64) float64 {
	if wayM == nil || !(w.usualS > 0) {
		return 1
	}
	const least, most = 0.5, 2 // beyond, something else is going on
	if *wayM < w.middleM && w.alike(*wayM) < 2 {
		return 1
	}
	return min(max(1+(*wayM-w.middleM)/w.topMS/w.usualS, least), most)
}

// alike counts the trips whose way was about as long.
func (w ways) alike(wayM float64) int {
	const about = 0.2 // of it; chosen by us
	n := 0
	for _, m := range w.all {
		if math.Abs(m-wayM) <= about*wayM {
			n++
		}
	}
	return n
}
