package viewer

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
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
		{Robot: "curlew", Analyzed: true, SilentS: &silent, Sealing: true},
	}
	h, err := home.Create(t.TempDir())
	require.NoError(t, err)
	s := New(h, Options{Live: func() []schemas.LiveRobot { return robots }})
	status, part := fetched(t, s, "/live")
	require.Equal(t, http.StatusOK, status)
	for _, want := range []string{
		`data-newest="millbrook-open/q14/heron 1"`, "collecting", "match, driver, 61 s in", "11.5 V now, lowest 9.2 V", "1234 samples kept",
		"clock known to ±0.8 ms", "2 computers", "silent for 4.1 s", "no profile: stored, not analyzed",
		"The newest match could not be stored yet: no space left on device", "making the sheet",
	} {
		require.Contains(t, part, want)
	}
	_, board := fetched(t, s, "/")
	require.Contains(t, board, "match, driver, 61 s in")

	alone := New(h, Options{})
	status, _ = fetched(t, alone, "/live")
	require.Equal(t, http.StatusNoContent, status)
	_, board = fetched(t, alone, "/")
	require.NotContains(t, board, `id="live"`)
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
