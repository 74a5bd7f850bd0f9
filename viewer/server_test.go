package viewer

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"github.com/afterbell/afterbell/viewer/draw/fixture"
	"github.com/afterbell/afterbell/viewer/page"
)

var q14 = matchID("2031", "millbrook-open", "q14", "heron")

// withQ14 is a site of one match.
func withQ14(t testing.TB) *site {
	s := newSite(t)
	s.store(fixture.Busy(), q14, "2031-03-01T14:32:00Z", "2031-03-01T14:35:10Z")
	return s
}

func TestRoutes(t *testing.T) {
	s := withQ14(t)
	const page, plain = "text/html; charset=utf-8", "text/plain; charset=utf-8"
	for _, c := range []struct {
		target string
		status int
		kind   string
	}{
		{"/", 200, page},
		{"/m/millbrook-open/q14/heron", 200, page},
		{"/m/2031/millbrook-open/q14/heron", 200, page},
		{"/m/2031/millbrook-open/q14/heron/report.json", 200, "application/json"},
		{"/assets/page.css", 200, "text/css; charset=utf-8"},
		{"/assets/archivo.woff2", 200, "font/woff2"},
		{"/favicon.ico", 200, "image/svg+xml"},
		{"/newest.json", 200, "application/json"},
		{"/t/millbrook-open/q14/heron", 200, page},
		{"/t/2031/millbrook-open/q14/heron", 200, page},
		{"/t/millbrook-open/q15/heron", 404, page},
		{"/api/v1/matches", 200, "application/json"},
		{"/api/v2/matches", 404, page},
		{"/m/millbrook-open/q15/heron", 404, page},
		{"/m/2030/millbrook-open/q14/heron", 404, page},
		{"/m/2030/millbrook-open/q14/heron/report.json", 404, page},
		{"/m/millbrook-open/q14", 404, page},
		{"/nowhere", 404, page},
		{"/assets/", 404, page},
		{"/assets/nothing.js", 404, plain}, // never a page in the place of a script
		{"/assets/board.tmpl", 404, plain},
	} {
		a := s.get(c.target)
		require.Equal(t, c.status, a.status, c.target)
		require.Equal(t, c.kind, a.header.Get("Content-Type"), c.target)
		require.NotEmpty(t, a.body, c.target)
	}
}

func TestNotFoundSaysWhatIsNear(t *testing.T) {
	s := withQ14(t)
	main := s.only(s.page("/m/millbrook-open/q41/heron", 404), tag("main"))
	require.Contains(t, said(main), "There is no such match.")
	require.Contains(t, said(main), "nearest: 2031/millbrook-open/q14/heron")
	main = s.only(s.page("/m/millbrook-open/Q14/heron", 404), tag("main"))
	require.Contains(t, said(main), `match "Q14" is not a name`)
}

// DNS rebinding: a foreign name that leads to this machine must not read the answers.
func TestOnlyThisMachineIsAnswered(t *testing.T) {
	s := withQ14(t)
	for host, status := range map[string]int{
		"127.0.0.1": 200, "127.0.0.1:4150": 200, "localhost": 200, "localhost:4150": 200, "[::1]:4150": 200, "[::1]": 200, "127.8.9.1:80": 200,
		"": 421, "pit.example": 421, "pit.example:4150": 421, "localhost.example": 421, "127.0.0.1.example": 421,
		"192.168.1.4:4150": 421, "0.0.0.0:4150": 421, "[::]:4150": 421, "127.0.0.1:4150:4150": 421, "a@127.0.0.1": 421,
	} {
		for _, target := range []string{"/", "/assets/page.css", "/m/2031/millbrook-open/q14/heron/report.json"} {
			a := s.ask(http.MethodGet, target, host)
			require.Equal(t, status, a.status, "%s of %q", target, host)
			if status == 421 {
				require.NotContains(t, a.body, "q14", "%s of %q", target, host)
			}
		}
	}
}

// Every answer carries the policy, also those that are no page.
func TestEveryAnswerIsGuarded(t *testing.T) {
	s := withQ14(t)
	answers := map[string]answer{
		"board": s.get("/"), "sheet": s.get("/m/millbrook-open/q14/heron"), "asset": s.get("/assets/page.css"),
		"report": s.get("/m/2031/millbrook-open/q14/heron/report.json"), "icon": s.get("/favicon.ico"),
		"no page": s.get("/nowhere"), "no asset": s.get("/assets/nothing.js"), "no match": s.get("/m/a/b/c"),
		"post": s.ask(http.MethodPost, "/", "localhost"), "foreign": s.ask(http.MethodGet, "/", "pit.example"),
		"redirect": s.get("/m//millbrook-open/q14/heron"),
	}
	require.Equal(t, 421, answers["foreign"].status)
	for name, a := range answers {
		policy := a.header.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'", name)
		require.NotContains(t, policy, "unsafe", name)
		require.NotContains(t, policy, "*", name)
		for key, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin",
		} {
			require.Equal(t, want, a.header.Get(key), "%s of %s", key, name)
		}
		if name != "asset" {
			require.Equal(t, "no-store", a.header.Get("Cache-Control"), name)
		}
		require.Empty(t, a.header.Get("Access-Control-Allow-Origin"), name)
	}
}

// What the policy forbids must not be on a page in the first place: no script or style in
// it, no handler or style attribute, nothing from elsewhere.
func TestPagesHoldNothingInline(t *testing.T) {
	s := withQ14(t)
	s.store(fixture.Hostile(), matchID("2031", "millbrook-open", "q15", "heron"), "2031-03-01T15:00:00Z", "")
	for target, status := range map[string]int{
		"/": 200, "/m/millbrook-open/q14/heron": 200, "/m/millbrook-open/q15/heron": 200, "/t/millbrook-open/q14/heron": 200, "/t/millbrook-open/q15/heron": 200, "/nowhere": 404, "/m/a/b/c": 404,
	} {
		for n := range s.page(target, status).Descendants() {
			if n.Type != html.ElementNode {
				continue
			}
			require.NotContains(t, []string{"style", "iframe", "object", "embed", "base", "img"}, n.Data, target)
			if n.Data == "script" {
				require.True(t, strings.HasPrefix(attribute(n, "src"), page.AssetsPath), target)
				require.Nil(t, n.FirstChild, "%s: a script with text", target)
			}
			for _, a := range n.Attr {
				require.NotEqual(t, "style", a.Key, target)
				require.False(t, strings.HasPrefix(a.Key, "on"), "%s: %s", target, a.Key)
				if a.Key == "href" || a.Key == "src" || a.Key == "action" || a.Key == "formaction" {
					require.Regexp(t, `^[/#]([^/].*)?$`, a.Val, target)
				}
			}
		}
	}
}

// Names from an address reach no other file, and come back as text only.
func TestOddNamesLeadNowhere(t *testing.T) {
	s := withQ14(t)
	outside := filepath.Join(filepath.Dir(s.dir), "robot=secret")
	require.NoError(t, os.MkdirAll(outside, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(outside, "report.json"), []byte(`{"report":1,"verdict":{"text":"A secret."}}`), 0o644))
	for _, name := range []string{
		"..", "../..", "../../..", ".", "", "~", `..\..`, "q14\x00", "q14/", "q14/../q14", "season=2031", "Q14", "q14 ", "q14%", "<script>alert(1)</script>",
		`"><img src=x>`, "q14\r\nSet-Cookie: a=b", "\u202eq14", "日本", strings.Repeat("a", 65), strings.Repeat("../", 40) + "etc/passwd", "secret",
	} {
		e := url.PathEscape(name)
		for _, target := range []string{
			"/m/millbrook-open/" + e + "/heron", "/m/" + e + "/q14/heron", "/m/" + e + "/millbrook-open/q14/heron",
			"/m/2031/millbrook-open/q14/" + e + "/report.json", "/m/2031/" + e + "/" + e + "/" + e + "/report.json", "/assets/" + e, "/x" + e,
		} {
			a := s.get(target)
			require.Contains(t, []int{301, 307, 404}, a.status, "%q", target)
			require.NotContains(t, a.body, "A secret", "%q", target)
			require.NotContains(t, a.body, "<script>alert", "%q", target)
			require.NotContains(t, a.body, "<img", "%q", target)
			require.Empty(t, a.header.Get("Set-Cookie"), "%q", target)
			if to := a.header.Get("Location"); to != "" {
				require.Regexp(t, `^/([^/\\]|$)`, to, "%q leads out", target)
			}
		}
	}
}

func TestOnlyGetAndHead(t *testing.T) {
	s := withQ14(t)
	for _, method := range []string{"POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "PROPFIND"} {
		for _, target := range []string{"/", "/m/millbrook-open/q14/heron", "/assets/page.css", "/nowhere"} {
			a := s.ask(method, target, "localhost")
			require.Equal(t, http.StatusMethodNotAllowed, a.status, "%s %s", method, target)
			require.Equal(t, "GET, HEAD", a.header.Get("Allow"), "%s %s", method, target)
		}
	}
	require.Equal(t, 200, s.ask(http.MethodHead, "/", "localhost").status)
}

func TestTwoSeasonsAreAskedAbout(t *testing.T) {
	s := withQ14(t)
	old := matchID("2030", "millbrook-open", "q14", "heron")
	s.store(fixture.Rookie(), old, "2030-03-02T10:00:00Z", "")
	main := s.only(s.page("/m/millbrook-open/q14/heron", 300), tag("main"))
	var links []string
	for _, a := range all(main, tag("a")) {
		links = append(links, attribute(a, "href"))
		require.Equal(t, strings.TrimPrefix(attribute(a, "href"), "/m/"), said(a))
		s.page(attribute(a, "href"), 200)
	}
	require.ElementsMatch(t, []string{"/m/2030/millbrook-open/q14/heron", "/m/2031/millbrook-open/q14/heron"}, links)

	// The board leads past the question.
	for _, a := range all(s.page("/", 200), tag("a")) {
		if href := attribute(a, "href"); strings.HasPrefix(href, "/m/") {
			s.page(strings.Split(href, "#")[0], 200)
		}
	}
}
