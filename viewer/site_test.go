package viewer

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// site is a data folder and a server over it.
type site struct {
	t      testing.TB
	home   *home.Home
	server *Server
	dir    string
}

func newSite(t testing.TB) *site {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "data")
	h, err := home.Create(dir)
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, lock.Unlock()) })
	return &site{t: t, home: h, server: New(h, Options{Version: "test"}), dir: dir}
}

func matchID(season, event, match, robot string) schemas.MatchID {
	return schemas.MatchID{Season: season, Event: event, Match: match, Robot: robot}
}

// store publishes a fixture under that name, begun at that RFC 3339 time, or at a time
// nobody knows when it is empty.
func (s *site) store(m fixture.Match, id schemas.MatchID, at, storedAt string) {
	s.t.Helper()
	robot, err := os.ReadFile(filepath.Join("..", "sample-logs", "heron.yaml"))
	require.NoError(s.t, err)
	r := *m.Report
	r.Match.Season, r.Match.Event, r.Match.Match, r.Match.Robot = id.Season, id.Event, id.Match, id.Robot
	r.Match.At, r.From.StoredAt = nil, storedAt
	if at != "" {
		r.Match.At = &at
	}
	report, err := json.Marshal(&r)
	require.NoError(s.t, err)
	require.NoError(s.t, s.home.Publish(id, true, func(dir string) error {
		signals, err := os.Create(filepath.Join(dir, "signals.parquet"))
		require.NoError(s.t, err)
		_, err = matchfile.Write(signals, m.Log, nil)
		require.NoError(s.t, err)
		require.NoError(s.t, signals.Close())
		require.NoError(s.t, os.WriteFile(filepath.Join(dir, "robot.yaml"), robot, 0o644))
		return os.WriteFile(filepath.Join(dir, "report.json"), report, 0o644)
	}))
}

// answer is what the server said.
type answer struct {
	status int
	header http.Header
	body   string
}

func (s *site) ask(method, target, host string) answer {
	r := httptest.NewRequest(method, target, nil)
	r.Host, r.RemoteAddr = host, "127.0.0.1:5000"
	w := httptest.NewRecorder()
	s.server.ServeHTTP(w, r)
	body, err := io.ReadAll(w.Result().Body)
	require.NoError(s.t, err)
	return answer{w.Code, w.Result().Header, string(body)}
}

func (s *site) get(target string) answer { return s.ask(http.MethodGet, target, "127.0.0.1:4150") }

// page gets an HTML page with that status.
func (s *site) page(target string, status int) *html.Node {
	s.t.Helper()
	a := s.get(target)
	require.Equal(s.t, status, a.status, target)
	require.Equal(s.t, "text/html; charset=utf-8", a.header.Get("Content-Type"), target)
	root, err := html.Parse(strings.NewReader(a.body))
	require.NoError(s.t, err)
	return root
}

// all are the elements under root for which want holds, in the order of the page.
func all(root *html.Node, want func(*html.Node) bool) []*html.Node {
	var out []*html.Node
	for n := range root.Descendants() {
		if n.Type == html.ElementNode && want(n) {
			out = append(out, n)
		}
	}
	return out
}

func tag(name string) func(*html.Node) bool {
	return func(n *html.Node) bool { return n.Data == name }
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func class(name string) func(*html.Node) bool {
	return func(n *html.Node) bool {
		for _, c := range strings.Fields(attribute(n, "class")) {
			if c == name {
				return true
			}
		}
		return false
	}
}

// said is the text under a node, without what a drawing says, spaces made one.
func said(root *html.Node) string {
	var b strings.Builder
	for n := range root.Descendants() {
		if n.Type == html.TextNode {
			b.WriteString(n.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// only is the one element under root for which want holds.
func (s *site) only(root *html.Node, want func(*html.Node) bool) *html.Node {
	s.t.Helper()
	found := all(root, want)
	require.Len(s.t, found, 1)
	return found[0]
}

// rows are the match names of a board from the top down, the newest first.
func (s *site) rows(board *html.Node) []string {
	var out []string
	for _, n := range all(board, func(n *html.Node) bool {
		return class("name")(n) || n.Data == "a" && n.Parent.Data == "th"
	}) {
		out = append(out, said(n))
	}
	return out
}
