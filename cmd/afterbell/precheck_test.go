package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

type precheckSaid struct {
	From    string
	Robots  []schemas.LiveRobot
	Caution []string
}

func prechecked(t *testing.T, args ...string) precheckSaid {
	t.Helper()
	var got precheckSaid
	o := done(t, afterbell(append(append([]string{"precheck"}, args...), "--json")...))
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &got))
	return got
}

// A robot without one of its beams, asked about while it is collected: by the data folder, by
// the address of the pages and by that of the robots.
func TestPrecheckOfARobot(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	ws, pages, stop := collect(t, data, "--profile", sample("heron.yaml"), "--event", "millbrook-open")
	o := done(t, afterbell("precheck", "--data", data))
	assert.Contains(t, o.stdout, "No robot has sent anything")

	log := readLog(t, sample("clean.csv.gz"))
	kept := &schemas.Log{}
	for _, s := range log.Signals {
		if s.Name != "path/gate/beam" {
			kept.Signals = append(kept.Signals, s)
		}
	}
	first, _, _ := kept.Bounds()
	short := writeLog(t, kept.Cut(first, first+40e6), "q14.csv") // it is still driven at its end
	done(t, afterbell("replay", short, "--robot", "heron", "--to", ws, "--speed", "max"))
	done(t, afterbell("replay", sample("rookie.csv.gz"), "--robot", "curlew", "--to", ws, "--speed", "max"))

	got := prechecked(t, "heron", "--data", data)
	require.Len(t, got.Robots, 1)
	r := got.Robots[0]
	assert.True(t, r.Analyzed)
	assert.Equal(t, 40, r.Mapped)
	assert.Equal(t, 39, r.Came)
	require.NotNil(t, r.Lost)
	assert.Less(t, *r.Lost, *r.LostOf/200)
	require.NotNil(t, r.Room)
	assert.Positive(t, r.Room.FreeBytes)
	assert.NotEmpty(t, r.Strip)
	for _, s := range r.Signals {
		want := schemas.LiveCame
		if s.Signal == "path/gate/beam" {
			want = schemas.LiveNever
		}
		assert.Equal(t, want, s.State, s.Signal)
	}
	robots := "http" + strings.TrimSuffix(strings.TrimPrefix(ws, "ws"), "/v1/live")
	for _, at := range []string{pages, robots} {
		assert.Len(t, prechecked(t, "--collector", at).Robots, 2, at)
	}

	o = done(t, afterbell("precheck", "--data", data))
	for _, want := range []string{
		"heron, from the collector at 127.0.0.1:", "39 of the 40 that the profile names came lately", "never came: path/gate/beam (sensor of stage gate)",
		"no profile of this robot is known", "samples, by the rates of the signals", "GB free", cautionHands, "It does not say that a robot is safe",
	} {
		assert.Contains(t, o.stdout, want)
	}
	assert.NotRegexp(t, `(?i)\b(ok|healthy|passed|ready|fit)\b`, o.stdout)
	failed(t, afterbell("precheck", "bittern", "--data", data), exitFailed, "bittern", "heron")

	board := get(t, pages+"/")
	for _, want := range []string{"39 of 40 signals came lately", " lost<", "GB free", `class="growing"`} {
		assert.Contains(t, board, want)
	}
	require.Equal(t, exitDone, stop().code)
	failed(t, afterbell("precheck", "--data", data), exitFailed, "no collector writes", "--log")
}

func TestPrecheckOfALog(t *testing.T) {
	none := filepath.Join(t.TempDir(), "none")
	got := prechecked(t, "--log", sample("clean.csv.gz"), "--profile", sample("heron.yaml"), "--data", none)
	require.Len(t, got.Robots, 1)
	r := got.Robots[0]
	assert.Equal(t, "heron", r.Robot)
	assert.Equal(t, 40, r.Came)
	require.NotNil(t, r.VoltsRest, "the robot stands disabled at the end of the log")
	assert.InDelta(t, 12.6, *r.VoltsRest, 0.2)
	assert.InDelta(t, 9.41, *r.VoltsLow, 1e-9)
	assert.Nil(t, r.Room, "there is no data folder")
	assert.Nil(t, r.BoundMS)
	require.Len(t, got.Caution, 2)

	o := done(t, afterbell("precheck", "--log", sample("rookie.csv.gz"), "--profile", sample("heron.yaml"), "--data", none))
	assert.Contains(t, o.stdout, "never came: path/mouth/beam (sensor of stage mouth)")
	assert.Contains(t, o.stdout, cautionHands)
	_, err := os.Stat(none)
	assert.ErrorIs(t, err, os.ErrNotExist, "looking leaves nothing behind")
}

func TestPrecheckMistakes(t *testing.T) {
	none := filepath.Join(t.TempDir(), "none")
	failed(t, afterbell("precheck", "--data", none), exitFailed, "no collector writes", "afterbell collect")
	failed(t, afterbell("precheck", "--collector", "here"), exitUsage, "http://HOST:PORT")
	failed(t, afterbell("precheck", "--collector", "http://127.0.0.1:1"), exitFailed, "no collector answers")
	failed(t, afterbell("precheck", "--log", "x.csv"), exitUsage, "--profile")
	failed(t, afterbell("precheck", "--profile", "x.yaml"), exitUsage, "--log")
	failed(t, afterbell("precheck", "--log", "x.csv", "--profile", sample("heron.yaml"), "--collector", "http://127.0.0.1:1"), exitUsage, "one of them")
	failed(t, afterbell("precheck", "--log", "none.csv", "--profile", sample("heron.yaml")), exitFailed, "none.csv")
	failed(t, afterbell("precheck", "heron", "curlew"), exitUsage, "one robot")
	for status, want := range map[int]string{http.StatusNoContent: "collects nothing", http.StatusNotFound: "is no collector", http.StatusOK: "is no collector"} {
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.WriteHeader(status)
			if status == http.StatusOK {
				_, _ = w.Write([]byte("<html>"))
			}
		}))
		failed(t, afterbell("precheck", "--collector", s.URL), exitFailed, want)
		s.Close()
	}
}

// What a robot's signals are called is told to nobody on another machine.
func TestLiveRobotsAreForThisMachine(t *testing.T) {
	h := liveRoutes(nil, func() []schemas.LiveRobot { return []schemas.LiveRobot{{Robot: "heron"}} })
	for from, want := range map[string]int{"127.0.0.1:5": http.StatusOK, "[::1]:5": http.StatusOK, "10.0.0.7:5": http.StatusForbidden, "odd": http.StatusForbidden} {
		q := httptest.NewRequest(http.MethodGet, livePath, nil)
		q.RemoteAddr = from
		w := httptest.NewRecorder()
		h.ServeHTTP(w, q)
		assert.Equal(t, want, w.Code, from)
		assert.Equal(t, want == http.StatusOK, strings.Contains(w.Body.String(), "heron"), from)
	}
}
