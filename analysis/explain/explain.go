// Package explain lays out the whole reasoning behind one finding, so that a mentor can
// argue with it: what was seen, the rule it was judged by, the evidence item by item with
// its sum, the other explanations and why they were not taken, and what would change the
// verdict.
//
// It decides nothing. Every figure comes from the report, the profile and log, or what a
// detector returned beside its result; the words say what each of them means.
package explain

import (
	"fmt"
	"math"
	"strings"

	"github.com/afterbell/afterbell/analysis/cycles"
	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/analysis/power"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Input is a report with what its detectors decided on.
type Input struct {
	Report    *schemas.Report
	Profile   *profile.Profile
	Log       *schemas.Log
	Jams      []path.Reason // of each of Report.Jams
	Suspected []path.Reason // of each of Report.SuspectedJams
	Dips      []power.Judged
	Line      *power.LoadLine // nil when the resistance was refused
	Cycles    []cycles.Reason // of each of Report.Cycles
}

// UnknownError is an id that no finding of the match has.
type UnknownError struct {
	ID    string
	Known []string
}

func (e *UnknownError) Error() string {
	if len(e.Known) == 0 {
		return fmt.Sprintf("no finding %q: the match has none", e.ID)
	}
	return fmt.Sprintf("no finding %q: use %s", e.ID, strings.Join(e.Known, ", "))
}

// Of explains the finding of that id; the error is an UnknownError when there is none.
func Of(in Input, id string) (*schemas.Explanation, error) {
	unknown := &UnknownError{ID: id}
	for _, f := range in.Report.Findings {
		unknown.Known = append(unknown.Known, f.ID)
		if f.ID != id {
			continue
		}
		e := &schemas.Explanation{
			Explanation: schemas.ExplanationVersion, Match: in.Report.Match.Match, Robot: in.Report.Match.Robot,
			MatchStartS: in.Report.Match.StartS, Finding: f, Events: in.events(f),
		}
		e.Finish()
		return e, nil
	}
	return nil, unknown
}

// events are the occurrences a finding speaks of.
func (in Input) events(f schemas.Finding) []schemas.Reasoning {
	switch f.Kind {
	case "jam":
		return in.jams(f)
	case "brownout":
		return in.brownouts()
	case "battery":
		return in.battery(f)
	case "slow_cycle":
		return in.slowCycle(f)
	case "balance":
		return in.balance(f)
	case "move":
		return in.moves(f)
	case "motor":
		return in.motors(f)
	case "sensor":
		return in.sensor(f)
	case "autonomous":
		return in.autonomous(f)
	default:
		return in.plain(f)
	}
}

// plain is for what is missing from the log: that it is missing is a fact.
func (in Input) plain(f schemas.Finding) []schemas.Reasoning {
	r := schemas.Reasoning{
		Title: f.Title, StartS: f.StartS, EndS: f.EndS, Observed: []string{f.Because}, Numbers: f.Numbers, Seen: in.seen(f.Evidence),
		Rule: "A stretch of the match in which the busiest signal and all others stopped coming; from one second in all it is told.",
		Alternatives: []schemas.Alternative{{
			What: "the signals are only logged on change", Because: "the busiest signal of the log comes at a steady rate, and it stopped too",
		}},
		Change: []string{"A log of the same match from another source that has samples there."},
	}
	if f.StartS == f.EndS { // not a stretch: the log ends there
		r.Rule = "The log's last sample is of an enabled robot, two seconds or more before the end of the period that the profile's game promises."
		r.Alternatives = []schemas.Alternative{
			{What: "the match was stopped", Because: "then the robot would have been disabled first, and the log would show it"},
			{What: "the log was cut off on its way", Because: "the log cannot tell: compare it with the one on the robot"},
		}
	}
	return []schemas.Reasoning{r}
}

// seen counts the samples of the signals that show an event.
func (in Input) seen(evidence []schemas.Evidence) []schemas.Seen {
	var out []schemas.Seen
	for _, e := range evidence {
		out = append(out, schemas.Seen{Signal: e.Signal, Role: e.Note, StartS: e.StartS, EndS: e.EndS, Samples: in.count(e.Signal, e.StartS, e.EndS)})
	}
	return out
}

// count is how many samples a signal has from one log time to another.
func (in Input) count(name string, from, to float64) int {
	if in.Log == nil {
		return 0
	}
	s := in.Log.Find(name)
	if s == nil {
		return 0
	}
	n := 0
	for _, t := range s.Time {
		if at := schemas.Seconds(t); from <= at && at <= to {
			n++
		}
	}
	return n
}

// at is a log time as match time.
func (in Input) at(logS float64) string {
	return fmt.Sprintf("%.2f s", logS-in.Report.Match.StartS)
}

func number(name string, v *float64, unit string, usual *float64) schemas.Number {
	return schemas.Number{Name: name, Value: v, Unit: unit, Usual: usual}
}

// times is e to the x as a factor.
func times(x float64) string {
	switch f := math.Exp(math.Abs(x)); {
	case f < 10:
		return fmt.Sprintf("%.1f times", f)
	case f < 1e6:
		return fmt.Sprintf("%.0f times", f)
	default:
		return "over a million times"
	}
}

// probability is the chance that log-odds stand for.
func probability(logOdds float64) float64 { return 1 / (1 + math.Exp(-logOdds)) }
