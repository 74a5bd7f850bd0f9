// Package period finds the matches in a log by the mode signal: when each began, which
// periods it had, and which stretch of the log belongs to it.
//
// A match opens at the first autonomous sample (at the first driver sample, when no
// autonomous period leads into it), survives a short disabled pause between its periods
// and ends with its last one. Importers split by it and analyses measure by it, so both
// always mean the same match.
package period

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Limits of a match, in microseconds; by the definition in schemas/README.md.
const (
	second         = int64(1e6)
	pauseAfterAuto = 10 * second // disabled between autonomous and driver that does not end a match
	pauseInDriver  = 5 * second  // disabled behind a driver period that ends it
	silence        = 60 * second // nothing logged at all ends it
	leadIn         = 30 * second // kept of the log before the match
	leadOut        = 10 * second // and after it
)

// Match is one match inside a log. Times are microseconds of log time.
type Match struct {
	Start, End  int64 // first sample of the first period, end of the last
	First, Last int64 // the stretch of the log that is stored with it
	Periods     []Span
	Modes       []Span // everything in that stretch, disabled included
	Notes       []string
}

// Span is one stretch in one mode.
type Span struct {
	Mode       string
	Start, End int64
}

// Find splits the log into matches, in order of time. Without a mode signal the whole log
// is one match with one driver period. A log whose mode never leaves disabled holds no
// match, and then the whole log is taken as well, with a note.
//
// The error is the profile's: a mode signal of the wrong type.
func Find(mode *profile.Mode, log *schemas.Log) ([]Match, error) {
	first, last, ok := log.Bounds()
	if !ok {
		return nil, nil
	}
	changes, err := modeChanges(mode, log, Silences(log, silence))
	if err != nil {
		return nil, err
	}
	if changes == nil {
		note := "no mode signal: the whole log is taken as one driver period"
		return []Match{whole(first, last, schemas.PeriodDriver, note)}, nil
	}
	spans := spansOf(changes, last)
	matches := group(spans)
	if len(matches) == 0 {
		return []Match{whole(first, last, schemas.ModeDisabled, "the robot was never enabled in this log")}, nil
	}
	for i := range matches {
		m := &matches[i]
		m.First, m.Last = max(first, m.Start-leadIn), min(last, m.End+leadOut)
		if i > 0 {
			m.First = max(m.First, matches[i-1].End)
		}
		if i+1 < len(matches) {
			m.Last = min(m.Last, matches[i+1].Start-1)
		}
		m.Modes = clip(spans, m.First, m.Last)
	}
	return matches, nil
}

func whole(first, last int64, mode, note string) Match {
	m := Match{Start: first, End: last, First: first, Last: last, Notes: []string{note}}
	m.Modes = []Span{{mode, first, last}}
	if mode != schemas.ModeDisabled {
		m.Periods = m.Modes
	}
	return m
}

// group puts periods that belong together into matches.
func group(spans []Span) []Match {
	var out []Match
	for _, s := range spans {
		if s.Mode == schemas.ModeDisabled {
			continue
		}
		if n := len(out); n > 0 && continues(&out[n-1], s) {
			m := &out[n-1]
			m.Periods, m.End = append(m.Periods, s), s.End
			continue
		}
		out = append(out, Match{Start: s.Start, End: s.End, Periods: []Span{s}})
	}
	return out
}

// continues tells whether period s still belongs to match m.
func continues(m *Match, s Span) bool {
	last := m.Periods[len(m.Periods)-1]
	pause := s.Start - last.End
	switch {
	case last.Mode == schemas.PeriodAutonomous:
		return pause <= pauseAfterAuto
	case s.Mode == schemas.PeriodAutonomous:
		return false // an autonomous period behind a driver period opens the next match
	default:
		return pause < pauseInDriver
	}
}

// spansOf turns changes of mode into stretches that tile the log from the first change on.
// A stretch ends at the first sample of another mode, or at the last sample of the log.
func spansOf(changes []Span, last int64) []Span {
	out := make([]Span, len(changes))
	for i, c := range changes {
		out[i] = Span{c.Mode, c.Start, last}
		if i > 0 {
			out[i-1].End = c.Start
		}
	}
	return out
}

func clip(spans []Span, first, last int64) []Span {
	var out []Span
	for _, s := range spans {
		s.Start, s.End = max(s.Start, first), min(s.End, last)
		if s.Start < s.End || s.Start == s.End && s.End == last {
			out = append(out, s)
		}
	}
	return out
}
