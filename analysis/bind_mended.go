package analysis

import (
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/findings"
	"github.com/afterbell/afterbell/analysis/mended"
	"github.com/afterbell/afterbell/schemas"
)

// Limits of what is followed. Chosen by us.
const (
	sureEnough   = 0.5 // confidence of a finding that is followed
	cleanMatches = 3   // without a finding that cannot be counted, or without a trial: then no more is said
	oneBrownout  = 10  // s; dips that follow within this are one: they have one cause
	climbedLate  = 1.5 // s; a balance attempt cut off sooner says nothing of the loop
)

// followed is one thing that went wrong in an earlier match.
type followed struct {
	finding schemas.Finding
	last    *schemas.Report // in which it was last found
	place   string
}

// tellMended follows the stop and fix findings of earlier matches. It needs what all
// analyses and findings said of today.
func tellMended(m *match) {
	today := m.report
	for _, f := range worries(m.History) {
		count := counterOf(f)
		if count == nil {
			m.report.Mended = append(m.report.Mended, notCounted(f, m.History, today)...)
			continue
		}
		past := make([]mended.Match, len(m.History))
		for i, r := range m.History {
			past[i] = count.of(r)
		}
		now := count.of(today)
		fact := mended.Follow(past, now, count.unit == "minutes", mended.DefaultConfig())
		silent := (!now.Looked || now.Trials == 0) && len(past)-fact.Last > cleanMatches // comes back when it is tried again
		if fact.State != mended.Nothing && !silent {
			m.report.Mended = append(m.report.Mended, mendedOf(f, count, fact, m.History, today))
		}
	}
}

// worries are the stop and fix findings of earlier matches, each kind and place once, as it
// was last found, the newest first.
func worries(history []*schemas.Report) []followed {
	var out []followed
	seen := map[string]bool{}
	for _, r := range slices.Backward(history) {
		for _, f := range r.Findings {
			worse := f.Severity == schemas.SeverityStop || f.Severity == schemas.SeverityFix
			key := sameThing(f.ID)
			if !worse || f.Confidence < sureEnough || seen[key] {
				continue
			}
			seen[key] = true
			out = append(out, followed{f, r, strings.TrimPrefix(key, f.Kind+"-")})
		}
	}
	return out
}

// sameThing is an id without its number: what is of one kind and place.
func sameThing(id string) string {
	if i := strings.LastIndexByte(id, '-'); i > 0 {
		return id[:i]
	}
	return id
}

// counter counts one thing in a match.
type counter struct {
	what, unit string
	of         func(*schemas.Report) mended.Match
}

// counterOf is how a finding is counted; nil when it cannot be.
func counterOf(f followed) *counter {
	switch f.finding.Kind {
	case "jam":
		for _, s := range f.last.Stages {
			if findings.Slug(s.Stage) == f.place {
				return &counter{"jams in the " + s.Stage, "passes", func(r *schemas.Report) mended.Match { return jamsIn(r, s.Stage) }}
			}
		}
	case "brownout":
		battery := f.last.Battery.ID
		what := "brownouts"
		if battery != "" {
			what = "brownouts with battery " + battery
		}
		return &counter{what, "minutes", func(r *schemas.Report) mended.Match { return brownoutsWith(r, battery) }}
	case "balance":
		platform := f.last.Match.Game.Platform
		return &counter{"attempts on the " + platform + " that did not come level", "attempts", attempts}
	case "move":
		for _, v := range f.last.Moves {
			if findings.Slug(v.Name) == f.place && v.Outcome == "short" {
				return &counter{"moves of the " + v.Name + " that stopped short", "moves", func(r *schemas.Report) mended.Match { return shortMoves(r, v.Name) }}
			}
		}
	}
	return nil
}

func jamsIn(r *schemas.Report, stage string) mended.Match {
	for _, s := range r.Stages {
		if s.Stage == stage && r.Ran("path") {
			return mended.Match{Looked: true, Trials: float64(max(s.Passes, s.Jams)), Events: s.Jams}
		}
	}
	return mended.Match{}
}

// brownoutsWith counts only matches with the same battery, where it is known: another one
// says nothing of it.
func brownoutsWith(r *schemas.Report, battery string) mended.Match {
	if !r.Ran("power") || r.Battery.ID != battery {
		return mended.Match{}
	}
	m := mended.Match{Looked: true}
	for _, p := range r.Match.Periods {
		m.Trials += (p.EndS - p.StartS) / 60
	}
	for i, b := range r.Brownouts {
		if i == 0 || b.StartS-r.Brownouts[i-1].StartS > oneBrownout {
			m.Events++
		}
	}
	return m
}

func attempts(r *schemas.Report) mended.Match {
	if !r.Ran("balance") {
		return mended.Match{}
	}
	m := mended.Match{Looked: true}
	for _, b := range r.Balances {
		switch {
		case b.Outcome == schemas.BalanceLevel:
			m.Trials++
		case b.Outcome == schemas.BalanceRanOut && b.EndS-b.StartS >= climbedLate:
			m.Trials, m.Events = m.Trials+1, m.Events+1
		}
	}
	return m
}

func shortMoves(r *schemas.Report, name string) mended.Match {
	if !r.Ran("moves") {
		return mended.Match{}
	}
	m := mended.Match{Looked: true}
	for _, v := range r.Moves {
		switch {
		case v.Name != name || v.Outcome == "superseded":
		case v.Outcome == "short":
			m.Trials, m.Events = m.Trials+1, m.Events+1
		default:
			m.Trials++
		}
	}
	return m
}

var mendedStates = map[mended.State]string{
	mended.Open: schemas.MendedOpen, mended.Convincing: schemas.MendedConvincing, mended.Again: schemas.MendedAgain,
}

func mendedOf(f followed, count *counter, fact mended.Fact, history []*schemas.Report, today *schemas.Report) schemas.Mended {
	low, rate, high := fact.Before.Interval()
	out := schemas.Mended{
		Finding: f.finding.ID, Kind: f.finding.Kind, Severity: f.finding.Severity, StartS: f.finding.StartS,
		What: count.what, Last: inPast(history[fact.Last]), From: inPast(history[fact.First]), State: mendedStates[fact.State],
		Counted: count.unit, EventsBefore: fact.Before.Events, TrialsBefore: fact.Before.Trials,
		EventsToday: fact.EventsToday, TrialsSince: fact.TrialsSince,
		Rate: schemas.Some(rate), RateLow: schemas.Some(low), RateHigh: schemas.Some(high),
		SinceUpTo: schemas.Some(mended.NoneUpTo(fact.TrialsSince, fact.Before.Time)), Chance: schemas.Some(fact.Chance),
	}
	if fact.State == mended.Again {
		out.SinceUpTo, out.Chance = nil, nil // both speak of none
	}
	for _, i := range fact.Since {
		r := today
		if i < len(history) {
			r = history[i]
		}
		out.Since = append(out.Since, inPast(r))
		for _, j := range r.SuspectedJams {
			if f.finding.Kind == "jam" && findings.Slug(j.Stage) == f.place {
				out.Suspected++
			}
		}
	}
	out.Text = findings.MendedText(out)
	return out
}

// lookedBy is the analysis that finds a kind.
var lookedBy = map[string]string{
	"jam": "path", "brownout": "power", "battery": "power", "motor": "motors", "slow_cycle": "cycles", "balance": "balance",
	"move": "moves", "autonomous": "autonomous", "sensor": "quality", "data_gap": "quality",
}

// notCounted follows what has no trials: a motor, a sensor. It says in how many matches it was
// not seen since, and after a few of them no more.
func notCounted(f followed, history []*schemas.Report, today *schemas.Report) []schemas.Mended {
	key := sameThing(f.finding.ID)
	found := func(r *schemas.Report) bool {
		return slices.ContainsFunc(r.Findings, func(o schemas.Finding) bool { return sameThing(o.ID) == key })
	}
	out := schemas.Mended{
		Finding: f.finding.ID, Kind: f.finding.Kind, Severity: f.finding.Severity, StartS: f.finding.StartS, What: f.finding.Title,
	}
	for _, r := range history {
		switch {
		case found(r):
			out.Last, out.Since = inPast(r), nil
		case out.Last != "" && r.Ran(lookedBy[f.finding.Kind]):
			out.Since = append(out.Since, inPast(r))
		}
	}
	before := len(out.Since)
	if before >= cleanMatches || found(today) && before == 0 {
		return nil // was said, or goes on
	}
	if today.Ran(lookedBy[f.finding.Kind]) {
		out.Since = append(out.Since, inPast(today))
	}
	switch {
	case found(today):
		out.State, out.EventsToday = schemas.MendedAgain, 1
	case len(out.Since) >= cleanMatches:
		out.State = schemas.MendedDone
	default:
		out.State = schemas.MendedOpen
	}
	out.Text = findings.MendedText(out)
	return []schemas.Mended{out}
}

// inPast is how a report names a match of its robot.
func inPast(r *schemas.Report) string {
	return r.Match.Season + "/" + r.Match.Event + "/" + r.Match.Match
}
