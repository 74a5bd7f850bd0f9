package rollup

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/tables"
)

func match(event string, n int, robot string) schemas.MatchID {
	return schemas.MatchID{Season: "2031", Event: event, Match: fmt.Sprintf("q%d", n), Robot: robot}
}

// reported is a report with something in each table a season is made of.
func reported(id schemas.MatchID, jams int) *schemas.Report {
	r := &schemas.Report{
		Report: 1, Match: schemas.Match{Season: id.Season, Event: id.Event, Match: id.Match, Robot: id.Robot, EndS: 140},
		From:       schemas.From{Seal: "1", StoredAt: "2031-03-01T09:00:00Z"},
		Stages:     []schemas.StageSum{{Stage: "mouth", Passes: 10, TransitS: schemas.Some(0.25)}, {Stage: "lift", Passes: 9, Jams: jams}},
		Mechanisms: []schemas.Mechanism{{Name: "arm", Moves: 4}},
		Cycles:     []schemas.Cycle{{Kind: "score", Pieces: 1, Period: schemas.PeriodDriver, Complete: true, DurationS: 8}},
	}
	for _, name := range []string{"path", "power", "cycles"} {
		r.Analyses = append(r.Analyses, schemas.Analysis{Name: name, Ran: true})
	}
	for n := range jams {
		start := float64(10 * (n + 1))
		r.Jams = append(r.Jams, schemas.Jam{Stage: "lift", StartS: start, EndS: start + 2, Confidence: 0.9})
		r.Findings = append(r.Findings, schemas.Finding{ID: fmt.Sprintf("jam-lift-%d", n+1), Kind: "jam", Severity: schemas.SeverityFix, StartS: start, EndS: start + 2})
	}
	r.Finish()
	return r
}

// store stores a match of which only the report is made up.
func store(t testing.TB, h *home.Home, id schemas.MatchID, jams int) {
	t.Helper()
	r := reported(id, jams)
	require.NoError(t, h.Publish(id, true, func(dir string) error {
		data, err := json.Marshal(r)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, "report.json"), data, 0o644); err != nil {
			return err
		}
		return tables.Write(dir, r)
	}))
}

func opened(t testing.TB) *home.Home {
	t.Helper()
	h, err := home.Create(t.TempDir())
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, lock.Unlock()) })
	return h
}

func read(t testing.TB, h *home.Home) []Event {
	t.Helper()
	ids, err := h.List()
	require.NoError(t, err)
	return Read(h, ids)
}

func TestRowsAreTheTablesOfTheMatch(t *testing.T) {
	h := opened(t)
	var ids []schemas.MatchID
	for n := range 3 {
		for _, robot := range []string{"bittern", "heron"} {
			ids = append(ids, match("millbrook-open", n, robot))
			store(t, h, ids[len(ids)-1], n)
		}
	}
	store(t, h, match("practice", 0, "heron"), 0)
	for _, turn := range []string{"from the matches", "from the file"} {
		events := read(t, h)
		require.Len(t, events, 2, turn)
		require.Equal(t, "millbrook-open", events[0].Event)
		require.Empty(t, events[0].Problems)
		require.Len(t, events[0].Rows, len(ids))
		for i, r := range events[0].Rows {
			id := ids[i]
			require.Equal(t, [2]string{id.Match, id.Robot}, [2]string{r.Name, r.Robot}, turn)
			m, err := tables.ReadMatch(h.Dir(id))
			require.NoError(t, err)
			require.Equal(t, m, r.Match, turn)
			stages, err := tables.Read[tables.Stage](filepath.Join(h.Dir(id), tables.StagesFile))
			require.NoError(t, err)
			require.Equal(t, stages, r.Stages, turn)
			mechanisms, err := tables.Read[tables.Mechanism](filepath.Join(h.Dir(id), tables.MechanismsFile))
			require.NoError(t, err)
			require.Equal(t, mechanisms, r.Mechanisms, turn)
		}
	}
	require.FileExists(t, path(h, "2031", "millbrook-open"))
	some := Read(h, ids[:1])
	require.Len(t, some, 1)
	require.Len(t, some[0].Rows, 1, "only what was asked for")
}

func TestTheFileSparesTheMatches(t *testing.T) {
	h := opened(t)
	first, second := match("millbrook-open", 1, "heron"), match("millbrook-open", 2, "heron")
	store(t, h, first, 1)
	require.Len(t, read(t, h)[0].Rows, 1)
	require.NoError(t, os.Remove(filepath.Join(h.Dir(first), tables.MatchFile)))
	store(t, h, second, 2)
	events := read(t, h)
	require.Empty(t, events[0].Problems)
	require.EqualValues(t, 1, events[0].Rows[0].Stages[1].Jams, "of the file")
	require.EqualValues(t, 2, events[0].Rows[1].Stages[1].Jams, "of the match")
	require.NoError(t, os.RemoveAll(filepath.Join(h.Root(), Folder)))
	events = read(t, h)
	require.Len(t, events[0].Problems, 1)
	require.Equal(t, first, events[0].Problems[0].ID)
	require.ErrorContains(t, events[0].Problems[0].Err, tables.MatchFile)
	require.Len(t, events[0].Rows, 1)
}

func TestWhatChangedIsReadAgain(t *testing.T) {
	h := opened(t)
	id := match("millbrook-open", 1, "heron")
	jams := func() int32 {
		t.Helper()
		events := read(t, h)
		require.Empty(t, events[0].Problems)
		require.Len(t, events[0].Rows, 1)
		return events[0].Rows[0].Stages[1].Jams
	}
	store(t, h, id, 1)
	require.EqualValues(t, 1, jams())
	store(t, h, id, 2)
	require.EqualValues(t, 2, jams(), "analyzed again")
	require.NoError(t, h.AddNote(id, []byte(`{"note":1,"kind":"verdict","at":"2031-03-01T10:00:00Z","finding":"jam-lift-1","finding_kind":"jam","start_s":10,"confidence":0.9,"happened":"no"}`+"\n")))
	require.EqualValues(t, 1, jams(), "the crew denied one")
	require.EqualValues(t, 1, jams())

	file := path(h, "2031", "millbrook-open")
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	for _, damaged := range [][]byte{nil, whole[:len(whole)/2], append([]byte("xxxx"), whole[4:]...), []byte("no table")} {
		require.NoError(t, os.WriteFile(file, damaged, 0o644))
		require.EqualValues(t, 1, jams())
	}
	rows, err := readFile(file)
	require.NoError(t, err, "made again")
	rows[0].Form, rows[0].Stages = "of other columns", nil
	e := Event{Season: "2031", Event: "millbrook-open"}
	require.NoError(t, e.write(h, rows))
	require.EqualValues(t, 1, jams())
}

func TestWhatIsGoneIsNoRow(t *testing.T) {
	h := opened(t)
	first, second := match("millbrook-open", 1, "heron"), match("millbrook-open", 2, "heron")
	store(t, h, first, 1)
	store(t, h, second, 1)
	require.NoError(t, Refresh(h, []schemas.MatchID{first}))
	inFile := func() int {
		t.Helper()
		rows, err := readFile(path(h, "2031", "millbrook-open"))
		require.NoError(t, err)
		return len(rows)
	}
	require.Equal(t, 2, inFile())
	require.NoError(t, h.Remove(first))
	require.Len(t, read(t, h)[0].Rows, 1)
	require.NoError(t, Refresh(h, []schemas.MatchID{first}))
	require.Equal(t, 1, inFile())
	require.NoError(t, Rebuild(h, []schemas.MatchID{second}))
	require.Equal(t, 1, inFile())
	require.NoError(t, h.Remove(second))
	require.NoError(t, Refresh(h, []schemas.MatchID{second}))
	require.NoDirExists(t, filepath.Join(h.Root(), Folder))
	require.Empty(t, read(t, h))
}

// A match without a report, such as samples of a robot without a profile, has no row.
func TestAMatchWithoutAReportHasNoRow(t *testing.T) {
	h := opened(t)
	id := match("millbrook-open", 1, "heron")
	require.NoError(t, h.Publish(id, false, func(dir string) error {
		return os.WriteFile(filepath.Join(dir, "signals.parquet"), nil, 0o644)
	}))
	events := read(t, h)
	require.Empty(t, events[0].Rows)
	require.Empty(t, events[0].Problems)
}

func TestAFolderThatCannotBeWrittenIsRead(t *testing.T) {
	h := opened(t)
	store(t, h, match("millbrook-open", 1, "heron"), 1)
	require.NoError(t, os.WriteFile(filepath.Join(h.Root(), Folder), nil, 0o644)) // in the way of the folder
	require.Len(t, read(t, h)[0].Rows, 1)
	require.Error(t, Refresh(h, []schemas.MatchID{match("millbrook-open", 1, "heron")}))
}

// While matches come in, many ask; none sees half a file, and the last word is right.
func TestManyAskWhileMatchesComeIn(t *testing.T) {
	h := opened(t)
	store(t, h, match("millbrook-open", 0, "heron"), 0)
	var all sync.WaitGroup
	done := make(chan struct{})
	for range 4 {
		all.Go(func() {
			for {
				select {
				case <-done:
					return
				default:
				}
				ids, err := h.List()
				if err != nil {
					t.Error(err)
					return
				}
				for _, e := range Read(h, ids) {
					if len(e.Problems) > 0 || len(e.Rows) != len(ids) {
						t.Errorf("%d rows of %d matches, %v", len(e.Rows), len(ids), e.Problems)
						return
					}
				}
				time.Sleep(time.Millisecond)
			}
		})
	}
	for n := range 12 {
		store(t, h, match("millbrook-open", n+1, "heron"), n)
	}
	close(done)
	all.Wait()
	events := read(t, h)
	require.Len(t, events[0].Rows, 13)
	left, err := os.ReadDir(filepath.Dir(path(h, "2031", "millbrook-open")))
	require.NoError(t, err)
	require.Len(t, left, 1, "nothing half written stays")
}
