package sim

import (
	"cmp"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// When a cycle is slow. The world wrote down each moment it kept the robot from its job
// (losses.go). What a cycle cost is the sum of its moments, less the median of that sum
// over this match's trips, as what happens every time is usual. The usual cycle is the
// median of the trips without what they cost beyond that.
//
// A complete cycle is slow when what it cost and what it took longer than the usual are both
// at least a third of the usual and 3 s, and it lasted longer than any cycle of the match to
// which nothing happened. It is not when it took less than a fifth longer, or less than a third
// and 3 s and cost less than a fifth. Between the two, and where the definition leaves it open, it
// is in neither set (Match.Unsure):
//
//   - in the autonomous period, or with under six trips in the driver period, and it cost time:
//     there is no usual to speak of;
//   - as many trips cost less as cost more, of all or of the others of this match, and it is slow
//     by the one of the two in the middle and not by the other: the median is anywhere between.
//     The others count besides because a trip must not make its own trouble usual;
//   - it cost time and has a hand-over in it: it is long for a good reason besides;
//   - not longer than a cycle to which nothing happened: chance explains it;
//   - a third of what it would have lasted was lost, and it took no longer than the usual, as its
//     way was shorter: it depends on what it is held against;
//   - as much longer as a slow one, whatever it cost: a driver who dawdles is slow too where that is
//     rare, and the world writes down no dawdling, nor what came of a trouble (it lines up again
//     from a worse place);
//   - 2 s and a fifth longer, and with a jam or a push in it that cost nothing the world could measure;
//   - the robot was disabled for a second and more of it, and the log does not say so.
//
// With under six complete cycles nothing is slow. The reason is the jam when half of what was
// lost was lost to the piece since a jam began, else the phase in which half of it was lost, else
// open (nil): so too after a piece that did not count, for which no phase is to blame, and when
// another reason cost nearly as much. What another robot or the driver cost while a piece was
// stuck is theirs: nothing waited for the piece. It is open too where a piece was stuck while half
// of the time was lost to something else: either alone would have cost as much.
const (
	slowShare  = 1.0 / 3
	mildShare  = 1.0 / 5
	slowLeastS = 3.0
	slowCycles = 6
	troubleS   = 1.0
	nearlyAs   = 0.8
)

// costs is what kept the robot in one cycle, s.
type costs struct {
	all, jam, noPhase                   float64
	meanwhile                           float64 // of all, while a piece was stuck
	ofReturn, ofCollect, ofCarry, place float64
	pushed, jammed                      bool // something happened, cost or not
}

// slow marks the slow cycles and returns the indices of those it leaves open.
func (v view) slow() (unsure []int) {
	all := v.report.Cycles
	cost, trips, complete := make([]costs, len(all)), []int{}, 0
	for i := range all {
		cost[i] = v.costsOf(&all[i])
		if all[i].Complete && all[i].Kind == "score" {
			complete++
			if v.isTrip(&all[i]) && all[i].Period == schemas.PeriodDriver && !v.hasHandover(&all[i]) {
				trips = append(trips, i)
			}
		}
	}
	if complete < slowCycles || len(trips) == 0 {
		return nil
	}
	least, most := middleOver(trips, func(i int) float64 { return cost[i].all })
	extra := func(i int) float64 { return max(0, cost[i].all-(least+most)/2) }
	usual := medianOver(trips, func(i int) float64 { return all[i].DurationS - extra(i) })
	few := len(trips) < slowCycles
	slowS, mild := max(slowLeastS, slowShare*usual), mildShare*usual
	troubled := func(i int) bool { // as long as a slow one, by more than its trouble was measured to last
		return cost[i].all-least >= troubleS && all[i].DurationS-usual >= slowS
	}
	longest := 0.0 // of those to which nothing happened
	for _, i := range trips {
		if extra(i) < mild && !cost[i].pushed && !cost[i].jammed && !troubled(i) {
			longest = max(longest, all[i].DurationS)
		}
	}
	for i := range all {
		c := &all[i]
		if !c.Complete || c.Kind != "score" {
			continue
		}
		low, high := middleFor(i, trips, func(k int) float64 { return cost[k].all })
		longer := c.DurationS - usual
		lost := min(cost[i].all-high, longer) // surely
		might := min(cost[i].all-low, longer)
		disabled := len(v.world.recorder.modes) == 0 && v.world.disabledS(c.StartS-v.world.begin, c.EndS-v.world.begin) >= troubleS
		open := c.Period != schemas.PeriodDriver || few || v.hasHandover(c) || c.DurationS <= longest || disabled
		happened := (cost[i].pushed || cost[i].jammed) && !v.hasHandover(c) && longer >= 2
		short := cost[i].all-low >= max(slowLeastS, slowShare*(c.DurationS-cost[i].all+low))
		switch {
		case lost >= slowS && !open:
			c.Slow, c.Why = true, cost[i].why()
		case longer >= slowS, disabled && longer >= mild, might >= mild, few && cost[i].all >= mild, happened && longer >= mild, short:
			unsure = append(unsure, i)
		}
	}
	return unsure
}

// isTrip says whether the robot went for the piece: not one of several that were in the path
// together and scored one after the other.
func (v view) isTrip(c *schemas.Cycle) bool {
	for _, at := range v.world.track {
		if c.StartS <= at.AtS && at.AtS <= c.EndS && !inSome(v.world.field.goals, at) {
			return true
		}
	}
	return false
}

func (v view) hasHandover(c *schemas.Cycle) bool {
	return slices.ContainsFunc(v.world.field.gifts, func(at float64) bool {
		return c.StartS < v.world.begin+at && v.world.begin+at <= c.EndS
	})
}

func medianOver(which []int, of func(int) float64) float64 {
	low, high := middleOver(which, of)
	return (low + high) / 2
}

// middleOver are the two values in the middle, which are one for an odd number.
func middleOver(which []int, of func(int) float64) (low, high float64) {
	var all []float64
	for _, i := range which {
		all = append(all, of(i))
	}
	slices.Sort(all)
	return all[(len(all)-1)/2], all[len(all)/2]
}

// middleFor are the two between which the middle of all trips lies, and that of all but i.
func middleFor(i int, trips []int, of func(int) float64) (low, high float64) {
	low, high = middleOver(trips, of)
	if others := slices.DeleteFunc(slices.Clone(trips), func(k int) bool { return k == i }); len(others) > 0 {
		a, b := middleOver(others, of)
		low, high = min(low, a), max(high, b)
	}
	return low, high
}

// costsOf adds up what the world wrote down during a cycle.
func (v view) costsOf(c *schemas.Cycle) costs {
	var out costs
	jammed := func(t float64) bool {
		return slices.ContainsFunc(v.report.Jams, func(j schemas.Jam) bool { return j.StartS <= t && t < j.EndS })
	}
	out.jammed = slices.ContainsFunc(v.report.Jams, func(j schemas.Jam) bool { return j.StartS < c.EndS && j.EndS > c.StartS })
	for _, l := range v.world.losses {
		t := v.world.begin + l.at
		if t < c.StartS || t >= c.EndS {
			continue
		}
		jam := l.cause == lostPiece && v.jamBegan(c, t)
		switch {
		case l.cause == touched || l.cause == elsewhere:
			out.pushed = true
			continue
		case jam:
			out.jam += l.seconds
		case l.cause == lostWasted:
			out.noPhase += l.seconds
		default:
			*out.phase(c, t) += l.seconds
		}
		out.all += l.seconds
		if jammed(t) {
			out.meanwhile += l.seconds
		}
	}
	return out
}

// jamBegan says whether a jam of the cycle was on before t: what begins later costs nothing before.
func (v view) jamBegan(c *schemas.Cycle, t float64) bool {
	return slices.ContainsFunc(v.report.Jams, func(j schemas.Jam) bool { return j.StartS <= t && j.StartS < c.EndS && j.EndS > c.StartS })
}

// phase is the one t lies in.
func (k *costs) phase(c *schemas.Cycle, t float64) *float64 {
	p := c.Phases
	if p.ReturnS != nil && t < c.StartS+*p.ReturnS {
		return &k.ofReturn
	}
	if p.ReturnS != nil && p.CollectS != nil && t < c.StartS+*p.ReturnS+*p.CollectS {
		return &k.ofCollect
	}
	if p.PlaceS != nil && t >= c.EndS-*p.PlaceS {
		return &k.place
	}
	if p.PlaceS != nil && p.CarryS != nil && t >= c.EndS-*p.PlaceS-*p.CarryS {
		return &k.ofCarry
	}
	return &k.noPhase
}

func (k *costs) why() *string {
	type reason struct {
		why     string
		seconds float64
	}
	reasons := []reason{{"jam", k.jam}, {"return", k.ofReturn}, {"collect", k.ofCollect}, {"carry", k.ofCarry}, {"place", k.place}}
	slices.SortStableFunc(reasons, func(a, b reason) int { return cmp.Compare(b.seconds, a.seconds) })
	first := reasons[0]
	if first.seconds < k.all/2 || reasons[1].seconds > nearlyAs*first.seconds || first.why != "jam" && k.meanwhile >= k.all/2 {
		return nil
	}
	return &first.why
}
