// Package together tells whether two recordings are of one match, and makes one log of them:
// files of two computers of a robot, or of a robot that started again in mid-match. Importing,
// watching a folder and the pages ask it the same questions and get the same answers.
//
// # How
//
// By how much one clock is behind the other is told by the surest that is there:
//
//   - both recordings know how their clock ran against the same collector's, or are of one
//     power-up: their clocks (clocks.go);
//   - both saw the same changes, or measured the same course: package align. What goes alike in
//     every match, the mode and counters that only count time, puts two recordings in their
//     place but does not say that they are of one match;
//   - both know the wall clock, and nothing was seen by both (wall.go).
//
// Whatever told it, it must fit: where both were running, no signal may have gone another way,
// and under the shift there must be a match that both have a part in.
//
// # What is promised
//
// Sure means that a program may put them together by itself. Anything less is a proposal for a
// person. Two courses of one signal are never laid over each other: what contradicts is refused,
// and what both logged is kept apart under the name of the file it came with (put.go).
package together

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/ingest/align"
	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Part is one recording: a file, or what is stored of a match.
type Part struct {
	Name  string // for sentences and for what is kept apart
	Log   *schemas.Log
	Clock []clock.BootMeta // of its power-ups, by their number; nil where none is known
	Wall  Wall
}

// Verdict is what was found out of two recordings.
type Verdict int

// Verdicts, from no to yes.
const (
	Apart   Verdict = iota // they are not of one match
	Unknown                // nothing tells how their clocks lie to each other
	Likely                 // the shift is known; that they are of one match is not sure
	Sure
)

// Found is what was found out. Shift is set from Likely on.
type Found struct {
	Verdict Verdict
	Shift   align.Shift
	By      By
	Why     string // of every verdict but Sure: what is missing, or speaks against it
	Places  int    // changes that both saw
	// Repeated are samples that both hold to the bit: they are copies of one recording.
	Repeated int
	Clock    string // what told a shift that is not by what both saw, in words
	Gap      int64  // of Apart by the shift: how long nothing ran between them, in microseconds
}

// gap is the time between the end of the one and the beginning of the other; 0 where they overlap.
func (f Found) gap(first, other Part) int64 {
	a0, a1, _ := first.Log.Bounds()
	b0, b1, _ := other.Log.Bounds()
	return max(0, b0+f.Shift.ShiftUS-a1, a0-b1-f.Shift.ShiftUS)
}

// By is what told a shift.
type By int

// From the surest to the weakest.
const (
	ByClock  By = iota + 1 // clock fits against one collector, or the very same clock
	BySight                // what both saw
	ByWall                 // the wall clock
	ByPerson               // somebody said it
)

// Limits; chosen by us.
const (
	second = int64(1e6)
	// leastTelling places of signals that do not go alike in every match.
	leastTelling = 3
	// oneStart is how far apart one robot's matches begin at least: it cannot play two within a
	// minute.
	oneStart = 60 * second
	// longestGap in a match in which no part of it was recording.
	longestGap = 60 * second
	// toldBound is how far a person may be off without being contradicted by what both saw.
	toldBound = second / 2
	// believed is the gap that even a rough time is believed to be there.
	believed = 120 * second
)

// Compare tells whether other is of the match that first is of, and how its clock lies to
// first's. mode is the robot's mode signal, nil where none is known.
func Compare(first, other Part, mode *profile.Mode) Found {
	if f, ok := byClocks(first, other); ok {
		return f.judged(first, other, mode)
	}
	sight := bySight(first, other, mode)
	if sight.Verdict >= Likely {
		return sight.judged(first, other, mode)
	}
	if sight.Verdict == Apart {
		return sight
	}
	if sameComputer(first, other) && whole(first.Log, mode) && whole(other.Log, mode) {
		return Found{Verdict: Apart, Why: "each holds a whole match of its own"}
	}
	f, ok := byWall(first, other)
	if !ok {
		return sight
	}
	if f = f.judged(first, other, mode); f.Verdict == Apart && first.Wall.rough(other.Wall) && f.Gap < believed {
		return sight // a rough time may be wrong by more than it says
	}
	return f
}

// whole is whether a log holds a match from its autonomous period to its end.
func whole(l *schemas.Log, mode *profile.Mode) bool {
	if len(modeOnly(l, mode)) == 0 {
		return false
	}
	matches, err := period.Find(mode, l)
	_, last, _ := l.Bounds()
	return err == nil && slices.ContainsFunc(matches, func(m period.Match) bool {
		n := len(m.Periods)
		return n > 1 && m.Periods[0].Mode == schemas.PeriodAutonomous && m.Periods[n-1].Mode == schemas.PeriodDriver && m.End < last
	})
}

// Told is what becomes of a shift that somebody said.
func Told(first, other Part, shiftUS int64, mode *profile.Mode) Found {
	f := Found{Verdict: Sure, By: ByPerson, Shift: align.Shift{ShiftUS: shiftUS, BoundUS: toldBound}, Clock: "as it was told"}
	return f.judged(first, other, mode)
}

// bySight lines them up by what both saw.
func bySight(first, other Part, mode *profile.Mode) Found {
	s, err := align.Find(first.Log, other.Log)
	if err != nil {
		return Found{Verdict: Unknown, Why: err.Error()}
	}
	f := Found{Verdict: Sure, By: BySight, Shift: s}
	alike := modeSignals(mode)
	seen := s.Seen(first.Log, other.Log, alike)
	if len(seen.Against) > 0 {
		return Found{Verdict: Unknown, Why: fmt.Sprintf("%s would lay them over each other (%s), but %s went another way then", bySignals(s), seconds(s.ShiftUS), listed(seen.Against))}
	}
	if seen.Telling < leastTelling {
		f.Verdict, f.Why = Likely, fmt.Sprintf("only %s tells it, which goes alike in every match", listed(s.Signals))
		if apart, bound, ok := walls(first, other, s.ShiftUS); ok {
			switch {
			case apart <= oneStart+bound:
				f.Verdict, f.Why = Sure, ""
			case !first.Wall.rough(other.Wall):
				return Found{Verdict: Apart, Why: fmt.Sprintf("by the wall clock they are %s apart", seconds(apart))}
			default:
				f.Why += fmt.Sprintf(", and their dates are %s apart", seconds(apart))
			}
		}
	}
	return f
}

func bySignals(s align.Shift) string {
	if s.Matched {
		return fmt.Sprintf("%d changes of %s", s.Changes, listed(s.Signals))
	}
	return "the course of " + listed(s.Signals)
}

// judged holds a shift against what both saw and against what a match is.
func (f Found) judged(first, other Part, mode *profile.Mode) Found {
	if exact, n, ok := f.Shift.Exact(first.Log, other.Log); ok {
		f.Shift, f.Repeated = exact, n
	}
	seen := f.Shift.Seen(first.Log, other.Log, modeSignals(mode))
	f.Places = seen.Places
	switch {
	case len(seen.Against) > 0:
		return Found{Verdict: Apart, Why: fmt.Sprintf("%s went another way in the one than in the other at that time, and two courses are not laid over each other", listed(seen.Against))}
	case !oneMatch(first, other, f.Shift, mode):
		return Found{Verdict: Apart, Gap: f.gap(first, other), Why: fmt.Sprintf("%s begins %s after %s, and no match takes in both", other.Name, seconds(f.BeginsAfter(first, other)), first.Name)}
	case f.By == ByWall && seen.OverlapUS > f.Shift.BoundUS:
		f.Verdict, f.Why = Likely, "the wall clock alone would lay what both logged over each other"
	}
	return f
}

// BeginsAfter is how long after first other begins, in microseconds.
func (f Found) BeginsAfter(first, other Part) int64 {
	a, _, _ := first.Log.Bounds()
	b, _, _ := other.Log.Bounds()
	return f.Shift.ShiftUS + b - a
}

// Begins is the shift under which other begins so long after first.
func Begins(first, other Part, afterUS int64) int64 {
	a, _, _ := first.Log.Bounds()
	b, _, _ := other.Log.Bounds()
	return a + afterUS - b
}

// oneMatch is whether, under the shift, one match has samples of both.
func oneMatch(first, other Part, s align.Shift, mode *profile.Mode) bool {
	moved := s.Apply(other.Log, 0)
	a0, a1, okA := first.Log.Bounds()
	b0, b1, okB := moved.Bounds()
	if !okA || !okB || b0-a1 > longestGap || a0-b1 > longestGap {
		return false
	}
	both := &schemas.Log{Signals: slices.Concat(modeOnly(first.Log, mode), modeOnly(moved, mode))}
	if len(both.Signals) == 0 {
		return true // nothing says what a match is
	}
	whole, err := merged(first.Log, other, s)
	if err != nil {
		return false
	}
	matches, err := period.Find(mode, whole)
	if err != nil {
		return false
	}
	return slices.ContainsFunc(matches, func(m period.Match) bool {
		return runs(first.Log, m.Start, m.End) && runs(moved, m.Start, m.End)
	})
}

// runs is whether the log has a sample in [from, to].
func runs(l *schemas.Log, from, to int64) bool {
	return slices.ContainsFunc(l.Signals, func(s *schemas.Signal) bool {
		return slices.ContainsFunc(s.Time, func(t int64) bool { return from <= t && t <= to })
	})
}

func modeOnly(l *schemas.Log, mode *profile.Mode) (out []*schemas.Signal) {
	for _, name := range modeSignals(mode) {
		if s := l.Find(name); s != nil {
			out = append(out, s)
		}
	}
	return out
}

// modeSignals are the signals that tell the mode.
func modeSignals(mode *profile.Mode) (out []string) {
	if mode == nil {
		return nil
	}
	for _, r := range []*profile.Ref{mode.Signal, mode.Enabled, mode.Autonomous} {
		if r != nil {
			out = append(out, r.Signal)
		}
	}
	return out
}

// Proposal is what was found as a sentence to a person, from Likely on.
func (f Found) Proposal(first, other Part) string {
	after := f.BeginsAfter(first, other)
	where := fmt.Sprintf("%s begins %s after %s", other.Name, seconds(after), first.Name)
	switch {
	case after == 0:
		where = fmt.Sprintf("%s and %s begin at the same time", other.Name, first.Name)
	case after < 0:
		where = fmt.Sprintf("%s begins %s before %s", other.Name, seconds(-after), first.Name)
	}
	if f.Repeated > 0 {
		return fmt.Sprintf("%s, to the microsecond: %d samples are in both", where, f.Repeated)
	}
	bound := boundWords(f.Shift.BoundUS)
	switch {
	case f.By == BySight && f.Shift.Matched:
		return fmt.Sprintf("%s, seen by both in %d places; ±%s", where, max(f.Places, f.Shift.Changes), bound)
	case f.By == BySight:
		return fmt.Sprintf("%s, told by the course of %s; ±%s", where, listed(f.Shift.Signals), bound)
	case f.By == ByPerson:
		return where + ", " + f.Clock
	}
	return fmt.Sprintf("%s, told by %s; ±%s", where, f.Clock, bound)
}

// Line is what was done to other, for the notes of a report.
func (f Found) Line(name string) string {
	how := f.Shift.String()
	switch {
	case f.Repeated > 0:
		how = fmt.Sprintf("shifted by %s: a copy of the same recording, of which %d samples were there already", seconds(f.Shift.ShiftUS), f.Repeated)
	case f.By == ByPerson:
		how = fmt.Sprintf("shifted by %s, %s", seconds(f.Shift.ShiftUS), f.Clock)
	case f.By != BySight:
		how = fmt.Sprintf("shifted by %s ± %s, told by %s", seconds(f.Shift.ShiftUS), boundWords(f.Shift.BoundUS), f.Clock)
	}
	return name + " was " + how
}

// Err says why they were not put together, for a person who asked for it.
func (f Found) Err() error {
	if f.Verdict >= Likely {
		return nil
	}
	return errors.New(f.Why)
}

func seconds(us int64) string { return fmt.Sprintf("%.3f s", schemas.Seconds(us)) }

func boundWords(us int64) string {
	switch {
	case us >= second:
		return fmt.Sprintf("%.1f s", schemas.Seconds(us))
	case us >= 1000:
		return fmt.Sprintf("%.0f ms", float64(us)/1e3)
	}
	return fmt.Sprintf("%.1f ms", float64(us)/1e3)
}

func listed(names []string) string {
	const most = 3
	if len(names) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	return strings.Join(names, " and ")
}
