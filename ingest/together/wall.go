package together

import "time"

// Wall is when a recording began by the wall clock.
type Wall struct {
	FirstUS int64  // microseconds since 1970 of its first sample
	BoundUS int64  // right to within this
	How     string // what told it, in words; empty where nothing did
	// Rough is a time that belongs to the file and not to the recording, or that somebody gave:
	// it says which recordings may be of one match, and puts none in its place.
	Rough bool
}

// Bounds of what tells the time; chosen by us.
const (
	clockBound  = second     // a computer's own clock, before and behind a restart
	NameBound   = 2 * second // a name given to the second, a moment before the first sample
	MinuteBound = 60 * second
	RoughBound  = 10 * second
)

func (w Wall) known() bool { return w.How != "" }

func (w Wall) rough(o Wall) bool { return w.Rough || o.Rough }

// earliest is before any recording: a computer that lost the time begins in 1970 or 1980.
var earliest = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC).UnixMicro()

// OwnClock is the wall clock of a recording whose own times are microseconds since 1970.
func OwnClock(firstUS int64, now time.Time) (Wall, bool) {
	if firstUS < earliest || firstUS > now.Add(24*time.Hour).UnixMicro() {
		return Wall{}, false
	}
	return Wall{FirstUS: firstUS, BoundUS: clockBound, How: "the wall clock of their own times"}, true
}

// walls is how far the wall clock is from a shift, and what it may be off by.
func walls(first, other Part, shiftUS int64) (apart, bound int64, ok bool) {
	if !first.Wall.known() || !other.Wall.known() {
		return 0, 0, false
	}
	d := wallShift(first, other) - shiftUS
	return max(d, -d), first.Wall.BoundUS + other.Wall.BoundUS, true
}

// wallShift is the shift by the wall clock.
func wallShift(first, other Part) int64 {
	return Begins(first, other, other.Wall.FirstUS-first.Wall.FirstUS)
}

// byWall puts other in its place by the wall clock.
func byWall(first, other Part) (Found, bool) {
	if !first.Wall.known() || !other.Wall.known() {
		return Found{}, false
	}
	f := Found{Verdict: Sure, By: ByWall, Clock: first.Wall.How}
	f.Shift.ShiftUS, f.Shift.BoundUS = wallShift(first, other), first.Wall.BoundUS+other.Wall.BoundUS
	if other.Wall.How != first.Wall.How {
		f.Clock += " and " + other.Wall.How
	}
	if first.Wall.rough(other.Wall) {
		f.Verdict, f.Why = Likely, "only "+f.Clock+" tells it"
	}
	a0, a1, _ := first.Log.Bounds()
	b0, b1, _ := other.Log.Bounds()
	b0, b1 = b0+f.Shift.ShiftUS, b1+f.Shift.ShiftUS
	// One computer began again after it had ended, whatever the clock says: where its bound
	// allows that, the recording begins right behind the other.
	if sameComputer(first, other) {
		switch {
		case b0 > a0 && b0 <= a1 && a1-b0 < f.Shift.BoundUS:
			f.Shift.ShiftUS += a1 + 1 - b0
		case a0 > b0 && a0 <= b1 && b1-a0 < f.Shift.BoundUS:
			f.Shift.ShiftUS -= b1 + 1 - a0
		}
	}
	return f, true
}

// sameComputer is whether both logged mostly the same signals, as one computer does before and
// after a restart.
func sameComputer(first, other Part) bool {
	n := 0
	for _, s := range other.Log.Signals {
		if first.Log.Find(s.Name) != nil {
			n++
		}
	}
	return 2*n >= min(len(first.Log.Signals), len(other.Log.Signals)) && n > 0
}

// Again is whether other looks like the same computer started again: mostly the same signals,
// of which nothing puts both in their places.
func Again(first, other Part) bool { return sameComputer(first, other) }
