package viewer

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

func TestEmptyBoardSaysHowToBegin(t *testing.T) {
	s := newSite(t)
	main := s.only(s.page("/", 200), tag("main"))
	require.Equal(t, "No match yet.", said(s.only(main, tag("h1"))))
	require.Contains(t, said(main), "afterbell import FILE --profile robot.yaml")
	require.Contains(t, said(main), "afterbell demo")
	require.Empty(t, all(main, tag("table")))
}

// The newest is the one that was played last, whenever it was stored; one whose time is not
// known stands where it was stored. Zones of the clock are told apart.
func TestBoardIsNewestFirst(t *testing.T) {
	s := newSite(t)
	for _, m := range []struct{ match, at, stored string }{
		{"q2", "2031-03-01T10:22:00Z", "2031-03-05T09:00:00Z"},
		{"q14", "2031-03-01T14:32:00Z", "2031-03-01T14:35:00Z"},
		{"q9", "", "2031-03-01T13:02:00Z"},
		{"q11", "2031-03-01T15:41:00+02:00", "2031-03-01T13:45:00Z"}, // 13:41 UTC
		{"q12", "2031-03-01T06:00:00-08:00", "2031-03-01T14:05:00Z"}, // 14:00 UTC
	} {
		s.store(fixture.Rookie(), matchID("2031", "millbrook-open", m.match, "curlew"), m.at, m.stored)
	}
	require.Equal(t, []string{"q14", "q12", "q11", "q9", "q2"}, s.rows(s.page("/", 200)))
}

func TestBoardPartsEventsAndDays(t *testing.T) {
	s := newSite(t)
	for _, m := range []struct{ season, event, match, at string }{
		{"2031", "millbrook-open", "q14", "2031-03-02T09:00:00Z"},
		{"2031", "millbrook-open", "q13", "2031-03-02T08:00:00Z"},
		{"2031", "millbrook-open", "q9", "2031-03-01T15:00:00Z"},
		{"2031", "harbour-cup", "q4", "2031-02-01T15:00:00Z"},
		{"2030", "harbour-cup", "q4", ""},
	} {
		s.store(fixture.Rookie(), matchID(m.season, m.event, m.match, "curlew"), m.at, "2030-02-01T15:00:00Z")
	}
	var days []string
	for _, n := range all(s.page("/", 200), class("day")) {
		days = append(days, said(n))
	}
	require.Equal(t, []string{"millbrook-open, 1 March 2031", "harbour-cup, 1 February 2031", "harbour-cup, season 2030"}, days)
}

// What the top and a row of the board say is what the report says.
// The board leads to the pages of the match on top of it, and to each robot's matches.
func TestBoardLeadsToOtherPages(t *testing.T) {
	s := newSite(t)
	s.server.options.Season = func(string, string) (schemas.Season, []string, error) { return schemas.Season{}, nil, os.ErrNotExist }
	top := func(target string) (nav, aside []string) {
		header := s.only(s.page(target, 200), tag("header"))
		for _, a := range all(s.only(header, tag("nav")), tag("a")) {
			nav = append(nav, said(a)+" "+attribute(a, "href"))
		}
		for _, a := range all(s.only(header, class("aside")), tag("a")) {
			aside = append(aside, said(a)+" "+attribute(a, "href")+attribute(a, "aria-current"))
		}
		return nav, aside
	}
	nav, aside := top("/")
	require.Equal(t, []string{"Pit board /"}, nav, "nothing is stored yet")
	require.Empty(t, aside)
	s.store(fixture.Busy(), matchID("2031", "millbrook-open", "q14", "heron"), "2031-03-01T14:32:00Z", "")
	nav, aside = top("/")
	require.Equal(t, []string{"Pit board /", "Match sheet /m/millbrook-open/q14/heron", "Trace bench /t/millbrook-open/q14/heron", "Season /s/2031/heron"}, nav)
	require.Empty(t, aside, "there is one robot")
	s.store(fixture.Rookie(), matchID("2031", "millbrook-open", "q8", "curlew"), "2031-03-01T12:40:00Z", "")
	_, aside = top("/")
	require.Equal(t, []string{"All robots /page", "curlew /?robot=curlew", "heron /?robot=heron"}, aside)
	nav, aside = top("/?robot=curlew")
	require.Equal(t, []string{"All robots /", "curlew /?robot=curlewpage", "heron /?robot=heron"}, aside)
	require.Contains(t, nav, "Season /s/2031/curlew")
}

func TestBoardSaysWhatTheReportSays(t *testing.T) {
	s := newSite(t)
	s.store(fixture.Busy(), matchID("2031", "millbrook-open", "q14", "heron"), "2031-03-01T14:32:00Z", "")
	s.store(fixture.Busy(), matchID("2031", "millbrook-open", "q11", "heron"), "2031-03-01T13:41:00Z", "")
	s.store(fixture.Rookie(), matchID("2031", "millbrook-open", "q8", "curlew"), "2031-03-01T12:40:00Z", "")
	r := fixture.Busy().Report
	board := s.page("/", 200)
	require.Equal(t, "Stop. "+r.Verdict.Text, said(s.only(board, tag("h1"))))
	tops := all(s.only(board, class("tops")), tag("li"))
	require.Len(t, tops, 3)
	for i, li := range tops {
		require.Contains(t, said(li), r.Findings[i].Title)
		require.Contains(t, said(li), fmt.Sprintf("sure %.2f", r.Findings[i].Confidence))
		for _, n := range all(li, tag("a")) {
			require.Equal(t, fmt.Sprintf("/m/millbrook-open/q14/heron#finding-%d", i+1), attribute(n, "href"))
		}
		// Hands go in after the warning.
		cautions, at := all(li, class("caution")), -1
		require.Len(t, cautions, len(r.Findings[i].Caution))
		for k, p := range all(li, tag("p")) {
			if said(p) == r.Findings[i].Check[0] {
				at = k
			}
		}
		require.Equal(t, len(cautions), at, "the first check stands right after the cautions")
	}
	require.Contains(t, said(s.only(board, class("more"))), fmt.Sprintf("and %d more", len(r.Findings)-3))

	var figures [][]string
	for _, tr := range all(s.only(board, class("matches")), func(n *html.Node) bool { return n.Data == "tr" && len(all(n, tag("td"))) > 0 }) {
		var row []string
		for _, td := range all(tr, class("n")) {
			row = append(row, said(td))
		}
		figures = append(figures, row)
	}
	require.Equal(t, []string{"2", "6.46 V", "10.1 s", "not level"}, figures[0])
	require.Equal(t, "no path", figures[1][0])
	require.Equal(t, "no tilt", figures[1][3])
}

func TestBoardNamesWhatCouldNotLook(t *testing.T) {
	r := fixture.Rookie().Report
	require.Equal(t, schemas.SeverityNone, r.Verdict.Severity)
	text := notSeen(r)
	for _, a := range r.Analyses {
		if a.Ran {
			require.NotContains(t, text, a.Name)
		} else {
			require.Contains(t, text, a.Name)
		}
	}
	require.Empty(t, notSeen(&schemas.Report{Analyses: []schemas.Analysis{{Name: "power", Ran: true}}}))
}

func TestBalanceCell(t *testing.T) {
	looked := []schemas.Analysis{{Name: "balance", Ran: true}}
	level := schemas.Balance{Outcome: schemas.BalanceLevel, SettleS: schemas.Some(4.06), EndS: 170}
	left := schemas.Balance{Outcome: schemas.BalanceLeft, EndS: 146}
	for _, c := range []struct {
		analyses []schemas.Analysis
		balances []schemas.Balance
		want     cell
	}{
		{nil, nil, cell{Unknown: "no tilt"}},
		{looked, nil, cell{Value: "not tried"}},
		{looked, []schemas.Balance{left, level}, cell{Lead: "level, ", Value: "4.1 s"}},
		{looked, []schemas.Balance{level, left}, cell{Value: "left at 116 s"}}, // of the match, which began at 30 s
		{looked, []schemas.Balance{{Outcome: schemas.BalanceRanOut}}, cell{Value: "not level"}},
	} {
		r := &schemas.Report{Match: schemas.Match{StartS: 30}, Analyses: c.analyses, Balances: c.balances}
		require.Equal(t, c.want, balanceCell(r))
	}
}

// ids are unique on a page however many matches it shows.
func TestBoardIDsAreUnique(t *testing.T) {
	s := newSite(t)
	for _, season := range []string{"2030", "2031"} {
		for _, robot := range []string{"heron", "bittern"} {
			s.store(fixture.Busy(), matchID(season, "millbrook-open", "q14", robot), "", "")
		}
	}
	seen := map[string]bool{}
	for _, n := range all(s.page("/", 200), func(n *html.Node) bool { return attribute(n, "id") != "" }) {
		require.False(t, seen[attribute(n, "id")], attribute(n, "id"))
		seen[attribute(n, "id")] = true
	}
	require.Greater(t, len(seen), 4)
}

// BenchmarkBoard is a board of 200 matches: cold is the first after the start, when every
// match is read and drawn; warm is every other.
func BenchmarkBoard(b *testing.B) {
	s := newSite(b)
	for i := range 200 {
		id := matchID("2031", "millbrook-open", fmt.Sprintf("q%d", i+1), "heron")
		s.store(fixture.Busy(), id, fmt.Sprintf("2031-03-%02dT%02d:%02d:00Z", 1+i/100, 8+i%100/10, i%10*6), "")
	}
	b.Run("cold", func(b *testing.B) {
		for b.Loop() {
			s.server = New(s.home, Options{})
			if a := s.get("/"); a.status != 200 {
				b.Fatal(a.body)
			}
		}
	})
	b.Run("warm", func(b *testing.B) {
		s.get("/")
		for b.Loop() {
			if a := s.get("/"); a.status != 200 {
				b.Fatal(a.body)
			}
		}
	})
}

// A page that is open asks which match is the newest; the word for it changes when another is.
func TestAPageKnowsTheNewestMatch(t *testing.T) {
	empty := newSite(t)
	require.Equal(t, "none", attribute(empty.only(empty.page("/", 200), tag("body")), "data-newest"))
	s := withQ14(t)
	known := func(target string) string { return attribute(s.only(s.page(target, 200), tag("body")), "data-newest") }
	asked := func() latest {
		var l latest
		require.NoError(t, json.Unmarshal([]byte(s.get("/newest.json").body), &l))
		return l
	}
	const sheet = "/m/millbrook-open/q14/heron"
	require.Empty(t, known(sheet), "before the first board a sheet does not ask")
	first := known("/")
	require.NotEmpty(t, first)
	require.Equal(t, latest{Token: first, Match: "q14 heron", Href: sheet}, asked())
	require.Equal(t, first, known(sheet))

	s.store(fixture.Rookie(), matchID("2031", "millbrook-open", "q8", "curlew"), "2031-03-01T12:40:00Z", "2031-03-01T14:50:00Z")
	require.Equal(t, first, asked().Token, "an older one is no news")
	s.store(fixture.Rookie(), matchID("2031", "millbrook-open", "q15", "curlew"), "2031-03-01T14:50:00Z", "2031-03-01T14:55:00Z")
	now := asked()
	require.NotEqual(t, first, now.Token)
	require.Equal(t, "/m/millbrook-open/q15/curlew", now.Href)
}

// paged are the match names of a board and of all that its links to older ones lead to.
func (s *site) paged(target string) (names []string, pages int) {
	for target != "" {
		board := s.page(target, 200)
		names, pages = append(names, s.rows(board)...), pages+1
		target = ""
		for _, n := range all(board, func(n *html.Node) bool { return attribute(n, "rel") == "next" }) {
			target = attribute(n, "href")
		}
	}
	return names, pages
}

// Without a script a board of many matches goes on by its link, each match once.
func TestBoardGoesOnToOlderMatches(t *testing.T) {
	s := newSite(t)
	var want, herons []string
	for i := range 60 {
		id := matchID("2031", "millbrook-open", fmt.Sprintf("q%d", i+1), []string{"heron", "curlew"}[i%2])
		s.store(fixture.Rookie(), id, fmt.Sprintf("2031-03-%02dT%02d:00:00Z", 1+i/10, 8+i%10), "")
		want = append([]string{id.Match}, want...)
		if id.Robot == "heron" {
			herons = append([]string{id.Match}, herons...)
		}
	}
	names, pages := s.paged("/")
	require.Equal(t, want, names)
	require.Equal(t, 3, pages)
	names, pages = s.paged("/?robot=heron")
	require.Equal(t, herons, names)
	require.Equal(t, 2, pages)

	board := s.page("/?robot=heron&from=2031-03-02&to=2031-03-02", 200)
	require.Equal(t, "5 matches fit.", said(s.only(board, tag("h1"))))
	require.Empty(t, all(board, class("newest")), "what was asked for is a list")
	chosen := s.only(board, func(n *html.Node) bool { return n.Data == "option" && attribute(n, "value") == "heron" })
	_, selected := attributeOf(chosen, "selected")
	require.True(t, selected, "the form says what the address asks for")
	require.Equal(t, "No match fits.", said(s.only(s.page("/?q=nonsense", 200), tag("h1"))))
	s.page("/?from=yesterday", 400)
	s.page("/?after=yesterday", 400)
	odd := s.get("/?q=%3Cscript%3E&robot=%22%3E%3Ci%3E").body
	require.NotContains(t, odd, "<i>")
	require.NotContains(t, odd, `"<script>`)
}

func attributeOf(n *html.Node, key string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val, true
		}
	}
	return "", false
}

// BenchmarkBoardOfTenThousand is a board of that many matches whose rows have been drawn: one
// found by robot, kind and words, and its top. Each match is the same files under its own name.
func BenchmarkBoardOfTenThousand(b *testing.B) {
	s := newSite(b)
	s.store(fixture.Busy(), q14, "2031-03-01T14:32:00Z", "2031-03-01T14:35:00Z")
	from := s.home.Dir(q14)
	for i := range 10_000 {
		dir := s.home.Dir(matchID("2031", fmt.Sprintf("event-%d", i/200), fmt.Sprintf("q%d", i%200+1), []string{"heron", "bittern", "curlew"}[i%3]))
		require.NoError(b, os.MkdirAll(dir, 0o755))
		for _, name := range []string{"report.json", "robot.yaml", "signals.parquet"} {
			require.NoError(b, os.Link(filepath.Join(from, name), filepath.Join(dir, name)))
		}
	}
	_, err := s.server.index.Refresh()
	require.NoError(b, err)
	for name, target := range map[string]string{"top": "/", "found": "/?robot=heron&kind=jam&q=event-7+loaf"} {
		b.Run(name, func(b *testing.B) {
			require.Equal(b, 200, s.get(target).status)
			for b.Loop() {
				if a := s.get(target); a.status != 200 {
					b.Fatal(a.body)
				}
			}
		})
	}
}
