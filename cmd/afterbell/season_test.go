package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/rollup"
	"github.com/afterbell/afterbell/schemas/tables"
)

// publishReport stores a match of which only the report is made up.
func publishReport(t testing.TB, h *home.Home, r *schemas.Report) {
	t.Helper()
	r.Finish()
	id := schemas.MatchID{Season: r.Match.Season, Event: r.Match.Event, Match: r.Match.Match, Robot: r.Match.Robot}
	require.NoError(t, h.Publish(id, false, func(dir string) error {
		data, err := json.Marshal(r)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, schemas.ReportFile), data, 0o644); err != nil {
			return err
		}
		return tables.Write(dir, r)
	}))
}

// seasonMatch is match i of a robot whose lift jams from match 25 on and whose cycles are three
// seconds faster from match 15 on.
func seasonMatch(i int, rng *rand.Rand) *schemas.Report {
	at := time.Date(2031, 3, 1, 9, 0, 0, 0, time.UTC).Add(time.Duration(i) * 7 * time.Hour).Format(time.RFC3339)
	r := &schemas.Report{
		Report: 1, Match: schemas.Match{Season: "2031", Event: fmt.Sprintf("event-%d", i/10), Match: fmt.Sprintf("q%02d", i), Robot: "heron", At: &at, EndS: 140},
		From: schemas.From{Seal: "1", StoredAt: at},
	}
	for _, name := range []string{"path", "power", "cycles", "balance", "autonomous"} {
		r.Analyses = append(r.Analyses, schemas.Analysis{Name: name, Ran: true})
	}
	usual := 12.0
	if i >= 15 {
		usual = 9
	}
	for range 7 {
		r.Cycles = append(r.Cycles, schemas.Cycle{Kind: "score", Pieces: 1, Period: schemas.PeriodDriver, Complete: true, DurationS: usual + rng.NormFloat64()})
	}
	lift := schemas.StageSum{Stage: "lift", Passes: 9}
	if i >= 25 {
		lift.Jams = 1 + rng.IntN(3)
		for n := range lift.Jams {
			start := float64(10 * (n + 1))
			r.Jams = append(r.Jams, schemas.Jam{Stage: "lift", StartS: start, EndS: start + 2, Confidence: 0.9})
			r.Findings = append(r.Findings, schemas.Finding{ID: fmt.Sprintf("jam-lift-%d", n+1), Kind: "jam", Severity: schemas.SeverityFix, StartS: start, EndS: start + 2})
		}
	}
	r.Stages = []schemas.StageSum{{Stage: "mouth", Passes: 10}, lift}
	ohm := 0.02 + 0.0005*rng.NormFloat64()
	r.Battery = schemas.Battery{ID: fmt.Sprintf("B%d", 1+i%2), ResistanceOhm: &ohm}
	return r
}

// storeReports makes a data folder with matches of which only the reports are made up.
func storeReports(t testing.TB, reports []*schemas.Report) (data string, h *home.Home) {
	t.Helper()
	data = t.TempDir()
	w := &writer{dir: data}
	require.NoError(t, w.begin())
	defer w.end()
	for _, r := range reports {
		publishReport(t, w.home, r)
	}
	return data, w.home
}

func storeSeason(t testing.TB, matches int) (data string, h *home.Home) {
	t.Helper()
	rng := rand.New(rand.NewPCG(8, 0))
	reports := make([]*schemas.Report, matches)
	for i := range reports {
		reports[i] = seasonMatch(i, rng)
	}
	return storeReports(t, reports)
}

func TestSeasonTellsWhatChanged(t *testing.T) {
	data, h := storeSeason(t, 40)
	out := done(t, afterbell("season", "heron", "--data", data, "--json")).stdout
	var s schemas.Season
	require.NoError(t, json.Unmarshal([]byte(out), &s))
	require.Equal(t, 1, s.Season)
	require.Len(t, s.Matches, 40)
	require.Equal(t, "q00", s.Matches[0].Match)
	by := map[string]schemas.SeasonMeasure{}
	for _, m := range s.Measures {
		by[m.Name] = m
		require.NotNil(t, m.Points, m.Name)
		require.NotNil(t, m.Changes, m.Name)
	}
	cycle := by["cycle_s"]
	require.Len(t, cycle.Points, 40)
	require.Len(t, cycle.Changes, 1)
	require.Equal(t, 15, cycle.Changes[0].Index)
	require.Negative(t, *cycle.Changes[0].High)
	require.Nil(t, cycle.Trend)
	lift := by["jam_rate/lift"]
	require.Len(t, lift.Changes, 1)
	require.InDelta(t, 25, lift.Changes[0].Index, 2)
	require.Zero(t, lift.Changes[0].Before)
	require.Equal(t, 9, *lift.Points[0].Of)
	require.Empty(t, by["jam_rate/mouth"].Changes)
	require.Len(t, by["resistance_ohm/B1"].Points, 20)
	require.Empty(t, by["resistance_ohm/B1"].Changes)
	require.NotContains(t, by, "balance_level_rate", "no attempt was made")

	text := done(t, afterbell("season", "heron", "--data", data)).stdout
	require.Contains(t, text, "heron: 40 matches, season 2031")
	require.Contains(t, text, "lower since event-1/q15")
	require.NotContains(t, text, "because of the")

	// The parts log stands beside it.
	done(t, afterbell("parts", "add", "heron", "new chain", "--at", "2031-03-05T12:00", "--data", data))
	done(t, afterbell("parts", "add", "heron", "new lift belt", "--at", "2031-03-08", "--data", data))
	listed := done(t, afterbell("parts", "add", "heron", "other rollers", "--kind", "part", "--at", "2031-03-08T12:00", "--data", data)).stdout
	require.Equal(t, "a  2031-03-05 12:00  part     new chain\nb  2031-03-08        part     new lift belt\nc  2031-03-08 12:00  part     other rollers\n", listed)
	require.NoError(t, json.Unmarshal([]byte(done(t, afterbell("season", "heron", "--data", data, "--json")).stdout), &s))
	require.Len(t, s.Parts, 3)
	require.Equal(t, []string{"b"}, s.Parts[2].CloseTo)
	chain := s.Parts[0]
	require.Equal(t, "cycle_s", chain.Effects[0].Measure)
	require.True(t, chain.Effects[0].Seen)
	require.InDelta(t, -3, chain.Effects[0].Difference, 0.5)
	lifts := effectOf(t, chain, "jam_rate/lift")
	require.False(t, lifts.Seen, "that the lift jams began later")
	require.Equal(t, 0, *lifts.Before.Events)
	text = done(t, afterbell("season", "heron", "--data", data)).stdout
	require.Contains(t, text, "too near to c to be told apart")
	failed(t, afterbell("parts", "add", "heron", "x", "--at", "soon", "--data", data), exitUsage, `"soon" is no day`)
	failed(t, afterbell("parts", "add", "heron", "x", "--kind", "colour", "--data", data), exitUsage, `"colour" is no kind`)
	failed(t, afterbell("parts", "add", "heron", "--data", data), exitUsage, "the words of the entry are missing")

	// What the crew denied is left out.
	for i := 25; i < 40; i++ {
		id := schemas.MatchID{Season: "2031", Event: fmt.Sprintf("event-%d", i/10), Match: fmt.Sprintf("q%02d", i), Robot: "heron"}
		r, err := readReport(h, id)
		require.NoError(t, err)
		for _, f := range r.Findings {
			line, err := crew.Note{Note: crew.Version, Kind: crew.KindVerdict, At: "2031-05-01T10:00:00Z", Finding: f.ID, FindingKind: f.Kind, StartS: f.StartS, Happened: crew.DidNot}.Line()
			require.NoError(t, err)
			require.NoError(t, h.AddNote(id, line))
		}
	}
	require.NoError(t, json.Unmarshal([]byte(done(t, afterbell("season", "heron", "--data", data, "--json")).stdout), &s))
	for _, m := range s.Measures {
		if m.Name == "jam_rate/lift" {
			require.Empty(t, m.Changes)
		}
	}
}

func effectOf(t *testing.T, p schemas.SeasonPart, measure string) schemas.SeasonEffect {
	t.Helper()
	for _, e := range p.Effects {
		if e.Measure == measure {
			return e
		}
	}
	require.Fail(t, "no effect on "+measure)
	return schemas.SeasonEffect{}
}

func TestSeasonOfLittleOrNothing(t *testing.T) {
	data, _ := storeSeason(t, 3)
	out := done(t, afterbell("season", "heron", "--data", data)).stdout
	require.Contains(t, out, "too few to say: 3 of the 6 matches it takes")
	failed(t, afterbell("season", "curlew", "--data", data), exitFailed, `no match of "curlew" is stored; there are matches of heron`)
	failed(t, afterbell("season", "heron", "--season", "2030", "--data", data), exitFailed, `no match of "heron" in season 2030 is stored`)
	failed(t, afterbell("season", "heron", "--data", t.TempDir()), exitFailed, "the data folder is empty")
	failed(t, afterbell("season", "--data", data), exitUsage, "a robot is missing")
}

// Two belts in turns, of which one jams, in sessions of practice between matches.
func TestTrialOnTheTerminal(t *testing.T) {
	var reports []*schemas.Report
	rng := rand.New(rand.NewPCG(3, 0))
	for i := range 24 {
		r := seasonMatch(i, rng)
		if i < 20 {
			r.Match.Event = "barn-practice"
		}
		if i%4 >= 2 { // the ribbed belt is four seconds slower
			for k := range r.Cycles {
				r.Cycles[k].DurationS += 4
			}
		}
		reports = append(reports, r)
	}
	data, _ := storeReports(t, reports)
	for i := range 10 {
		text := []string{"soft belt", "ribbed belt"}[i%2]
		at := time.Date(2031, 3, 1, 8, 0, 0, 0, time.UTC).Add(time.Duration(2*i) * 7 * time.Hour).Format(time.RFC3339)
		done(t, afterbell("parts", "add", "heron", text, "--at", at, "--data", data))
	}
	text := done(t, afterbell("season", "heron", "--trial", "soft", "ribbed belt", "--data", data)).stdout
	require.Contains(t, text, "A is “soft belt” with 10 runs, B is “ribbed belt” with 10, 9 turns")
	require.Contains(t, text, "hold however often you look")
	var trial schemas.Trial
	require.NoError(t, json.Unmarshal([]byte(done(t, afterbell("season", "heron", "--trial", "soft", "ribbed belt", "--json", "--data", data)).stdout), &trial))
	require.Equal(t, "cycle_s", trial.Measures[0].Name)
	require.True(t, trial.Measures[0].Settled)
	require.InDelta(t, 4, trial.Measures[0].Difference, 1)
	require.True(t, trial.A.Runs[0].Practice)

	failed(t, afterbell("season", "heron", "--trial", "soft", "--data", data), exitUsage, "season ROBOT --trial A B")
	failed(t, afterbell("season", "heron", "--trial", "soft", "wooden", "--data", data), exitUsage, `no entry "wooden"`)

	// Practice is told of apart, and for how long it was.
	text = done(t, afterbell("season", "heron", "--data", data)).stdout
	require.Contains(t, text, "in 20 sessions of practice")
	require.Contains(t, text, "practice_cycle_s")
}

// The demo's season is stored as imported matches are, and again in its own place.
func TestDemoSeasonIsStored(t *testing.T) {
	plan := sim.DemoSeason()
	plan.Matches = plan.Matches[:2]
	data := t.TempDir()
	for range 2 {
		w := &writer{dir: data}
		require.NoError(t, w.begin())
		a := &app{stdout: io.Discard, stderr: io.Discard, dataDir: data}
		require.NoError(t, a.storeSeason(context.Background(), w, plan))
		w.end()
	}
	h, err := home.Open(data)
	require.NoError(t, err)
	look, notes, err := lookAtSeason(h, "heron", "")
	require.NoError(t, err)
	require.Empty(t, notes)
	require.Len(t, look.Matches, 2)
	require.Len(t, look.Parts, len(plan.Log), "each entry once")
	stages, err := tables.Read[tables.Stage](filepath.Join(h.Dir(schemas.MatchID{Season: "2031", Event: look.Matches[0].Event, Match: look.Matches[0].Match, Robot: "heron"}), tables.StagesFile))
	require.NoError(t, err)
	require.NotNil(t, stages[1].TransitS)
	require.NotNil(t, stages[2].FreeA)
}

func TestSeasonFilesHaveEveryPoint(t *testing.T) {
	data, _ := storeSeason(t, 12)
	var s schemas.Season
	require.NoError(t, json.Unmarshal([]byte(done(t, afterbell("season", "heron", "--data", data, "--json")).stdout), &s))
	points := 0
	for _, m := range s.Measures {
		points += len(m.Points)
	}
	out := filepath.Join(t.TempDir(), "heron.parquet")
	o := done(t, afterbell("season", "heron", "--data", data, "--format", "parquet", "--out", out))
	require.Empty(t, o.stdout)
	rows, err := tables.Read[tables.SeasonPoint](out)
	require.NoError(t, err)
	require.Len(t, rows, points)
	require.Equal(t, "heron", rows[0].Robot)
	text := done(t, afterbell("season", "heron", "--data", data, "--format", "csv")).stdout
	require.Equal(t, 1+points, strings.Count(text, "\n"))

	figures := filepath.Join(t.TempDir(), "notebook")
	o = done(t, afterbell("season", "heron", "--data", data, "--figures", figures))
	require.Contains(t, o.stdout, "heron: 12 matches")
	for _, name := range []string{"cycle-s.svg", "jams.png", "batteries.pdf", captionsFile} {
		require.FileExists(t, filepath.Join(figures, name))
	}
	svg, err := os.ReadFile(filepath.Join(figures, "cycle-s.svg"))
	require.NoError(t, err)
	require.NotContains(t, string(svg), "<a ", "nothing leads away from a figure")

	for _, c := range []struct {
		want string
		args []string
	}{
		{"use csv or parquet", []string{"--format", "xml"}},
		{"--format is missing", []string{"--out", out}},
		{"leave out --format", []string{"--json", "--format", "csv"}},
	} {
		failed(t, afterbell(append([]string{"season", "heron", "--data", data}, c.args...)...), exitUsage, c.want)
	}
}

// What a season is made of stands in one file for each event, and is made again when it is gone.
func TestTheTablesOfEventsAreMadeAgain(t *testing.T) {
	data, h := storeSeason(t, 12)
	before := done(t, afterbell("season", "heron", "--data", data, "--json")).stdout
	files, err := filepath.Glob(filepath.Join(data, rollup.Folder, "season=2031", "event=*", rollup.FileName))
	require.NoError(t, err)
	require.Len(t, files, 2)
	require.NoError(t, os.Remove(files[0]))
	require.NoError(t, os.WriteFile(files[1], []byte("no table"), 0o644))
	require.Equal(t, before, done(t, afterbell("season", "heron", "--data", data, "--json")).stdout)
	require.FileExists(t, files[0])
	ids, err := h.List()
	require.NoError(t, err)
	require.NoError(t, rollup.Rebuild(h, ids))
	require.Equal(t, before, done(t, afterbell("season", "heron", "--data", data, "--json")).stdout)
}
