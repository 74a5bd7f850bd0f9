package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

// collect runs the command until the test ends, and returns the addresses it printed.
func collect(t *testing.T, data string, args ...string) (ws, pages string, stop func() outcome) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	out, in := io.Pipe()
	var stderr lockedBuffer
	done := make(chan int, 1)
	go func() {
		all := append([]string{"collect", "--data", data, "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0", "--season", "2031"}, args...)
		done <- run(ctx, all, strings.NewReader(""), in, &stderr)
		in.Close()
	}()
	buf := make([]byte, 4096)
	text := ""
	for strings.Count(text, "\n") < 2 {
		n, err := out.Read(buf)
		require.NoError(t, err, stderr.String())
		text += string(buf[:n])
	}
	go io.Copy(io.Discard, out)
	lines := strings.Split(text, "\n")
	stop = func() outcome {
		cancel()
		return outcome{<-done, text, stderr.String()}
	}
	return strings.TrimPrefix(lines[0], "listening on "), strings.TrimPrefix(lines[1], "serving on "), stop
}

// A stored log goes over the wire, and comes out as the match, the sheet and the board that an
// import of the same log makes.
func TestReplayedMatchIsSealedAndServed(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	ws, pages, stop := collect(t, data, "--profile", sample("heron.yaml"), "--event", "millbrook-open")
	done(t, afterbell("replay", sample("jam-reversed.csv.gz"), "--robot", "heron", "--to", ws, "--speed", "max", "--match", "q11", "--event", "millbrook-open"))
	id := schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: "q11", Robot: "heron"}
	h, err := home.Open(data)
	require.NoError(t, err)
	require.Eventually(t, func() bool { return h.Exists(id) }, 30*time.Second, 10*time.Millisecond)
	live, err := readReport(h, id)
	require.NoError(t, err)
	var imported schemas.Report
	o := done(t, afterbell("analyze", sample("jam-reversed.csv.gz"), "--profile", sample("heron.yaml"), "--json"))
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &imported))
	require.Equal(t, len(imported.Jams), len(live.Jams))
	require.NotEmpty(t, live.Jams)
	require.InDelta(t, imported.Jams[0].StartS, live.Jams[0].StartS, 1e-9)
	require.Equal(t, imported.Verdict, live.Verdict)
	require.Equal(t, imported.Quality.Samples, live.Quality.Samples)

	board := get(t, pages+"/")
	require.Contains(t, board, "q11")
	require.Contains(t, board, `id="live"`)
	require.Contains(t, get(t, pages+"/m/millbrook-open/q11/heron"), live.Verdict.Text[:20])
	health := get(t, "http"+strings.TrimSuffix(strings.TrimPrefix(ws, "ws"), "/v1/live")+"/healthz")
	require.True(t, json.Valid([]byte(health)))
	require.Contains(t, health, `"ok":true`)
	require.Contains(t, get(t, "http"+strings.TrimSuffix(strings.TrimPrefix(ws, "ws"), "/v1/live")+"/metrics"), "afterbell_seals_total 1")
	o = stop()
	require.Equal(t, exitDone, o.code, o.stderr)
	done(t, afterbell("verify", "--data", data))
}

func get(t *testing.T, url string) string {
	t.Helper()
	res, err := http.Get(url)
	require.NoError(t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, res.StatusCode, url)
	return string(body)
}

func TestCollectRefusesWhatCannotWork(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	for want, args := range map[string][]string{
		"no token was made":              {"--listen", "0.0.0.0:0"},
		"is not an address":              {"--listen", "here"},
		"go together":                    {"--tls-cert", "cert.pem"},
		"--max-rate 0":                   {"--max-rate", "0"},
		"event \"No\" is not a name":     {"--event", "No"},
		"there is no such file":          {"--profile", "none.yaml"},
		"another profile is for robot":   {"--profile", sample("heron.yaml"), "--profile", sample("heron.yaml")},
		"--pages":                        {"--pages", "0.0.0.0:1"},
		"cert.pem: no such file or dire": {"--tls-cert", "cert.pem", "--tls-key", "key.pem"},
	} {
		o := afterbell(append([]string{"collect", "--data", data}, args...)...)
		require.Equal(t, exitUsage, o.code, "%v: %s", args, o.stderr)
		require.Contains(t, o.stderr, want)
		require.Empty(t, o.stdout)
	}
}

func TestTokenIsShownOnce(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	o := afterbell("collect", "token", "--data", data, "--for", "heron")
	require.Equal(t, exitDone, o.code, o.stderr)
	require.Regexp(t, `^ab_[0-9a-f]{48}\n$`, o.stdout)
}

// lockedBuffer is a buffer that is written by one goroutine and read by another.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
