package analysis

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// after is a match in which the lift jammed so often in so many passes.
func after(n, jams, passes int) *schemas.Report {
	r := &schemas.Report{
		Match:    schemas.Match{Season: "2031", Event: "millbrook-open", Match: fmt.Sprintf("q%d", n), Robot: "heron", Periods: []schemas.Period{{Name: "driver", EndS: 150}}},
		Analyses: []schemas.Analysis{{Name: "path", Ran: true}, {Name: "power", Ran: true}, {Name: "motors", Ran: true}, {Name: "balance", Ran: true}, {Name: "moves", Ran: true}},
		Stages:   []schemas.StageSum{{Stage: "top lift", Passes: passes, Jams: jams}},
		Battery:  schemas.Battery{ID: "B3"},
	}
	if jams > 0 {
		r.Findings = []schemas.Finding{{ID: "jam-top_lift-1", Kind: "jam", Severity: schemas.SeverityFix, Confidence: 0.9, StartS: 52, Title: "The lift jammed."}}
	}
	return r
}

func told(history []*schemas.Report, today *schemas.Report) []schemas.Mended {
	today.Mended = nil
	m := &match{Input: Input{History: history}, report: today}
	tellMended(m)
	m.report.Finish()
	return m.report.Mended
}

func TestAJamIsFollowed(t *testing.T) {
	history := []*schemas.Report{after(1, 1, 21), after(2, 1, 20)}
	rows := told(history, after(3, 0, 9))
	require.Len(t, rows, 1)
	m := rows[0]
	require.Equal(t, []string{"2031/millbrook-open/q3"}, m.Since)
	require.Equal(t, "2031/millbrook-open/q2", m.Last)
	require.Equal(t, "jams in the top lift", m.What)
	// 2 in 41: Beta(2, 39.5), and none in 9 more is 39.5 40.5 / (48.5 49.5).
	require.InDelta(t, 39.5*40.5/(48.5*49.5), *m.Chance, 1e-12)
	require.Equal(t, "None in 9 passes since. Before, 2 in 41 passes. If nothing had changed that would happen 1 time in 2.", m.Text)

	// On and on without: it is said once that chance explains it no more, and then nothing.
	history = append(history, after(3, 0, 9))
	var states []string
	for n := 4; n < 24; n++ {
		today := after(n, 0, 12)
		for _, row := range told(history, today) {
			states = append(states, row.State)
		}
		history = append(history, today)
	}
	require.Equal(t, schemas.MendedConvincing, states[len(states)-1])
	require.Less(t, len(states), 20)
	for _, s := range states[:len(states)-1] {
		require.Equal(t, schemas.MendedOpen, s)
	}
}

func TestAJamThatComesBackIsSaid(t *testing.T) {
	history := []*schemas.Report{after(1, 1, 21), after(2, 0, 20)}
	rows := told(history, after(3, 2, 12))
	require.Equal(t, schemas.MendedAgain, rows[0].State)
	require.Equal(t, "Again: 2 in this match, after 1 match without. Before, 1 in 21 passes.", rows[0].Text)
	require.Nil(t, rows[0].Chance)
	require.Empty(t, told([]*schemas.Report{after(1, 1, 21)}, after(2, 1, 12)), "it goes on: the list of findings says so")
}

func TestOnlyWhatCouldTellCounts(t *testing.T) {
	blind := after(2, 0, 20)
	blind.Analyses[0].Ran = false
	other := after(2, 0, 20)
	other.Stages = nil
	for _, r := range []*schemas.Report{blind, other} {
		rows := told([]*schemas.Report{after(1, 1, 21)}, r)
		require.Empty(t, rows[0].Since)
		require.Equal(t, "Not tried since. Before, 1 in 21 passes.", rows[0].Text)
	}
	history := []*schemas.Report{after(1, 1, 21), blind, blind, blind}
	require.Empty(t, told(history, other), "after a while nothing is no news")
	require.Len(t, told(history, after(6, 0, 9)), 1, "until it is tried again")
	suspect := after(2, 0, 20)
	suspect.SuspectedJams = []schemas.Jam{{Stage: "top lift"}, {Stage: "mouth"}}
	require.Contains(t, told([]*schemas.Report{after(1, 1, 21)}, suspect)[0].Text, "1 stop is only suspected since.")
}

// Doubtful findings and those to watch are not followed.
func TestOnlyWorriesAreFollowed(t *testing.T) {
	for _, change := range []func(*schemas.Finding){
		func(f *schemas.Finding) { f.Severity = schemas.SeverityWatch },
		func(f *schemas.Finding) { f.Confidence = 0.49 },
	} {
		r := after(1, 1, 21)
		change(&r.Findings[0])
		require.Empty(t, told([]*schemas.Report{r}, after(2, 0, 9)))
	}
}

func TestBrownoutsAreOfABattery(t *testing.T) {
	bad := after(1, 0, 20)
	bad.Brownouts = []schemas.Brownout{{StartS: 20}, {StartS: 22}, {StartS: 27}, {StartS: 90}} // two: three of them have one cause
	bad.Findings = []schemas.Finding{{ID: "brownout-supply-1", Kind: "brownout", Severity: schemas.SeverityFix, Confidence: 0.99}}
	same, other := after(2, 0, 20), after(3, 0, 20)
	other.Battery.ID = "B1"
	row := told([]*schemas.Report{bad, other}, same)[0]
	require.Equal(t, "brownouts with battery B3", row.What)
	require.Equal(t, []string{"2031/millbrook-open/q2"}, row.Since, "another battery says nothing")
	require.InDelta(t, 0.25, *row.Chance, 1e-12, "(2.5 / 5)^2")
	require.Equal(t, "None in 2.5 minutes since. Before, 2 in 2.5 minutes. If nothing had changed that would happen 1 time in 4.", row.Text)
}

func TestAttemptsAndMovesAreCounted(t *testing.T) {
	bad := after(1, 0, 20)
	bad.Match.Game.Platform = "peel"
	bad.Balances = []schemas.Balance{{Outcome: schemas.BalanceRanOut, EndS: 12}}
	bad.Moves = []schemas.Move{{Name: "arm", Outcome: "short"}, {Name: "arm", Outcome: "short"}, {Name: "arm", Outcome: "settled"}, {Name: "wrist", Outcome: "settled"}}
	bad.Findings = []schemas.Finding{
		{ID: "balance-peel-1", Kind: "balance", Severity: schemas.SeverityFix, Confidence: 0.9},
		{ID: "move-arm-1", Kind: "move", Severity: schemas.SeverityFix, Confidence: 0.9},
	}
	today := after(2, 0, 20)
	today.Balances = []schemas.Balance{{Outcome: schemas.BalanceLevel, EndS: 5}, {Outcome: schemas.BalanceRanOut, EndS: 1}, {Outcome: schemas.BalanceLeft, EndS: 5}}
	today.Moves = []schemas.Move{{Name: "arm", Outcome: "settled"}, {Name: "arm", Outcome: "superseded"}, {Name: "wrist", Outcome: "settled"}}
	rows := told([]*schemas.Report{bad}, today)
	require.Equal(t, "None in 1 attempt since. Before, 1 in 1 attempt. If nothing had changed that would happen 1 time in 3.", rows[0].Text)
	require.Equal(t, "moves of the arm that stopped short", rows[1].What)
	require.Equal(t, 3.0, rows[1].TrialsBefore)
	require.Equal(t, 1.0, rows[1].TrialsSince)
}

// What has no trials is only said not to have been seen, three matches long.
func TestWhatCannotBeCountedIsNotSeen(t *testing.T) {
	bad := after(1, 0, 20)
	bad.Findings = []schemas.Finding{{ID: "motor-gate-1", Kind: "motor", Severity: schemas.SeverityStop, Confidence: 0.9, Title: "Gate draws 4 A while disabled."}}
	history := []*schemas.Report{bad}
	var texts []string
	for n := 2; n < 7; n++ {
		today := after(n, 0, 20)
		for _, row := range told(history, today) {
			require.Nil(t, row.Chance)
			texts = append(texts, row.Text)
		}
		history = append(history, today)
	}
	require.Equal(t, []string{
		"Not seen since, 1 match.", "Not seen since, 2 matches.", "Not seen since, 3 matches. It is followed no further.",
	}, texts)
	again := after(3, 0, 20)
	again.Findings = bad.Findings
	require.Equal(t, "Again in this match, after 1 match without.", told(history[:2], again)[0].Text)
}
