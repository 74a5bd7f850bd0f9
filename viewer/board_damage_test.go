package viewer

import (
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// A match that cannot be read says so in its own row and takes nothing else with it.
func TestDamagedMatchKeepsItsRow(t *testing.T) {
	good := matchID("2031", "millbrook-open", "q14", "heron")
	bad := matchID("2031", "millbrook-open", "q15", "heron")
	for name, damage := range map[string]func(dir string) error{
		"half a report": func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "report.json"), []byte(`{"report":1,"ver`), 0o644)
		},
		"another version": func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "report.json"), []byte(`{"report":2}`), 0o644)
		},
		"no report":  func(dir string) error { return os.Remove(filepath.Join(dir, "report.json")) },
		"no profile": func(dir string) error { return os.Remove(filepath.Join(dir, "robot.yaml")) },
		"a broken profile": func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "robot.yaml"), []byte("robot: ["), 0o644)
		},
		"no samples": func(dir string) error { return os.Remove(filepath.Join(dir, "signals.parquet")) },
		"samples of zeroes": func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "signals.parquet"), make([]byte, 500), 0o644)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t)
			s.store(fixture.Busy(), good, "2031-03-01T14:32:00Z", "")
			s.store(fixture.Busy(), bad, "2031-03-01T15:00:00Z", "")
			require.NoError(t, damage(s.home.Dir(bad)))
			board := s.page("/", 200)
			require.Equal(t, []string{"q14", "q15"}, s.rows(board), "the newest that can be shown is on top")
			row := said(s.only(board, class("broken")))
			require.Contains(t, row, "This match cannot be shown:")
			require.Regexp(t, "afterbell verify --rebuild 2031/millbrook-open/q15/heron|import its log again with --replace", row, "what to do")
			require.Contains(t, row, "q15")
			main := s.only(s.page("/m/millbrook-open/q15/heron", 500), tag("main"))
			require.Contains(t, said(main), "The sheet of q15 cannot be shown.")
			s.page("/m/millbrook-open/q14/heron", 200)
		})
	}
}

func TestBoardOfDamageAlone(t *testing.T) {
	s := newSite(t)
	s.store(fixture.Busy(), q14, "", "")
	require.NoError(t, os.Remove(filepath.Join(s.home.Dir(q14), "report.json")))
	board := s.page("/", 200)
	require.Equal(t, "No match can be shown.", said(s.only(board, tag("h1"))))
	require.Contains(t, said(s.only(board, class("broken"))), "afterbell verify --rebuild 2031/millbrook-open/q14/heron")
}

// Rows are kept in memory; a match that was put in the place of another must show anew,
// and one that was removed must go.
func TestReplacedMatchShowsAnew(t *testing.T) {
	s := newSite(t)
	s.store(fixture.Busy(), matchID("2031", "millbrook-open", "q14", "heron"), "2031-03-01T14:32:00Z", "")
	q11 := matchID("2031", "millbrook-open", "q11", "heron")
	s.store(fixture.Busy(), q11, "2031-03-01T13:41:00Z", "")
	row := func() string { return said(s.only(s.only(s.page("/", 200), class("matches")), tag("tbody"))) }
	require.Contains(t, row(), fixture.Busy().Report.Verdict.Text)
	require.Equal(t, row(), row(), "again from memory")
	s.store(fixture.Rookie(), q11, "2031-03-01T13:41:00Z", "")
	require.NotContains(t, row(), fixture.Busy().Report.Verdict.Text)
	require.Contains(t, row(), fixture.Rookie().Report.Verdict.Text)
	require.NoError(t, os.RemoveAll(s.home.Dir(q11)))
	require.Empty(t, all(s.page("/", 200), class("matches")))
}

func TestAFolderThatIsGoneIsSaid(t *testing.T) {
	s := newSite(t)
	require.NoError(t, os.RemoveAll(s.dir))
	require.Contains(t, said(s.only(s.page("/", 500), tag("main"))), "The data folder cannot be read.")
	require.NoError(t, os.MkdirAll(s.dir, 0o755))
}

// Pages are asked for while matches are stored: no answer fails for it, and what is not
// touched is always there.
func TestBoardWhileMatchesAreReplaced(t *testing.T) {
	s := newSite(t)
	q13, q15 := matchID("2031", "millbrook-open", "q13", "heron"), matchID("2031", "millbrook-open", "q15", "heron")
	s.store(fixture.Rookie(), q13, "2031-03-01T13:00:00Z", "")
	s.store(fixture.Rookie(), q15, "2031-03-01T15:00:00Z", "")
	stop := make(chan struct{})
	boards := make([][]answer, 4)
	var readers sync.WaitGroup
	for i := range boards {
		readers.Go(func() {
			for {
				boards[i] = append(boards[i], s.get("/"))
				select {
				case <-stop:
					return
				default:
				}
			}
		})
	}
	for range 5 {
		s.store(fixture.Busy(), q15, "2031-03-01T15:00:00Z", "")
		s.store(fixture.Rookie(), q15, "2031-03-01T15:00:00Z", "")
	}
	close(stop)
	readers.Wait()
	for _, answers := range boards {
		for _, a := range answers {
			require.Equal(t, 200, a.status)
			require.Contains(t, a.body, "/m/millbrook-open/q13/heron")
		}
	}
	require.Equal(t, []string{"q15", "q13"}, s.rows(s.page("/", 200)))
}
