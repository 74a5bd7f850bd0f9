package clock

import "math"

const (
	// MaxDrift is the most that a clock runs fast or slow, in parts per million: 500, the
	// frequency tolerance RFC 5905 steers within (appendix A.1, MAXFREQ). Crystals keep
	// within 100 (common practice).
	MaxDrift = 500.

	// Wander is how far a clock's rate may be from today's within the time that is
	// remembered, in parts per million. The crystal of a board that warms by ten kelvin
	// moves by about that (common practice: tens of parts per million over all
	// temperatures, far less near room temperature). Chosen by us.
	Wander = 1.

	// Phi is what no steady clock's rate changes by, in parts per million: the frequency
	// tolerance of RFC 5905, section 7.2 (PHI). What contradicts even that is a step.
	Phi = 15.

	// windowMinutes is how long limits are remembered: a match, and what goes before it.
	// Chosen by us.
	windowMinutes = 10
)

// grain is how early a stamp may be, in microseconds: time is cut to whole ones.
const grain = 1

// Track takes in what is learned of one clock, in order, and remembers what of it still limits
// the lines that fit: at most 256 stamps. The zero value knows nothing and is ready. It is not
// safe for use by several goroutines, and must not be copied once something was added.
//
// All collector times must come from one clock that is never set.
type Track struct {
	upper, lower side
	exchanges    int
	minDelay     float64
	breaks       int

	// Made of the above by refit, for lines about the reference.
	reference    stamp
	lines        region
	above, below []point // room to work in
	spare        []stamp
}

// Add takes in an exchange: offset(T0) <= T1-T0 and offset(T3) >= T2-T3. An unsound one is
// passed over. One that no line of the region fits is a step of the clock: everything older is
// dropped.
func (t *Track) Add(e Exchange) {
	if !e.Sound() {
		return
	}
	t.take(e)
	if !t.refit(Wander) && !(t.refit(Phi) && t.shorten()) {
		t.upper.stamps, t.lower.stamps = t.upper.stamps[:0], t.lower.stamps[:0]
		t.exchanges = 0
		t.breaks++
		t.take(e)
		t.refit(Wander)
	}
	if t.forget() { // only now: what is old may still have shown a step
		t.refit(Wander)
	}
}

// take puts an exchange's two limits to the others.
func (t *Track) take(e Exchange) {
	t.upper.add(stamp{robot: e.T0, collector: e.T1}, fromAbove)
	t.lower.add(stamp{robot: e.T3, collector: e.T2}, fromBelow)
	if t.exchanges == 0 || e.Delay() < t.minDelay {
		t.minDelay = e.Delay()
	}
	t.exchanges++
}

// forget drops what is older than the window and says whether something was. Age is by the
// collector's clock, because a robot's may be set, and counts from the newest exchange: however
// long none came, what the last ones said stays better than any sample that was late.
func (t *Track) forget() bool {
	newest := t.upper.newest()
	if !t.oneSided() {
		newest = t.lower.newest()
	}
	above := t.upper.dropBefore(newest - windowMinutes)
	below := t.lower.dropBefore(newest - windowMinutes)
	return above || below
}

// shorten forgets the oldest minutes until there is a line that fits the rest: the clock
// wandered by more than it usually does. It is false when that leaves nothing of a side.
func (t *Track) shorten() bool {
	for !t.refit(Wander) {
		next := min(t.upper.oldest(), t.lower.oldest()) + 1
		t.upper.dropBefore(next)
		t.lower.dropBefore(next)
		if len(t.upper.stamps) == 0 || len(t.lower.stamps) == 0 {
			return false
		}
	}
	return true
}

// Arrived takes in that a sample of robot time robotUS was here at collectorUS:
// offset(robotUS) <= collectorUS-robotUS. One that contradicts the exchanges, as a sample
// stamped in the future does, is passed over: if the clock stepped, the next exchange tells,
// and one bad sample must not undo what exchanges have shown. The newest sample of each message
// is enough.
func (t *Track) Arrived(robotUS, collectorUS int64) {
	t.spare = append(t.spare[:0], t.upper.stamps...)
	t.upper.add(stamp{robot: robotUS, collector: collectorUS}, fromAbove)
	if t.oneSided() {
		t.forget()
	}
	if t.refit(Wander) {
		return
	}
	t.upper.stamps, t.spare = t.spare, t.upper.stamps
	t.refit(Wander)
}

// refit makes the region of lines about the reference, of limits that give way by microseconds
// per second from it. It is false when there is no such line.
func (t *Track) refit(wander float64) bool {
	t.reference = t.newest()
	if t.oneSided() {
		return true
	}
	t.above = hull(t.points(t.above[:0], wander, grain))
	t.below = hull(t.turnedPoints(t.below[:0], wander, grain))
	return t.lines.fit(t.above, t.below)
}

func (t *Track) oneSided() bool { return len(t.lower.stamps) == 0 }

// newest is the last stamp that tells most: the end of the last exchange, or, without any, the
// last sample. About an end that only arrivals reach, limits that lie close together but far
// back would give way one by one, as no clock does.
func (t *Track) newest() stamp {
	side := t.lower.stamps
	if t.oneSided() {
		side = t.upper.stamps
	}
	return side[len(side)-1]
}

// points is the upper side about the reference, given way by wander and grain.
func (t *Track) points(into []point, wander, grain float64) []point {
	for _, p := range t.upper.stamps {
		u, y := t.about(p)
		into = append(into, point{u, y + grain + wander*math.Abs(u)})
	}
	return into
}

// turnedPoints is the lower side likewise, turned by half a turn.
func (t *Track) turnedPoints(into []point, wander, grain float64) []point {
	for i := len(t.lower.stamps) - 1; i >= 0; i-- {
		u, y := t.about(t.lower.stamps[i])
		into = append(into, point{-u, -(y - grain - wander*math.Abs(u))})
	}
	return into
}

// about is a stamp's robot time in seconds after the reference and its offset less the reference's, in microseconds. Differences come first, so that no digit is
// lost to times that are long since some epoch.
func (t *Track) about(p stamp) (u, y float64) {
	later := since(p.robot, t.reference.robot)
	return later / 1e6, since(p.collector, t.reference.collector) - later
}

// base is the offset of the reference, in microseconds.
func (t *Track) base() float64 { return since(t.reference.collector, t.reference.robot) }

// Fit is what is known of the clock: false before anything is.
func (t *Track) Fit() (Fit, bool) {
	if len(t.upper.stamps) == 0 {
		return Fit{}, false
	}
	f := Fit{At: t.reference.robot, OneSided: t.oneSided(), Exchanges: t.exchanges, MinDelay: t.minDelay, Breaks: t.breaks}
	if f.OneSided {
		envelope := t.envelope()
		f.Offset, f.Bound = t.base()+envelope.offset, math.Inf(1)
		f.DriftPPM, f.DriftBound = envelope.drift, math.Inf(1)
		return f, true
	}
	f.Offset, f.Bound = t.BoundAt(t.reference.robot)
	f.DriftPPM, f.DriftBound = t.lines.drift()
	return f, true
}

// BoundAt is where the offset (collector less robot, microseconds) lies at a robot time: the
// middle of all lines that fit and half their width, more by Wander for each second from the
// reference. With arrivals only the offset is that of the envelope and the bound +Inf; with
// nothing known, 0 and +Inf.
func (t *Track) BoundAt(robotUS int64) (offset, bound float64) {
	if len(t.upper.stamps) == 0 {
		return 0, math.Inf(1)
	}
	u := since(robotUS, t.reference.robot) / 1e6
	if t.oneSided() {
		envelope := t.envelope()
		return t.base() + (envelope.offset + envelope.drift*u), math.Inf(1)
	}
	low, high := t.lines.at(u)
	return t.base() + (low+high)/2, (high-low)/2 + Wander*math.Abs(u)
}

// shortest is how long arrivals must be watched before they tell a drift, in seconds. Chosen by
// us: in less, a millisecond of queueing looks like more than a crystal's drift.
const shortest = 30

// envelope is the line nearest under all arrivals, by the middle of the time they were watched
// for, which is their mean time when they came evenly. The collector's clock says when that
// was: a single sample with a false time must not move it. It is an estimate without a bound,
// so that limits need not give way.
func (t *Track) envelope() line {
	oldest, newest := t.upper.stamps[0].collector, t.upper.stamps[0].collector
	for _, p := range t.upper.stamps {
		oldest, newest = min(oldest, p.collector), max(newest, p.collector)
	}
	watched := since(newest, oldest) / 1e6
	under := hull(t.points(t.above[:0], 0, 0))
	if watched < shortest {
		return level(under)
	}
	return underline(under, -watched/2)
}
