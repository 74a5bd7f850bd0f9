package viewer

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

const lanToken = "Kt7cW0vHq3bN5xZ8aLpR2dYf"

// phone is another machine in the network, with a browser that keeps cookies.
type phone struct {
	t      *testing.T
	client *http.Client
	url    string // of the server, as the link says it
}

func newPhone(t *testing.T, s *site) *phone {
	server := httptest.NewServer(s.server.Lan(lanToken))
	t.Cleanup(server.Close)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &phone{t, &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}, server.URL}
}

// ask sends a request; change may spoil it first.
func (p *phone) ask(method, path string, change func(*http.Request)) answer {
	p.t.Helper()
	r, err := http.NewRequest(method, p.url+path, strings.NewReader("text=hello&finding=jam-lift-1&happened=no"))
	require.NoError(p.t, err)
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if change != nil {
		change(r)
	}
	res, err := p.client.Do(r)
	require.NoError(p.t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(p.t, err)
	return answer{res.StatusCode, res.Header, string(body)}
}

func (p *phone) get(path string) answer { return p.ask(http.MethodGet, path, nil) }

var everywhere = []string{
	"/", "/?q=jam", "/live/events", "/newest.json", "/m/millbrook-open/q14/heron", "/m/2031/millbrook-open/q14/heron/report.json",
	"/t/millbrook-open/q14/heron", "/api/v1/matches", "/api/v1/openapi.json", "/assets/page.css", "/favicon.ico", "/lan", "/nowhere",
}

func TestNothingIsShownWithoutTheToken(t *testing.T) {
	s := withQ14(t)
	p := newPhone(t, s)
	for _, path := range everywhere {
		for name, spoil := range map[string]func(*http.Request){
			"no cookie":       nil,
			"an empty cookie": func(r *http.Request) { r.AddCookie(&http.Cookie{Name: lanCookie}) },
			"a wrong cookie":  func(r *http.Request) { r.AddCookie(&http.Cookie{Name: lanCookie, Value: lanToken[1:]}) },
			"in the address":  func(r *http.Request) { r.URL.RawQuery = "token=" + lanToken },
			"in a header":     func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+lanToken) },
			"from this very machine": func(r *http.Request) {
				r.Header.Set("X-Forwarded-For", "127.0.0.1")
			},
		} {
			a := p.ask(http.MethodGet, path, spoil)
			require.Equal(t, http.StatusUnauthorized, a.status, "%s, %s", path, name)
			require.NotContains(t, a.body, "q14", path)
			require.NotContains(t, a.body, "heron", path)
		}
	}
	for _, token := range []string{"", "wrong", lanToken + "x"} {
		a := p.get(enterPath + "?token=" + token)
		require.Equal(t, http.StatusUnauthorized, a.status)
		require.Empty(t, a.header.Get("Set-Cookie"))
	}
}

func TestTheTokenBecomesACookie(t *testing.T) {
	p := newPhone(t, withQ14(t))
	link, err := url.Parse(LanLink("192.168.1.5:4152", lanToken))
	require.NoError(t, err)
	require.Equal(t, "192.168.1.5:4152", link.Host)
	a := p.get(link.RequestURI())
	require.Equal(t, http.StatusOK, a.status)
	cookies := (&http.Response{Header: a.header}).Cookies()
	require.Len(t, cookies, 1)
	require.True(t, cookies[0].HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, cookies[0].SameSite)
	require.Zero(t, cookies[0].MaxAge, "it goes when the browser does")
	require.Equal(t, "0; url=/", a.header.Get("Refresh"), "the token leaves the address")
	require.Equal(t, "no-referrer", a.header.Get("Referrer-Policy"))
	require.Equal(t, "no-store", a.header.Get("Cache-Control"))
	require.NotContains(t, a.body, lanToken)

	board := p.get("/")
	require.Equal(t, http.StatusOK, board.status)
	require.Contains(t, board.body, "q14")
	require.NotContains(t, board.body, lanToken)
}

func TestOverTheNetworkPagesAreForReading(t *testing.T) {
	s := withQ14(t)
	s.server.ShowLan([]string{LanLink("192.168.1.5:4152", lanToken)})
	p := newPhone(t, s)
	p.get(enterPath + "?token=" + lanToken)
	for _, path := range everywhere {
		a := p.get(path)
		switch path {
		case "/lan", "/nowhere":
			require.Equal(t, http.StatusNotFound, a.status, path)
		case "/live/events":
			require.Equal(t, http.StatusNoContent, a.status, path)
		default:
			require.Equal(t, http.StatusOK, a.status, path)
		}
		require.NotContains(t, a.body, lanToken, "%s: the link is the laptop's to hand on", path)
		require.Contains(t, []string{"no-store", "no-cache"}, a.header.Get("Cache-Control"), path)
		require.Contains(t, a.header.Get("Content-Security-Policy"), "default-src 'none'", path)
		require.NotContains(t, a.header.Get("Content-Security-Policy"), "unsafe", path)
		if !strings.HasPrefix(a.header.Get("Content-Type"), "text/html") {
			continue
		}
		root, err := html.Parse(strings.NewReader(a.body))
		require.NoError(t, err)
		for _, form := range all(root, tag("form")) {
			require.NotEqual(t, "post", attribute(form, "method"), "%s offers to write", path)
		}
		require.Empty(t, all(root, func(n *html.Node) bool {
			return attribute(n, "style") != "" || n.Data == "style" || n.Data == "script" && attribute(n, "src") == ""
		}), "%s: inline", path)
	}
	for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodPatch, http.MethodOptions} {
		for _, path := range []string{"/m/millbrook-open/q14/heron/note", "/m/millbrook-open/q14/heron/verdict", "/drop", "/", enterPath} {
			require.Equal(t, http.StatusMethodNotAllowed, p.ask(method, path, nil).status, "%s %s", method, path)
		}
	}
	_, err := os.Stat(filepath.Join(s.home.Dir(q14), "notes.jsonl"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// A page elsewhere can make a name of its own lead to an address in the network; a browser then
// sends that name as Host. Only the address itself is answered.
func TestOtherNamesAreRefused(t *testing.T) {
	s := withQ14(t)
	p := newPhone(t, s)
	p.get(enterPath + "?token=" + lanToken)
	_, port, _ := strings.Cut(strings.TrimPrefix(p.url, "http://"), ":")
	for _, host := range []string{"elsewhere.test", "elsewhere.test:" + port, "localhost:" + port, "127.0.0.2:" + port, "127.0.0.1:1", "127.0.0.1", "[::1]:" + port, "127.0.0.1.elsewhere.test:" + port} {
		a := p.ask(http.MethodGet, "/", func(r *http.Request) {
			r.Host = host
			r.AddCookie(&http.Cookie{Name: lanCookie, Value: lanToken})
		})
		require.Equal(t, http.StatusMisdirectedRequest, a.status, host)
		require.NotContains(t, a.body, "q14")
	}
	// And the pages of this machine alone are not reached by an address of the network.
	require.Equal(t, http.StatusMisdirectedRequest, s.ask(http.MethodGet, "/", "192.168.1.5:4150").status)
}

func TestTheLaptopShowsTheLink(t *testing.T) {
	s := withQ14(t)
	require.Contains(t, said(s.only(s.page("/lan", 200), tag("main"))), "afterbell serve --lan")
	require.NotContains(t, s.get("/").body, `href="/lan"`)
	link := LanLink("192.168.1.5:4152", lanToken)
	s.server.ShowLan([]string{link, LanLink("10.0.0.5:4152", lanToken)})
	main := s.only(s.page("/lan", 200), tag("main"))
	require.Contains(t, said(main), link)
	require.Len(t, all(main, class("qr")), 1)
	require.Contains(t, s.get("/").body, `href="/lan"`)
}

// The finder patterns of ISO/IEC 18004 stand in three corners, and around them four light modules.
func TestCodeHasItsCorners(t *testing.T) {
	m, err := modules(LanLink("192.168.1.5:4152", NewLanToken()))
	require.NoError(t, err)
	n := len(m) - 2*quiet
	require.Zero(t, (n-21)%4, "21, 25, 29 ... modules")
	const finder = "1111111 1000001 1011101 1011101 1011101 1000001 1111111"
	for _, corner := range [][2]int{{0, 0}, {n - 7, 0}, {0, n - 7}} {
		var rows []string
		for y := range 7 {
			row := ""
			for x := range 7 {
				row += string("01"[two(m[quiet+corner[1]+y][quiet+corner[0]+x])])
			}
			rows = append(rows, row)
		}
		require.Equal(t, finder, strings.Join(rows, " "))
	}
	for i := range len(m) {
		for k := range quiet {
			require.False(t, m[i][k] || m[k][i] || m[i][len(m)-1-k] || m[len(m)-1-k][i])
		}
	}
	require.NotEqual(t, NewLanToken(), NewLanToken())
}
