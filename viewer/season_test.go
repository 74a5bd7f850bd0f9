package viewer

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/tables"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// seasonSite serves the seasons of the drawing code's fixtures, each as a robot of its name.
func seasonSite(t *testing.T) *site {
	s := newSite(t)
	s.server = New(s.home, Options{Version: "test", Season: func(robot, year string) (schemas.Season, []string, error) {
		look := fixture.Seasons()[robot]
		if look == nil || year != "" && year != "2031" {
			return schemas.Season{}, nil, fmt.Errorf("no match of %q is stored: %w", robot, fs.ErrNotExist)
		}
		return *look, []string{"one line is left out"}, nil
	}, Trial: func(robot, year, a, b string) (schemas.Trial, error) {
		t := fixture.Trials()[a]
		if robot != "full" || year != "" || t == nil {
			return schemas.Trial{}, fmt.Errorf("the parts log has no entry %q", a)
		}
		return *t, nil
	}})
	return s
}

func TestSeasonPage(t *testing.T) {
	s := seasonSite(t)
	for robot, look := range fixture.Seasons() {
		a := s.ask(http.MethodGet, "/s/"+robot, "127.0.0.1")
		require.Equal(t, http.StatusOK, a.status, robot)
		require.Contains(t, a.body, look.Headline)
		require.Contains(t, a.body, "one line is left out")
		require.Contains(t, a.body, "It does not say that a robot is safe.")
		require.NotContains(t, a.body, "style=")
	}
	a := s.ask(http.MethodGet, "/s/full", "127.0.0.1")
	require.Contains(t, a.body, "before d", "the newest entry with matches on both sides is picked")
	a = s.ask(http.MethodGet, "/s/2031/full?part=b", "127.0.0.1")
	require.Contains(t, a.body, "before b")
	require.Contains(t, a.body, "8 of 116")
	require.Contains(t, a.body, "rising since")
	require.Contains(t, a.body, "lift current")
	require.Contains(t, a.body, "15 an hour since, 0 before")
	require.Contains(t, a.body, "its 386 cycles one by one, 44 of them cut off: p under 0.001")
	require.Contains(t, a.body, "1.5 h driven")
	require.Equal(t, http.StatusNotFound, s.ask(http.MethodGet, "/s/2030/full", "127.0.0.1").status)
	require.Equal(t, http.StatusNotFound, s.ask(http.MethodGet, "/s/nobody", "127.0.0.1").status)
	require.Equal(t, http.StatusMisdirectedRequest, s.ask(http.MethodGet, "/s/full", "robots.example").status)
}

func TestTrialOnTheSeasonPage(t *testing.T) {
	s := seasonSite(t)
	ask := func(at string) string {
		a := s.ask(http.MethodGet, at, "127.0.0.1")
		require.Equal(t, http.StatusOK, a.status, at)
		require.NotContains(t, a.body, "style=")
		return a.body
	}
	body := ask("/s/full?part=b")
	require.Contains(t, body, `<option selected>new lift belt</option>`)
	require.Contains(t, body, `<option selected>B5 bought</option>`, "nothing came twice: the newest two")
	require.Contains(t, body, `name="part" value="b"`)
	require.NotContains(t, body, "trial-runs", "nothing is compared before it is asked")
	require.NotContains(t, ask("/s/bare"), "Version A", "a parts log without two entries has no trial")

	body = ask("/s/full?a=turns&b=x")
	require.Contains(t, body, "Mouth jams: −30.0 % with “ribbed belt &lt;2 mm&gt;”.")
	require.Regexp(t, `<b>B</b> ribbed belt &lt;2 mm&gt;, 6 runs`, body)
	require.Contains(t, body, "<h3>Mouth jams</h3>", "what is settled comes first")
	require.Contains(t, body, "95 %: −50.0 % to −10.0 %, however often you look; settled")
	require.Contains(t, body, "<dt>Cycle time</dt>", "40 more runs are within four times the 12")
	require.Contains(t, body, "1 more: not settled, and far from it")
	require.NotContains(t, ask("/s/full?a=turns&b=x&part=a"), "unasked")

	body = ask("/s/full?a=few&b=x")
	require.Contains(t, body, "Nothing can be compared yet.")
	require.Contains(t, body, "too few to say: a measure is compared from 3 runs of each on")
	body = ask("/s/full?a=%3Cb%3E&b=x")
	require.Contains(t, body, "Nothing is compared: the parts log has no entry &#34;&lt;b&gt;&#34;.")
}

func TestMostInTurns(t *testing.T) {
	part := func(texts ...string) (out []schemas.SeasonPart) {
		for _, text := range texts {
			out = append(out, schemas.SeasonPart{Text: text})
		}
		return out
	}
	for _, c := range []struct{ all, choices, want []string }{
		{[]string{"p", "q", "r"}, []string{"p", "q", "r"}, []string{"q", "r"}},
		{[]string{"p", "s", "r", "s", "r", "q"}, []string{"p", "s", "r", "q"}, []string{"s", "r"}},
		{[]string{"s", "p", "r", "p", "s", "s", "p", "r"}, []string{"s", "p", "r"}, []string{"s", "p"}},
	} {
		a, b := mostInTurns(part(c.all...), c.choices)
		require.Equal(t, c.want, []string{a, b}, c.all)
	}
}

func TestSeasonFiles(t *testing.T) {
	s := seasonSite(t)
	a := s.ask(http.MethodGet, "/s/full/season.json", "127.0.0.1")
	var got schemas.Season
	require.NoError(t, json.Unmarshal([]byte(a.body), &got))
	require.Len(t, got.Matches, 44)
	a = s.ask(http.MethodGet, "/s/full/season.csv", "127.0.0.1")
	rows, err := csv.NewReader(strings.NewReader(a.body)).ReadAll()
	require.NoError(t, err)
	points := 0
	for _, m := range got.Measures {
		points += len(m.Points)
	}
	require.Len(t, rows, 1+points)
	require.Equal(t, "event", rows[0][2])
	a = s.ask(http.MethodGet, "/s/full/season.parquet", "127.0.0.1")
	table, err := tables.ReadBytes[tables.SeasonPoint]([]byte(a.body))
	require.NoError(t, err)
	require.Len(t, table, points)
	for i, p := range table {
		require.Equal(t, rows[1+i][5], p.Measure)
		require.Equal(t, rows[1+i][7], strconv.FormatFloat(p.Value, 'g', -1, 64))
	}
	require.Equal(t, http.StatusNotFound, s.ask(http.MethodGet, "/s/nobody/season.csv", "127.0.0.1").status)
}

func TestPartIsAddedByAForm(t *testing.T) {
	s := seasonSite(t)
	post := func(robot string, form url.Values, site string) int {
		r := httptest.NewRequest(http.MethodPost, "/s/"+robot+"/part", strings.NewReader(form.Encode()))
		r.Host = "127.0.0.1"
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", site)
		w := httptest.NewRecorder()
		s.server.ServeHTTP(w, r)
		return w.Code
	}
	good := url.Values{"at": {"2031-04-01"}, "kind": {"part"}, "text": {" new lift belt "}}
	require.Equal(t, http.StatusSeeOther, post("full", good, "same-origin"))
	data, err := s.home.Parts("full")
	require.NoError(t, err)
	require.Contains(t, string(data), "2031-04-01        part     new lift belt\n")

	require.Equal(t, http.StatusForbidden, post("full", good, "cross-site"))
	require.Equal(t, http.StatusNotFound, post("nobody", good, "same-origin"))
	for _, bad := range []url.Values{
		{"at": {"soon"}, "kind": {"part"}, "text": {"x"}},
		{"at": {"2031-04-01"}, "kind": {"colour"}, "text": {"x"}},
		{"at": {"2031-04-01"}, "kind": {"part"}, "text": {" "}},
		{"at": {"2031-04-01"}, "kind": {"part"}, "text": {"a\nb"}},
	} {
		require.Equal(t, http.StatusBadRequest, post("full", bad, "same-origin"), bad)
	}
	again, err := s.home.Parts("full")
	require.NoError(t, err)
	require.Equal(t, string(data), string(again))
}
