// Package analysis turns a log and a robot profile into the report of one match. It is
// pure: samples in, facts out; it opens no file, reads no clock and starts nothing.
//
// Run binds the profile's signals to the log, lets each analysis of All look, and asks
// package findings what a crew should read first. Each analysis is a package of its own
// (path, power, cycles, balance, moves, motors, autonomous, quality) that knows series and no
// profile; the file bind_NAME.go here is the short piece in between. A new detector is a
// package, such a file, and a line in All. What a jam cost (cost), what went before it
// (before) and what else it hangs together with (links) is told once all have looked.
package analysis

import (
	"fmt"
	"strings"

	"github.com/afterbell/afterbell/analysis/explain"
	"github.com/afterbell/afterbell/analysis/findings"
	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/analysis/quality"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// Input is everything a report is made of.
type Input struct {
	Log     *schemas.Log // normalized, cut to the match
	Profile *profile.Profile
	Match   period.Match
	ID      schemas.MatchID
	At      *string // RFC 3339, wall clock of the match's start, when known
	From    schemas.From
	History []*schemas.Report // this robot's earlier matches of the season, in order of time
	// Tell is told how far it is, after each analysis, by the goroutine that analyzes. Nil tells
	// nobody; the report does not depend on it.
	Tell func(done, all int)
}

// Inputs are the matches of a log, in order of time, each with its part of the log: all that
// a report rests on but who the match was, and when. The error is the profile's: a mode
// signal of the wrong type.
func Inputs(p *profile.Profile, log *schemas.Log) ([]Input, error) {
	matches, err := period.Find(p.Mode, log)
	if err != nil {
		return nil, err
	}
	out := make([]Input, len(matches))
	for i, m := range matches {
		out[i] = Input{Log: period.Cut(log, m), Profile: p, Match: m, ID: schemas.MatchID{Robot: p.Robot}}
	}
	return out, nil
}

// Analysis is one way of looking at a match.
type Analysis struct {
	Name    string
	Summary string // what it answers, in a line
	Look    func(*match) outcome
}

// outcome says whether an analysis could look. Missing names the signals it went without;
// Reason is empty when it ran.
type outcome struct {
	Missing []string
	Reason  string
}

// All lists the analyses in the order they run and are reported. Cycles need the passes and
// jams of path and the brownouts of power; quality adds to the faults of sensors that path found.
func All() []Analysis {
	return []Analysis{
		{"path", "passes and jams of game pieces inside the robot", lookAtPath},
		{"power", "brownouts, who drew the current, what the battery is worth", lookAtPower},
		{"cycles", "how long from score to score, and which cycles were slow and why", lookAtCycles},
		{"balance", "attempts to be level on the platform, and how the loop swings", lookAtBalance},
		{"moves", "arms and lifts going to their targets", lookAtMoves},
		{"motors", "what each motor is, how long it stood while driven, how warm it ran", lookAtMotors},
		{"autonomous", "what the autonomous period scored and where it ended", lookAtAutonomous},
		{"quality", "gaps, missing signals, sensors that cannot be believed", lookAtQuality},
	}
}

// match is one match under analysis: the input, what is shared, and the report so far.
type match struct {
	Input
	report     *schemas.Report
	start, end int64 // first and last sample of the log
	explain    bool  // keep what only an explanation needs
	gaps       []series.Interval
	missing    []string // signals the analysis that looks right now went without
	badType    string   // and the first signal of a type it cannot use
	dropOuts   []schemas.Fault
	path       path.Input    // what the path analysis looked at
	why        explain.Input // what the detectors decided on
}

// Run analyzes one match. A log that lacks signals gives a report that says so; the error
// is only for a log without samples.
func Run(in Input) (*schemas.Report, error) {
	m, err := run(in, false)
	if err != nil {
		return nil, err
	}
	return m.report, nil
}

// Explain analyzes one match and lays out the reasoning behind the finding of that id; the
// error is an explain.UnknownError when it has none.
func Explain(in Input, id string) (*schemas.Explanation, error) {
	m, err := run(in, true)
	if err != nil {
		return nil, err
	}
	m.why.Report, m.why.Profile, m.why.Log = m.report, in.Profile, in.Log
	return explain.Of(m.why, id)
}

// run looks at a match; explaining keeps what only an explanation needs.
func run(in Input, explaining bool) (*match, error) {
	start, end, ok := in.Log.Bounds()
	if !ok {
		return nil, fmt.Errorf("the log holds no samples")
	}
	m := &match{
		Input: in, start: start, end: end, explain: explaining,
		gaps:   quality.Silences(in.Log, quality.DefaultConfig()),
		report: &schemas.Report{Report: schemas.ReportVersion, From: in.From, Match: matchOf(in)},
	}
	m.dropOuts = quality.DropOuts(in.Log, m.mapped())
	every := All()
	for i, a := range every {
		m.missing, m.badType = nil, ""
		o := a.Look(m)
		o.Missing = append(m.missing, o.Missing...)
		if m.badType != "" && o.Reason != "" {
			o.Reason = m.badType
		} else if m.badType != "" {
			m.report.Quality.Notes = append(m.report.Quality.Notes, m.badType)
		}
		m.report.Analyses = append(m.report.Analyses, schemas.Analysis{
			Name: a.Name, Ran: o.Reason == "", Missing: o.Missing, Reason: o.Reason,
		})
		if in.Tell != nil {
			in.Tell(i+1, len(every))
		}
	}
	tellJams(m)
	tellBalances(m)
	m.report.Quality.Notes = append(m.report.Quality.Notes, in.Match.Notes...)
	m.report.Unknowns = unknowns(m)
	m.report.Findings, m.report.Verdict = findings.Build(findings.Input{
		Report: m.report, Profile: in.Profile,
		LogEnd: schemas.Seconds(end), Unworked: m.unworked(),
	})
	tellMended(m)
	m.report.Finish()
	return m, nil
}

func matchOf(in Input) schemas.Match {
	out := schemas.Match{
		Season: in.ID.Season, Event: in.ID.Event, Match: in.ID.Match, Robot: in.ID.Robot, At: in.At,
		StartS: schemas.Seconds(in.Match.Start), EndS: schemas.Seconds(in.Match.End),
		Periods: periodsOf(in.Match.Periods),
		Game:    schemas.Game{Piece: "piece", Pieces: "pieces", Platform: "platform"},
	}
	if g := in.Profile.Game; g != nil {
		out.Game = schemas.Game{
			Name: g.Name, AutonomousS: g.AutonomousS, DriverS: g.DriverS, EndgameS: g.EndgameS,
			Piece: g.Words.Piece, Pieces: g.Words.Pieces, Platform: g.Words.Platform,
		}
	}
	return out
}

func periodsOf(spans []period.Span) []schemas.Period {
	out := make([]schemas.Period, len(spans))
	for i, s := range spans {
		out[i] = schemas.Period{Name: s.Mode, StartS: schemas.Seconds(s.Start), EndS: schemas.Seconds(s.End)}
	}
	return out
}

// off is the outcome of an analysis whose section the profile lacks.
func off(section string) outcome {
	return outcome{Reason: fmt.Sprintf("the profile has no %s section", section)}
}

// without is the outcome of an analysis that cannot look for want of a signal.
func (m *match) without(what string) outcome {
	if len(m.missing) > 0 {
		return outcome{Reason: fmt.Sprintf("%s: the log has no %s", what, strings.Join(m.missing, ", "))}
	}
	return outcome{Reason: what + ": the profile names no signal for it"}
}
