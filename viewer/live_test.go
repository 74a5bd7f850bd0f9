package viewer

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

func fetched(t *testing.T, s *Server, path string) (int, string) {
	t.Helper()
	server := httptest.NewServer(s)
	defer server.Close()
	res, err := http.Get(server.URL + path)
	require.NoError(t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return res.StatusCode, string(body)
}

func TestLiveRowsSayHowEachRobotIs(t *testing.T) {
	silent, fresh, now, low, bound := 4.12, 0.3, 11.5, 9.21, 0.84
	robots := []schemas.LiveRobot{
		{
			Robot: "heron", Analyzed: true, Connected: true, Sources: 2, Running: true, Period: "driver", RunningS: 61.2, SilentS: &fresh,
			Samples: 1234, VoltsNow: &now, VoltsLow: &low, BoundMS: &bound, Newest: "millbrook-open/q14", Seal: 1,
		},
		{Robot: "bittern", Connected: true, Sources: 1, SilentS: &silent, Problem: "no space left on device"},
		{Robot: "curlew", Analyzed: true, SilentS: &silent, Sealing: true, Analyses: 8, Done: 3},
	}
	h, err := home.Create(t.TempDir())
	require.NoError(t, err)
	s := New(h, Options{Live: func() []schemas.LiveRobot { return robots }})
	part := string(s.liveRows())
	for _, want := range []string{
		`data-newest="millbrook-open/q14/heron 1"`, "collecting", "match, driver, 61 s in", "11.5 V now, lowest 9.2 V", "1234 samples kept",
		"clock known to ±0.8 ms", "2 computers", "silent for 4.1 s", "no profile: stored, not analyzed",
		"The newest match could not be stored yet: no space left on device", "making the sheet: 3 of 8 analyses done",
	} {
		require.Contains(t, part, want)
	}
	_, board := fetched(t, s, "/")
	require.Contains(t, board, "match, driver, 61 s in")

	alone := New(h, Options{})
	_, board = fetched(t, alone, "/")
	require.NotContains(t, board, `id="live"`)
}

// The rows are sent as events while they change, and an end of the looking ends it.
func TestLiveRowsAreSentAsTheyChange(t *testing.T) {
	h, err := home.Create(t.TempDir())
	require.NoError(t, err)
	var asked atomic.Int64
	s := New(h, Options{Live: func() []schemas.LiveRobot {
		return []schemas.LiveRobot{{Robot: "heron", Connected: true, Samples: asked.Add(1)}}
	}})
	server := httptest.NewServer(s)
	defer server.Close() // waits for what is under way
	r, err := http.Get(server.URL + "/live/events")
	require.NoError(t, err)
	require.Equal(t, "text/event-stream", r.Header.Get("Content-Type"))
	require.Equal(t, "no-store", r.Header.Get("Cache-Control"))
	lines := bufio.NewScanner(r.Body)
	seen := 0
	for seen < 2 && lines.Scan() {
		line := lines.Text()
		require.True(t, line == "" || strings.HasPrefix(line, "data: "), line)
		if strings.Contains(line, "samples kept") {
			seen++
			require.Contains(t, line, fmt.Sprintf("%d samples kept", seen))
		}
	}
	require.Equal(t, 2, seen)
	require.NoError(t, r.Body.Close())

	status, _ := fetched(t, New(h, Options{}), "/live/events")
	require.Equal(t, http.StatusNoContent, status)
}

// What the profile's signals say of themselves stands in the row, with the caution above it, and
// the supply so far as a ribbon.
func TestLiveRowOfSignals(t *testing.T) {
	fresh, old, age, lost, of, rest := 0.2, 8.0, 12.0, int64(12), int64(3400), 12.61
	robot := schemas.LiveRobot{
		Robot: "heron", Analyzed: true, Connected: true, Sources: 1, Running: true, Period: "driver", RunningS: 3, SilentS: &fresh,
		Mapped: 9, Came: 4, Lost: &lost, LostOf: &of, VoltsRest: &rest, Room: &schemas.LiveRoom{FreeBytes: 2e9, MatchBytes: 1e6, Matches: 1000},
		Strip: []schemas.LiveSecond{{S: 0, LowV: 12.1, HighV: 12.6}, {S: 1, LowV: 8.9, HighV: 12.5}, {S: 2, LowV: 12, HighV: 12.4}},
	}
	for i := range 5 {
		robot.Signals = append(robot.Signals, schemas.LiveSignal{Signal: string(rune('a' + i)), Place: "tilt", State: schemas.LiveLate, AgeS: &age})
	}
	h, err := home.Create(t.TempDir())
	require.NoError(t, err)
	s := New(h, Options{Live: func() []schemas.LiveRobot { return []schemas.LiveRobot{robot} }})
	part := string(s.liveRows())
	for _, want := range []string{
		"4 of 9 signals came lately", "12 of 3400 lost", "rests at 12.61 V", "room for about 1000 matches", "silent for 12 s: a (tilt)",
		"and 2 more: afterbell precheck heron", "Supply voltage of the 3 s so far, lowest 8.9 V.", `class="growing"`,
	} {
		require.Contains(t, part, want)
	}
	require.Less(t, strings.Index(part, "Before hands go in"), strings.Index(part, "silent for 12 s"), "the caution stands above")
	require.NotContains(t, part, "d (tilt)")

	// While nothing comes the state says so, and signals are not blamed one by one.
	robot.SilentS = &old
	part = string(s.liveRows())
	require.NotContains(t, part, "silent for 12 s")
	require.NotContains(t, part, "Before hands")
	robot.Running, robot.Strip = false, nil
	part = string(s.liveRows())
	require.NotContains(t, part, "growing")

	status, text := fetched(t, s, "/live.json")
	require.Equal(t, http.StatusOK, status)
	var got struct{ Robots []schemas.LiveRobot }
	require.NoError(t, json.Unmarshal([]byte(text), &got))
	require.Equal(t, []schemas.LiveRobot{robot}, got.Robots)
	status, _ = fetched(t, New(h, Options{}), "/live.json")
	require.Equal(t, http.StatusNoContent, status)
}

// Samples between matches have no row; a match without a profile has one that says so.
func TestBoardTellsMatchesFromOtherSamples(t *testing.T) {
	h, err := home.Create(t.TempDir())
	require.NoError(t, err)
	for _, match := range []string{"idle-1", "q3"} {
		id := schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: match, Robot: "bittern"}
		require.NoError(t, os.MkdirAll(h.Dir(id), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(h.Dir(id), "signals.parquet"), []byte("x"), 0o644))
	}
	_, board := fetched(t, New(h, Options{}), "/")
	require.NotContains(t, board, "idle-1")
	require.Contains(t, board, "stored without a profile, so not analyzed")
}
