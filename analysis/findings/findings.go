// Package findings turns what the analyses measured into what a crew reads first: a short
// list, worst first, each with what happened, why it is believed, the numbers that carry
// it, what to check and the caution that belongs before the check.
//
// It measures nothing. Each file here covers one kind of trouble and reads top to bottom:
// when is it worth a line, how bad is it, what did it cost, what should hands do. Times in
// sentences are match time, 0 at the start of the match; times in numbers are log time.
package findings

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Input is a report with its facts filled in, and the profile they were measured by.
type Input struct {
	Report  *schemas.Report
	Profile *profile.Profile
	LogEnd  float64 // the last sample of the log, s of log time

	// Unworked is the battery's voltage at no load before any work, by its load line; nil where
	// that is not known.
	Unworked *Unworked
}

// Unworked is a voltage, V, with its 95 % interval.
type Unworked struct{ Volts, Low, High float64 }

// Build lists the findings, worst first, and the verdict that heads the sheet.
func Build(in Input) ([]schemas.Finding, schemas.Verdict) {
	var all []drafted
	for _, kind := range []func(Input) []drafted{
		jams, suspectedJams, brownouts, battery, uncharged, standbyDraws, balances, slowCycles, moves, motors, sensors, neverCounted, gaps, auto,
	} {
		all = append(all, kind(in)...)
	}
	tellTies(in, all)
	slices.SortStableFunc(all, func(a, b drafted) int {
		return cmp.Or(
			cmp.Compare(schemas.SeverityRank(a.Severity), schemas.SeverityRank(b.Severity)),
			cmp.Compare(costOf(b.Finding), costOf(a.Finding)),
			cmp.Compare(a.StartS, b.StartS),
			strings.Compare(a.ID, b.ID),
		)
	})
	out := make([]schemas.Finding, len(all))
	for i, d := range all {
		out[i] = d.Finding
	}
	return out, verdict(in, all)
}

// drafted is a finding with the words the verdict would use for it.
type drafted struct {
	schemas.Finding
	clause string // "a piece is still stuck in the lift": fits after "and"
	aside  string // a short sentence for the line below the verdict; may be empty
}

func costOf(f schemas.Finding) float64 {
	if f.CostS == nil {
		return 0
	}
	return *f.CostS
}

// Cautions, shown above every check that sends hands to a mechanism or a battery.
const (
	cautionHands = "Before hands go in: robot disabled, main breaker off, stored energy released, eye protection."
	cautionLead  = "Battery: sealed lead-acid. Never use a damaged case, never short the terminals. " +
		"The event's and the maker's rules and a qualified adult decide."
	cautionLugs  = "Lugs: main breaker off, rings and watches off, insulated tools; a loose one may be hot enough to burn."
	cautionGains = "Gains: start low, on blocks, a hand at the disable switch."
	// New gains are the event's and the safety lead's business before they are ours.
	cautionNewGains = "New gains on a platform: by the event's rules only, at low speed first, all stand clear of the platform, and one person does nothing but hold the disable switch."
	cautionTip      = "Platform: it tips and pinches. Nobody on or under it while the robot is enabled."
)

// verdict is made of the worst findings: the two worst of stop and fix in one sentence, or
// the worst thing to watch, or the plain statement of how much was looked at.
func verdict(in Input, all []drafted) schemas.Verdict {
	if len(all) == 0 {
		return nothingFound(in.Report)
	}
	worst := all[0]
	v := schemas.Verdict{Severity: worst.Severity, Text: upperFirst(worst.clause)}
	told := 1
	if len(all) > 1 && all[1].Severity != schemas.SeverityWatch {
		v.Text += ", and " + all[1].clause
		told = 2
	}
	v.Text += "."
	var rest []string
	for i, d := range all {
		if d.aside != "" && (i >= told || d.Kind == "jam") && len(rest) < 2 && d.Severity != schemas.SeverityWatch {
			rest = append(rest, d.aside)
		}
	}
	if watch := countOf(all, schemas.SeverityWatch); watch > 0 && worst.Severity != schemas.SeverityWatch {
		rest = append(rest, upperFirst(numberWord(watch))+" more to watch.")
	}
	if len(all) == 1 {
		rest = append(rest, "Nothing else found.")
	}
	v.Detail = strings.Join(append(rest, lookedAt(in.Report, false)), " ")
	v.Detail = strings.TrimSpace(v.Detail)
	return v
}

func countOf(all []drafted, severity string) int {
	n := 0
	for _, d := range all {
		if d.Severity == severity {
			n++
		}
	}
	return n
}

func nothingFound(r *schemas.Report) schemas.Verdict {
	ran := 0
	for _, a := range r.Analyses {
		if a.Ran {
			ran++
		}
	}
	return schemas.Verdict{
		Severity: schemas.SeverityNone,
		Text:     fmt.Sprintf("Nothing found by %d of %d analyses.", ran, len(r.Analyses)),
		Detail:   lookedAt(r, true),
	}
}

// lookedAt says which analyses had nothing to look at, and, when all is asked for, which had.
func lookedAt(r *schemas.Report, all bool) string {
	var did, not []string
	for _, a := range r.Analyses {
		if a.Ran {
			did = append(did, a.Name)
		} else {
			not = append(not, a.Name)
		}
	}
	var out []string
	if all && len(did) > 0 {
		out = append(out, "Looked at: "+strings.Join(did, ", ")+".")
	}
	if len(not) > 0 {
		out = append(out, "Not looked at, for want of signals: "+strings.Join(not, ", ")+".")
	}
	if all {
		out = append(out, "This does not say that the robot is fit.")
	}
	return strings.Join(out, " ")
}

// at is a log time as match time for a sentence: "52.6 s".
func (in Input) at(logS float64) string {
	return fmt.Sprintf("%.1f s", clean(logS-in.Report.Match.StartS))
}

// bell is the end of the match, or of the log when that comes first.
func (in Input) bell() float64 { return math.Min(in.Report.Match.EndS, in.LogEnd) }

// signal is the name behind a reference of the profile, empty when it has none.
func signal(r *profile.Ref) string {
	if r == nil {
		return ""
	}
	return r.Signal
}

func number(name string, v float64, unit string) schemas.Number {
	return schemas.Number{Name: name, Value: schemas.Some(v), Unit: unit}
}

func evidence(signal string, start, end float64, note string) []schemas.Evidence {
	if signal == "" {
		return nil
	}
	return []schemas.Evidence{{Signal: signal, StartS: start, EndS: end, Note: note}}
}
