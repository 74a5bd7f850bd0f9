package viewer

import (
	"html"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	xhtml "golang.org/x/net/html"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// Without a script the bench still says what was found, and leads to the samples of it.
func TestBenchIsOfUseWithoutAScript(t *testing.T) {
	s := apiSite(t)
	root := s.page("/t/millbrook-open/q14/heron", 200)
	main := s.only(root, tag("main"))
	report := fixture.Busy().Report
	leads := all(main, class("lead-to"))
	require.Len(t, leads, len(report.Findings))
	for i, a := range leads {
		require.Contains(t, said(a), report.Findings[i].Title)
	}
	if s.server.assets[benchScript].Body != nil {
		require.Contains(t, said(s.only(main, class("needs-script"))), "need a script")
	} else {
		require.Contains(t, said(main), "go run ./cmd/dev pages")
	}
	saves := all(main, func(n *xhtml.Node) bool {
		return n.Data == "a" && slices.ContainsFunc(n.Attr, func(a xhtml.Attribute) bool { return a.Key == "download" })
	})
	require.Len(t, saves, len(linkedFormats)*(1+len(report.Findings)))
	for _, a := range saves {
		require.Equal(t, 200, s.get(attribute(a, "href")).status, attribute(a, "href"))
	}
	require.NotEmpty(t, all(main, class("pin")), "the whole match above leads to the findings")
}

// Each finding of a sheet leads to the signals it rests on, with room on both sides.
func TestFindingsOpenTheirEvidence(t *testing.T) {
	s := apiSite(t)
	report := fixture.Busy().Report
	links := map[string]*url.URL{}
	for _, page := range []string{"/m/millbrook-open/q14/heron", "/t/millbrook-open/q14/heron"} {
		for _, a := range all(s.page(page, 200), tag("a")) {
			u, err := url.Parse(html.UnescapeString(attribute(a, "href")))
			require.NoError(t, err)
			if strings.HasPrefix(u.Path, "/t/") && u.RawQuery != "" {
				links[page+" "+u.RawQuery] = u
				require.Equal(t, "/t/millbrook-open/q14/heron", u.Path)
				require.Equal(t, 200, s.get(u.String()).status, u.String())
			}
		}
	}
	for _, f := range report.Findings {
		signals, from, to := evidenceOf(f)
		found := 0
		for _, u := range links {
			q := u.Query()
			a, err := strconv.ParseFloat(q.Get("from"), 64)
			require.NoError(t, err)
			b, err := strconv.ParseFloat(q.Get("to"), 64)
			require.NoError(t, err)
			if a < from-report.Match.StartS && b > to-report.Match.StartS && slices.Equal(q["s"], signals) {
				found++
			}
		}
		require.Positive(t, found, "nothing leads to %s", f.ID)
	}
}

func TestBenchOfAMatchWithoutAReport(t *testing.T) {
	s := apiSite(t)
	id := matchID("2031", "millbrook-open", "q17", "heron")
	s.store(fixture.Busy(), id, "", "2031-03-01T16:35:10Z")
	for _, name := range []string{"report.json", "robot.yaml"} {
		require.NoError(t, os.Remove(filepath.Join(s.home.Dir(id), name)))
	}
	main := s.only(s.page("/t/millbrook-open/q17/heron", 200), tag("main"))
	require.NotEmpty(t, attribute(main, "data-strips"))
	require.Equal(t, "0", attribute(main, "data-first"))
	require.Empty(t, all(main, class("lead-to")))
}

func TestBenchOfWhatIsNotThere(t *testing.T) {
	s := apiSite(t)
	for target, status := range map[string]int{
		"/t/millbrook-open/q99/heron": 404, "/t/millbrook-open/q14/curlew": 300, "/t/2030/millbrook-open/q14/curlew": 200,
		"/t/millbrook-open/q15/heron": 500, "/t/millbrook-open/q16/heron": 500, "/t/Millbrook/q14/heron": 404,
	} {
		s.page(target, status)
	}
}

// What is first on a bench is what the worst finding rests on; without findings, what the
// profile names first.
func TestFirstStrips(t *testing.T) {
	m := fixture.Busy()
	require.Equal(t, []string{"path/lift/current", "path/lift/speed"}, firstStrips(&schemas.Report{Findings: []schemas.Finding{
		{Evidence: []schemas.Evidence{{Signal: "power/voltage"}}},
		{Evidence: []schemas.Evidence{{Signal: "path/lift/current"}, {Signal: "path/lift/speed"}, {Signal: "path/lift/current"}}},
	}}, m.Profile))
	first := firstStrips(&schemas.Report{}, m.Profile)
	require.NotEmpty(t, first)
	require.LessOrEqual(t, len(first), 4)
}
