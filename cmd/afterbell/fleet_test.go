package main

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/tables"
)

// fleetMatch is match i of a robot that is behind: its cycles are longer, and its lift jams more.
func fleetMatch(robot string, i int, behind float64, rng *rand.Rand) *schemas.Report {
	at := time.Date(2031, 4, 5, 9, 0, 0, 0, time.UTC).Add(time.Duration(i) * 40 * time.Minute).Format(time.RFC3339)
	r := &schemas.Report{
		Report: 1, Match: schemas.Match{Season: "2031", Event: "millbrook-open", Match: fmt.Sprintf("q%02d", i), Robot: robot, At: &at, EndS: 140},
		From: schemas.From{Seal: "1", StoredAt: at},
	}
	for _, name := range []string{"path", "power", "cycles", "balance"} {
		r.Analyses = append(r.Analyses, schemas.Analysis{Name: name, Ran: true})
	}
	for range 7 {
		r.Cycles = append(r.Cycles, schemas.Cycle{Kind: "score", Pieces: 1, Period: schemas.PeriodDriver, Complete: true, DurationS: 9 + behind + 0.8*rng.NormFloat64()})
	}
	lift := schemas.StageSum{Stage: "lift", Passes: 10}
	for n := range 10 {
		r.Passes = append(r.Passes, schemas.Pass{Piece: n + 1, Outcome: "scored"})
		if rng.Float64() < 0.06*behind {
			lift.Jams++
			start := float64(10 * (n + 1))
			r.Jams = append(r.Jams, schemas.Jam{Stage: "lift", StartS: start, EndS: start + 2, Confidence: 0.9})
			r.Findings = append(r.Findings, schemas.Finding{ID: fmt.Sprintf("jam-lift-%d", lift.Jams), Kind: "jam", Severity: schemas.SeverityFix, StartS: start, EndS: start + 2})
		}
	}
	r.Stages = []schemas.StageSum{{Stage: "mouth", Passes: 10}, lift}
	settle := 4 + rng.Float64()
	r.Balances = []schemas.Balance{{StartS: 120, EndS: 130, Outcome: schemas.BalanceLevel, SettleS: &settle}}
	if i%3 == 0 {
		r.Balances[0].Outcome, r.Balances[0].SettleS = schemas.BalanceLeft, nil
	}
	ohm, low := 0.02+0.0005*rng.NormFloat64(), 8.6+0.2*rng.NormFloat64()
	r.Battery = schemas.Battery{ID: fmt.Sprintf("B%d", 1+i%2), ResistanceOhm: &ohm, LowestV: &low}
	return r
}

// storeFleet stores an event of heron, curlew which is far behind, bittern of whose matches no
// analysis could look, and avocet with one match.
func storeFleet(t testing.TB) (data string, h *home.Home) {
	t.Helper()
	var reports []*schemas.Report
	rng := rand.New(rand.NewPCG(5, 2))
	for i := range 8 {
		blind := &schemas.Report{
			Report: 1, Match: schemas.Match{Season: "2031", Event: "millbrook-open", Match: fmt.Sprintf("q%02d", i), Robot: "bittern", EndS: 140},
			From: schemas.From{Seal: "1"},
		}
		reports = append(reports, fleetMatch("heron", i, 0, rng), fleetMatch("curlew", i, 5, rng), blind)
	}
	reports = append(reports, fleetMatch("avocet", 0, 1, rng))
	other := fleetMatch("heron", 0, 0, rng)
	other.Match.Season = "2030"
	return storeReports(t, append(reports, other))
}

func fleetJSON(t *testing.T, args ...string) (f schemas.Fleet) {
	t.Helper()
	out := done(t, afterbell(append([]string{"fleet", "--json"}, args...)...)).stdout
	require.NoError(t, json.Unmarshal([]byte(out), &f))
	return f
}

func TestFleetPutsRobotsSideBySide(t *testing.T) {
	data, h := storeFleet(t)
	f := fleetJSON(t, "millbrook-open", "--data", data)
	require.Equal(t, [3]any{1, "2031", "millbrook-open"}, [3]any{f.Fleet, f.Season, f.Event}, "the newest season")
	require.Equal(t, []schemas.FleetRobot{{Robot: "avocet", Matches: 1}, {Robot: "bittern", Matches: 8}, {Robot: "curlew", Matches: 8}, {Robot: "heron", Matches: 8}}, f.Robots)
	cycle := f.Measure("cycle_s")
	require.Len(t, cycle.Robots, 3, "of bittern nothing is known")
	require.Equal(t, 1, cycle.Apart)
	heron, curlew, avocet := cycle.Estimate("heron"), cycle.Estimate("curlew"), cycle.Estimate("avocet")
	require.Equal(t, [4]int{1, 2, 2, 3}, [4]int{heron.Best, heron.Worst, curlew.Best, curlew.Worst})
	require.InDelta(t, 9, heron.Value, 0.5)
	require.True(t, *heron.Low < heron.Value && heron.Value < *heron.High)
	require.Equal(t, [3]any{1, 3, (*float64)(nil)}, [3]any{avocet.Best, avocet.Worst, avocet.Low}, "one match is too few")
	jams := f.Measure("jam_rate")
	require.Equal(t, "lift", jams.Estimate("curlew").Weakest.Name)
	require.Empty(t, jams.Estimate("curlew").Weakest.NotFrom)
	require.Zero(t, jams.Estimate("heron").Value)
	require.Contains(t, cycle.Note, "not known of bittern")

	text := done(t, afterbell("fleet", "millbrook-open", "--data", data)).stdout
	require.Contains(t, text, "millbrook-open, season 2031: ")
	require.Contains(t, text, "cycle_s: cycle time; lower is better; the event's median is ")
	require.Regexp(t, `(?s)cycle_s.*avocet .*too few to say.*curlew .*place 2 to 3 of 3.*heron .*place 1 to 2 of 3.*jam_rate`, text)
	require.Regexp(t, `curlew .*worst: lift \d`, text)
	text = done(t, afterbell("fleet", "millbrook-open", "--by", "jam_rate", "--data", data)).stdout
	require.Regexp(t, `(?s)cycle_s.*heron .*curlew .*jam_rate.*heron .*curlew `, text)

	older := fleetJSON(t, "millbrook-open", "--season", "2030", "--data", data)
	require.Len(t, older.Robots, 1)
	require.Equal(t, "One robot: there is nothing to compare it with.", older.Headline)

	// What the crew denied is left out.
	before := *jams.Estimate("curlew").Events
	require.Positive(t, before)
	denied := 0
	for i := range 8 {
		id := schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: fmt.Sprintf("q%02d", i), Robot: "curlew"}
		r, err := readReport(h, id)
		require.NoError(t, err)
		for _, x := range r.Findings {
			line, err := crew.Note{Note: crew.Version, Kind: crew.KindVerdict, At: "2031-05-01T10:00:00Z", Finding: x.ID, FindingKind: x.Kind, StartS: x.StartS, Happened: crew.DidNot}.Line()
			require.NoError(t, err)
			require.NoError(t, h.AddNote(id, line))
			denied++
		}
	}
	require.Equal(t, before, denied)
	f = fleetJSON(t, "millbrook-open", "--data", data)
	require.Zero(t, *f.Measure("jam_rate").Estimate("curlew").Events)
}

func TestFleetOfBadInput(t *testing.T) {
	data, h := storeFleet(t)
	failed(t, afterbell("fleet", "--data", data), exitUsage, "an event is missing")
	failed(t, afterbell("fleet", "a", "b", "--data", data), exitUsage, `"b" is one argument too many`)
	failed(t, afterbell("fleet", "nowhere", "--data", data), exitFailed, `no match at "nowhere" is stored; there are matches at millbrook-open`)
	failed(t, afterbell("fleet", "millbrook-open", "--season", "2029", "--data", data), exitFailed, `no match at "millbrook-open" in season 2029 is stored`)
	failed(t, afterbell("fleet", "millbrook-open", "--by", "speed", "--data", data), exitUsage, `--by "speed" is no measure; there are cycle_s, jam_rate,`)
	failed(t, afterbell("fleet", "millbrook-open", "--by", "cycle_s", "--json", "--data", data), exitUsage, "--by orders the table")
	failed(t, afterbell("fleet", "millbrook-open", "--data", t.TempDir()), exitFailed, "the data folder is empty")
	_, _, err := lookAtFleet(h, "nowhere", "")
	require.ErrorIs(t, err, fs.ErrNotExist)

	// A damaged match is left out and named; the others stand.
	id := schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: "q03", Robot: "heron"}
	require.NoError(t, os.WriteFile(filepath.Join(h.Dir(id), tables.StagesFile), []byte("PAR1"), 0o644))
	f, notes, err := lookAtFleet(h, "millbrook-open", "")
	require.NoError(t, err)
	require.Len(t, notes, 1)
	require.Contains(t, notes[0], "2031/millbrook-open/q03/heron is left out")
	require.Equal(t, 7, f.Robots[3].Matches)
}

// BenchmarkFleet is an event of sixty robots with ten matches each, from the stored tables to the places,
// beside reading the same tables alone.
func BenchmarkFleet(b *testing.B) {
	var reports []*schemas.Report
	rng := rand.New(rand.NewPCG(1, 1))
	for robot := range 60 {
		for i := range 10 {
			reports = append(reports, fleetMatch(fmt.Sprintf("r%02d", robot), i, rng.Float64(), rng))
		}
	}
	_, h := storeReports(b, reports)
	b.Run("fleet", func(b *testing.B) {
		for b.Loop() {
			f, _, err := lookAtFleet(h, "millbrook-open", "")
			require.NoError(b, err)
			require.Len(b, f.Robots, 60)
		}
	})
	b.Run("tables-alone", func(b *testing.B) {
		all, err := h.List()
		require.NoError(b, err)
		for b.Loop() {
			for _, id := range all {
				_, err := tables.ReadMatch(h.Dir(id))
				require.NoError(b, err)
			}
		}
	})
}
