package sim

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// route names the pickup zone the robot was in when the last of the pieces that ended a cycle came
// in, and the goal it was in when that left it, by its true place.
func (v view) route(c *schemas.Cycle, ids []int) {
	taken, _ := v.life(ids)
	if at, ok := v.trackedAt(taken); ok && taken >= c.StartS {
		c.Pickup = zoneOf(v.world.field.pickups, v.world.track[at])
	}
	if let, ok := v.lastLet(ids); ok {
		if at, ok := v.trackedAt(v.world.begin + let.at); ok {
			c.Goal = zoneOf(v.world.field.goals, v.world.track[at])
		}
	}
}

func zoneOf(places []place, p schemas.TrackedAt) string {
	for _, z := range places {
		if z.holds(p) {
			return z.name
		}
	}
	return ""
}

// trackedAt is the index of the first point of the track at or after a time, s robot clock.
func (v view) trackedAt(t float64) (int, bool) {
	i, _ := slices.BinarySearchFunc(v.world.track, t, func(p schemas.TrackedAt, t float64) int {
		switch {
		case p.AtS < t:
			return -1
		case p.AtS > t:
			return 1
		}
		return 0
	})
	return i, i < len(v.world.track)
}

// lastLet is the last of these pieces to leave the robot.
func (v view) lastLet(ids []int) (out letGo, ok bool) {
	for _, l := range v.world.field.let {
		if slices.Contains(ids, l.id) {
			out, ok = l, true
		}
	}
	return out, ok
}

// align says how the robot lined up for the piece that ended a cycle, by its true distance from
// where it would place: how far off it was when the piece left, since its last entry into the goal
// how long it took until it was near enough to stay, and who steered it. The rest is open. nil
// where the camera's distance is not in the log.
func (v view) align(c *schemas.Cycle, ids []int) *schemas.Align {
	if v.world.recorder.clean("vision/error") == nil {
		return nil
	}
	let, ok := v.lastLet(ids)
	if !ok {
		return nil
	}
	at, ok := v.trackedAt(v.world.begin + let.at)
	if !ok {
		return nil
	}
	off := v.world.offAim
	assisted := let.assist
	out := &schemas.Align{PlacedM: schemas.Some(off[at]), Assisted: &assisted}
	if c.Phases.PlaceS == nil || off[at] > goodM {
		return out
	}
	since := at
	for since > 0 && off[since-1] <= goodM {
		since--
	}
	if took := v.world.track[since].AtS - (c.EndS - *c.Phases.PlaceS); took >= 0 {
		out.AlignS = &took
	}
	return out
}

// placing is whether lining up took less time when the robot steered itself, by the medians of a
// match with at least three approaches of each kind; nil with fewer.
func (v view) placing() *schemas.Placing {
	var assisted, byHand []float64
	for _, c := range v.report.Cycles {
		switch {
		case c.Align == nil || c.Align.AlignS == nil || c.Period != schemas.PeriodDriver:
		case *c.Align.Assisted:
			assisted = append(assisted, *c.Align.AlignS)
		default:
			byHand = append(byHand, *c.Align.AlignS)
		}
	}
	const least = 3
	if len(assisted) < least || len(byHand) < least {
		return nil
	}
	middle := func(all []float64) float64 {
		slices.Sort(all)
		return (all[(len(all)-1)/2] + all[len(all)/2]) / 2
	}
	difference := middle(assisted) - middle(byHand)
	out := &schemas.Placing{Assisted: len(assisted), HandDriven: len(byHand), DifferenceS: &difference, Quicker: schemas.QuickerByHand}
	if difference < 0 {
		out.Quicker = schemas.QuickerAssisted
	}
	return out
}
