package index

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

type folder struct {
	t    testing.TB
	home *home.Home
}

func newFolder(t testing.TB) *folder {
	h, err := home.Create(filepath.Join(t.TempDir(), "data"))
	require.NoError(t, err)
	return &folder{t, h}
}

func (f *folder) index() *Index { return New(f.home, func(schemas.MatchID) bool { return false }) }

func matchOf(event, match, robot string) schemas.MatchID {
	return schemas.MatchID{Season: "2031", Event: event, Match: match, Robot: robot}
}

// put writes the report of a match, as its readers find it.
func (f *folder) put(id schemas.MatchID, at, battery, verdict string, kinds ...string) {
	r := schemas.Report{
		Report: schemas.ReportVersion, From: schemas.From{StoredAt: "2031-01-01T00:00:00Z"},
		Verdict: schemas.Verdict{Severity: schemas.SeverityFix, Text: verdict}, Battery: schemas.Battery{ID: battery},
	}
	if at != "" {
		r.Match.At = &at
	}
	for i, k := range kinds {
		r.Findings = append(r.Findings, schemas.Finding{ID: fmt.Sprintf("%s-x-%d", k, i+1), Kind: k, StartS: float64(i)})
	}
	r.Finish()
	data, err := json.Marshal(r)
	require.NoError(f.t, err)
	require.NoError(f.t, os.MkdirAll(f.home.Dir(id), 0o755))
	require.NoError(f.t, os.WriteFile(filepath.Join(f.home.Dir(id), "report.json"), data, 0o644))
}

func refreshed(t testing.TB, x *Index) *Snapshot {
	s, err := x.Refresh()
	require.NoError(t, err)
	return s
}

func names(entries []Entry) []string {
	out := []string{}
	for _, e := range entries {
		out = append(out, e.ID.Match)
	}
	return out
}

func TestFilters(t *testing.T) {
	f := newFolder(t)
	f.put(matchOf("alder-cup", "q1", "heron"), "2031-02-28T23:30:00-05:00", "B1", "A loaf is stuck in the lift.", "jam")
	f.put(matchOf("alder-cup", "q2", "curlew"), "2031-03-01T08:00:00Z", "B2", "Battery B2 is weak.", "battery", "brownout")
	f.put(matchOf("millbrook-open", "q3", "heron"), "2031-03-02T08:00:00Z", "B2", "Slow.", "slow_cycle", "jam")
	f.put(matchOf("millbrook-open", "q4", "heron"), "", "", "Unknown time.")
	note := `{"note":1,"kind":"remark","at":"2031-03-01T14:40:00Z","text":"Belt replaced","withdrawn":false}` + "\n"
	require.NoError(t, os.WriteFile(filepath.Join(f.home.Dir(matchOf("millbrook-open", "q3", "heron")), "notes.jsonl"), []byte(note), 0o644))
	s := refreshed(t, f.index())
	require.Equal(t, Facets{
		Seasons: []string{"2031"}, Events: []string{"alder-cup", "millbrook-open"}, Robots: []string{"curlew", "heron"},
		Batteries: []string{"B1", "B2"}, Kinds: []string{"battery", "brownout", "jam", "slow_cycle"},
	}, s.Facets)
	for query, want := range map[string][]string{
		"":                               {"q3", "q2", "q1", "q4"},
		"robot=heron":                    {"q3", "q1", "q4"},
		"robot=heron&kind=jam":           {"q3", "q1"},
		"battery=B2&event=alder-cup":     {"q2"},
		"season=2030":                    {},
		"from=2031-03-01":                {"q3", "q2"},
		"to=2031-02-28":                  {"q1"}, // its own day, which is the first of March in Greenwich
		"from=2031-03-01&to=2031-03-01":  {"q2"},
		"q=LOAF":                         {"q1"},
		"q=heron%20lift":                 {"q1"},
		"q=belt":                         {"q3"},
		"q=stuck%20curlew":               {},
		"kind=nonsense":                  {},
		"robot=heron&from=&battery=&q=+": {"q3", "q1", "q4"},
	} {
		q, err := url.ParseQuery(query)
		require.NoError(t, err)
		filter, err := ParseFilter(q)
		require.NoError(t, err)
		p := s.Page(filter, Place{}, 10)
		require.Equal(t, want, names(p.Entries), query)
		require.Equal(t, len(want), p.Total, query)
		again, err := ParseFilter(filter.Query())
		require.NoError(t, err)
		require.Equal(t, filter, again)
	}
	_, err := ParseFilter(url.Values{"from": {"yesterday"}})
	require.ErrorContains(t, err, `from="yesterday" is no day`)
}

// Pages together are the table, each match once, whatever their size, also when newer matches
// come in between and when the match a page ended with goes.
func TestPagesAreTheTable(t *testing.T) {
	f := newFolder(t)
	for i := range 23 {
		f.put(matchOf("alder-cup", fmt.Sprintf("q%d", i), "heron"), fmt.Sprintf("2031-03-%02dT08:00:00Z", 1+i/2), "", "") // two at a time
	}
	x := f.index()
	s := refreshed(t, x)
	for _, size := range []int{1, 2, 5, 23, 24} {
		var all []string
		var after Place
		for {
			p := s.Page(Filter{}, after, size)
			all = append(all, names(p.Entries)...)
			if after = p.Next; after == (Place{}) {
				break
			}
			read, err := ParsePlace(after.String())
			require.NoError(t, err)
			require.Equal(t, after, read)
		}
		require.Equal(t, names(s.Entries), all, "%d a page", size)
	}
	p := s.Page(Filter{}, Place{}, 5)
	want := names(s.Page(Filter{}, p.Next, 5).Entries)
	f.put(matchOf("alder-cup", "new", "heron"), "2031-05-01T08:00:00Z", "", "")
	require.NoError(t, os.RemoveAll(f.home.Dir(p.Entries[4].ID)))
	require.Equal(t, want, names(refreshed(t, x).Page(Filter{}, p.Next, 5).Entries))
	for _, bad := range []string{"x", "12", "1e3~a", "~"} {
		_, err := ParsePlace(bad)
		require.Error(t, err, bad)
	}
}

// Whatever changes in the folder, the index says what one made anew says; and so does one that
// begins with the file of another.
func TestIndexFollowsTheFolder(t *testing.T) {
	f := newFolder(t)
	r := rand.New(rand.NewPCG(3, 3))
	x := f.index()
	told := func(s *Snapshot) string {
		var b strings.Builder
		for _, e := range s.Entries {
			fmt.Fprintln(&b, e.ID, e.Order.UnixNano(), e.At, e.Date, e.Battery, e.Severity, e.Verdict, e.Kinds, e.Whole, e.Notes, e.Tally, e.Short, e.judged, e.words)
		}
		return b.String()
	}
	for step := range 400 {
		id := matchOf("alder-cup", fmt.Sprintf("q%d", r.IntN(150)), []string{"heron", "curlew"}[r.IntN(2)])
		dir := f.home.Dir(id)
		switch r.IntN(6) {
		default:
			f.put(id, fmt.Sprintf("2031-03-01T08:%02d:00Z", r.IntN(60)), fmt.Sprintf("B%d", r.IntN(3)), fmt.Sprintf("Verdict %d.", step), "jam")
		case 3:
			require.NoError(t, os.RemoveAll(dir))
		case 4:
			if _, err := os.Stat(dir); err == nil {
				require.NoError(t, os.WriteFile(filepath.Join(dir, "report.json"), []byte("{"), 0o644))
			}
		case 5:
			if _, err := os.Stat(dir); err == nil {
				lines := fmt.Sprintf(`{"note":1,"kind":"remark","at":"2031-03-01T14:40:00Z","text":"step %d","withdrawn":false}`+"\n"+
					`{"note":1,"kind":"verdict","at":"2031-03-01T14:40:00Z","finding":"jam-x-1","finding_kind":"jam","start_s":0,"confidence":0.9,"happened":"yes"}`+"\n", step)
				require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.jsonl"), []byte(lines), 0o644))
			}
		}
		if step%20 == 0 || step > 380 {
			want := told(refreshed(t, New(f.home, x.skip)))
			require.Equal(t, want, told(refreshed(t, x)), "step %d", step)
		}
	}
	file := filepath.Join(f.home.Root(), CacheFile)
	require.FileExists(t, file, "so many are worth it")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NotContains(t, string(data), "step", "what the crew noted is theirs to hand on")
	want := told(refreshed(t, x))
	require.Equal(t, want, told(refreshed(t, f.index())), "from the file")
	for _, damaged := range []string{"", "{", `{"version":9}`, `{"version":1,"matches":[{"id":"x"}]}`, string(data[:len(data)/2])} {
		require.NoError(t, os.WriteFile(file, []byte(damaged), 0o644))
		require.Equal(t, want, told(refreshed(t, f.index())))
	}
	left, err := os.ReadDir(f.home.Root())
	require.NoError(t, err)
	require.False(t, slices.ContainsFunc(left, func(e os.DirEntry) bool { return strings.HasPrefix(e.Name(), CacheFile+"-") }), "nothing half written stays")
}

func TestALargeFolderSaysHowFarItIs(t *testing.T) {
	f := newFolder(t)
	for i := range 300 {
		f.put(matchOf("alder-cup", fmt.Sprintf("q%d", i), "heron"), "", "", "")
	}
	x := f.index()
	s, err := x.Soon(0)
	require.NoError(t, err)
	if s == nil { // it may be ready all the same
		_, all := x.Progress()
		require.LessOrEqual(t, all, 300)
	}
	require.Eventually(t, func() bool { s, err := x.Soon(time.Second); return err == nil && s != nil && len(s.Entries) == 300 }, 10*time.Second, time.Millisecond)
}

// BenchmarkTenThousand is a folder of that many matches: cold reads every report, begun reads
// the file of an earlier process and looks whether anything changed, again looks whether
// anything changed, query finds a page of one robot's jams with a word.
func BenchmarkTenThousand(b *testing.B) {
	f := newFolder(b)
	report := []string{"jam", "brownout", "slow_cycle", "balance"}
	for i := range 10_000 {
		f.put(matchOf(fmt.Sprintf("event-%d", i/200), fmt.Sprintf("q%d", i%200), []string{"heron", "bittern", "curlew"}[i%3]),
			time.Date(2031, 1, 1, 0, i*20, 0, 0, time.UTC).Format(time.RFC3339), fmt.Sprintf("B%d", i%7), "A loaf is still stuck in the lift, and battery B3 is browning out.",
			report[i%4], report[(i/3)%4])
	}
	b.Run("cold", func(b *testing.B) {
		for b.Loop() {
			_ = os.Remove(filepath.Join(f.home.Root(), CacheFile))
			require.Len(b, refreshed(b, f.index()).Entries, 10_000)
		}
	})
	b.Run("begun", func(b *testing.B) {
		for b.Loop() {
			require.Len(b, refreshed(b, f.index()).Entries, 10_000)
		}
	})
	x := f.index()
	s := refreshed(b, x)
	b.Run("again", func(b *testing.B) {
		for b.Loop() {
			refreshed(b, x)
		}
	})
	b.Run("query", func(b *testing.B) {
		filter := Filter{Robot: "heron", Kind: "jam", Words: "lift stuck"}
		for b.Loop() {
			if p := s.Page(filter, Place{}, 25); len(p.Entries) != 25 {
				b.Fatal(p.Total)
			}
		}
	})
	b.Run("last page", func(b *testing.B) {
		after := PlaceOf(s.Entries[len(s.Entries)-26])
		for b.Loop() {
			if p := s.Page(Filter{}, after, 25); len(p.Entries) != 25 {
				b.Fatal(p.Total)
			}
		}
	})
}
