// Package mended follows what went wrong in an earlier match: has it happened again, and if
// not, how much does that say? A jam in one pass of twenty stays away for nine passes more
// often than not, with nothing mended; a crew that takes that for proof carries the fault
// into the next match.
//
// So what was counted before gives the rate at which it happens, as well as it is known, and
// the rate gives the probability of seeing nothing for as long as nothing was seen since.
// Under 1 in 20 chance is no good explanation any more. That something else is, such as a
// new belt, the numbers do not say.
//
// What looks alike: a trouble that began lately has a long clean past, which must not thin
// its rate; see Config.Began. A match in which nothing could be looked at, or the thing was
// never tried, is no match without it.
package mended

import "math"

// Match is one match as it counts for one thing that can go wrong.
type Match struct {
	Looked bool    // the log could tell
	Trials float64 // how often, or how many minutes, it could have happened
	Events int     // how often it did
}

// Config is what Follow decides by; both chosen by us after the usual 1 in 20.
type Config struct {
	Convincing float64 // probability under which chance is no explanation
	Began      float64 // and under which matches before the first event are another robot's
}

// DefaultConfig is what every match is followed with.
func DefaultConfig() Config { return Config{Convincing: 0.05, Began: 0.05} }

// State is how it stands.
type State int

// What Follow can say.
const (
	Nothing    State = iota // there is nothing to follow, or nothing any more
	Open                    // not seen since, and chance alone explains that
	Convincing              // today chance alone stopped explaining it
	Again                   // it happened again today, after matches without it
)

// Fact is what can be said of one thing today.
type Fact struct {
	State       State
	Last        int // index of the last match in which it happened
	First       int // of the first that counts
	Before      Rate
	Since       []int   // indices of the matches looked at since; today's is len(past)
	TrialsSince float64 // in them
	EventsToday int
	Chance      float64 // of none since, if nothing had changed
}

// Follow says how it stands after the match today. Past is in order of time.
func Follow(past []Match, today Match, inTime bool, cfg Config) Fact {
	f := Fact{Last: -1, Chance: math.NaN(), EventsToday: today.Events}
	for i, m := range past {
		if m.Looked && m.Events > 0 {
			f.Last = i
		}
	}
	if f.Last < 0 {
		return f
	}
	f.Before, f.First = before(past[:f.Last+1], inTime, cfg)
	known := 0.0 // trials since that the sheet before this one knew of
	for i, m := range past[f.Last+1:] {
		if m.Looked && m.Trials > 0 {
			f.Since, known = append(f.Since, f.Last+1+i), known+m.Trials
		}
	}
	f.TrialsSince = known
	if today.Looked && today.Trials > 0 {
		f.Since, f.TrialsSince = append(f.Since, len(past)), known+today.Trials
	}
	f.Chance = f.Before.NoneIn(f.TrialsSince)
	switch {
	case f.Before.NoneIn(known) < cfg.Convincing:
		f.State = Nothing // was said then
	case today.Looked && today.Events > 0 && known > 0:
		f.State = Again
	case today.Looked && today.Events > 0:
		f.State = Nothing // it goes on, and stands among the findings
	case f.Chance < cfg.Convincing:
		f.State = Convincing
	default:
		f.State = Open
	}
	return f
}

// before is what was counted up to the last match in which it happened, and from which match
// on. Where the matches before the first event are clean for longer than the rate since then
// explains, the trouble began with it: they are left out, and so is that event, without which
// nobody would have begun to count.
func before(past []Match, inTime bool, cfg Config) (Rate, int) {
	all, clean := Rate{Time: inTime}, 0.0
	began := -1
	for i, m := range past {
		if !m.Looked {
			continue
		}
		if m.Events > 0 && began < 0 {
			began, clean = i, all.Trials
		}
		all.Events, all.Trials = all.Events+m.Events, all.Trials+max(m.Trials, least(m, inTime))
	}
	late := Rate{Events: all.Events - 1, Trials: all.Trials - clean, Time: inTime}
	if late.Events > 0 && late.NoneIn(clean) < cfg.Began {
		return late, began
	}
	return all, 0
}

// least is how many trials there were at least.
func least(m Match, inTime bool) float64 {
	if inTime {
		return 0
	}
	return float64(m.Events)
}
