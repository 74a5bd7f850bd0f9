package viewer

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// sent is a form as a browser sends it, with the headers that say where it comes from.
func (s *site) sent(target string, form url.Values, headers map[string]string) answer {
	r := httptest.NewRequest(http.MethodPost, target, strings.NewReader(form.Encode()))
	r.Host, r.RemoteAddr = "127.0.0.1:4150", "127.0.0.1:5000"
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for key, value := range headers {
		if key == "Host" {
			r.Host = value
			continue
		}
		r.Header.Set(key, value)
	}
	w := httptest.NewRecorder()
	s.server.ServeHTTP(w, r)
	return answer{w.Code, w.Result().Header, w.Body.String()}
}

var own = map[string]string{"Sec-Fetch-Site": "same-origin"}

// buttons are the words of a finding's form, by the value each sends.
func buttons(finding *html.Node) map[string]string {
	out := map[string]string{}
	for _, b := range all(finding, tag("button")) {
		word, _, _ := strings.Cut(said(b), " :")
		out[attribute(b, "value")] = word
	}
	return out
}

func TestTheCrewSaysWhetherItHappened(t *testing.T) {
	s := withQ14(t)
	s.server.now = func() time.Time { return time.Date(2031, 3, 1, 14, 40, 0, 0, time.UTC) }
	const sheet = "/m/millbrook-open/q14/heron"
	finding := func() *html.Node {
		return s.only(s.page(sheet, 200), func(n *html.Node) bool { return attribute(n, "id") == "finding-1" })
	}
	require.Equal(t, map[string]string{"yes": "That happened", "no": "It did not"}, buttons(finding()))
	form := s.only(finding(), tag("form"))
	require.Equal(t, "post", attribute(form, "method"))

	// What the page's own form sends.
	id := attribute(s.only(form, tag("input")), "value")
	a := s.sent(attribute(form, "action"), url.Values{"finding": {id}, "happened": {"no"}}, own)
	require.Equal(t, http.StatusSeeOther, a.status)
	require.Equal(t, sheet+"#finding-1", a.header.Get("Location"))
	require.Contains(t, said(finding()), "The crew says: it did not happen.")
	require.Equal(t, map[string]string{"yes": "That happened", "none": "Take back"}, buttons(finding()))
	require.Contains(t, said(s.page(sheet, 200)), "The crew agreed with 0 of the 1 finding it judged.")

	s.sent(sheet+"/verdict", url.Values{"finding": {id}, "happened": {"yes"}}, own)
	s.sent("/m/2031/millbrook-open/q14/heron/verdict", url.Values{"finding": {"brownout-b3-1"}, "happened": {"no"}}, own)
	require.Contains(t, said(s.page("/", 200)), "heron: the crew agreed with 1 of the 2 findings it judged.")
	s.sent(sheet+"/verdict", url.Values{"finding": {"brownout-b3-1"}, "happened": {"none"}}, own)
	require.Contains(t, said(s.page("/", 200)), "heron: the crew agreed with 1 of the 1 finding it judged.")

	text, err := os.ReadFile(filepath.Join(s.home.Dir(q14), "notes.jsonl"))
	require.NoError(t, err)
	notes, other := crew.Parse(text)
	require.Zero(t, other)
	require.Len(t, notes, 4, "every word of it is kept")
	require.Equal(t, crew.Note{
		Note: 1, Kind: "verdict", At: "2031-03-01T14:40:00Z", Finding: id, FindingKind: "jam",
		StartS: fixture.Busy().Report.Findings[0].StartS, Confidence: 0.95, Happened: "no",
	}, notes[0])
}

// Any page open in the same browser can send a form here; none may speak for the crew. What
// browsers send where is the Fetch standard's: Origin, and Sec-Fetch-Site of W3C Fetch
// Metadata.
func TestFormsOfOtherSitesAreRefused(t *testing.T) {
	s := withQ14(t)
	form := url.Values{"finding": {"jam-lift-1"}, "happened": {"no"}}
	for _, c := range []struct {
		name    string
		headers map[string]string
		status  int
	}{
		{"another site", map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://pit.example"}, 403},
		{"another port of this machine", map[string]string{"Sec-Fetch-Site": "same-site", "Origin": "http://127.0.0.1:8080"}, 403},
		{"another site, older browser", map[string]string{"Origin": "https://pit.example"}, 403},
		{"a frame without an origin", map[string]string{"Origin": "null"}, 403},
		{"a name that was made to lead here", map[string]string{"Host": "pit.example", "Origin": "http://pit.example", "Sec-Fetch-Site": "same-origin"}, 421},
		{"its own page, older browser", map[string]string{"Origin": "http://127.0.0.1:4150"}, 303},
		{"its own page", own, 303},
	} {
		before, err := s.home.Notes(q14)
		require.NoError(t, err)
		a := s.sent("/m/millbrook-open/q14/heron/verdict", form, c.headers)
		require.Equal(t, c.status, a.status, c.name)
		after, err := s.home.Notes(q14)
		require.NoError(t, err)
		require.Equal(t, c.status == 303, len(after) > len(before), c.name)
	}
}

func TestFormsThatSayNothing(t *testing.T) {
	s := withQ14(t)
	const target = "/m/millbrook-open/q14/heron/verdict"
	for _, c := range []struct {
		target string
		form   url.Values
		status int
		says   string
	}{
		{target, url.Values{}, 400, "neither that it happened nor that it did not"},
		{target, url.Values{"finding": {"jam-lift-1"}, "happened": {"perhaps"}}, 400, "perhaps"},
		{target, url.Values{"finding": {"jam-gate-7"}, "happened": {"yes"}}, 404, "no such finding any more"},
		{"/m/millbrook-open/q15/heron/verdict", url.Values{"finding": {"jam-lift-1"}, "happened": {"yes"}}, 404, "no such match"},
		{target, url.Values{"finding": {strings.Repeat("x", mostForm)}, "happened": {"yes"}}, 400, "cannot be read"},
	} {
		a := s.sent(c.target, c.form, own)
		require.Equal(t, c.status, a.status, "%v", c.form)
		require.Contains(t, a.body, c.says)
	}
	require.Equal(t, 404, s.get(target).status, "asking says nothing")
	notes, err := s.home.Notes(q14)
	require.NoError(t, err)
	require.Empty(t, notes)
}

// A page served by another process than the one that writes takes the crew's word all the same.
func TestTheCrewIsHeardWhileAnotherWrites(t *testing.T) {
	s := withQ14(t) // holds the lock
	other, err := home.Open(s.dir)
	require.NoError(t, err)
	s.server = New(other, Options{})
	a := s.sent("/m/millbrook-open/q14/heron/verdict", url.Values{"finding": {"jam-lift-1"}, "happened": {"yes"}}, own)
	require.Equal(t, http.StatusSeeOther, a.status)
	require.Contains(t, said(s.page("/m/millbrook-open/q14/heron", 200)), "The crew says")
}

// Notes are the crew's own file: one that cannot be read must not keep a sheet from showing.
func TestASheetShowsWithDamagedNotes(t *testing.T) {
	s := withQ14(t)
	require.NoError(t, os.WriteFile(filepath.Join(s.home.Dir(q14), "notes.jsonl"), []byte("no JSON\n{\"note\":1,\"kind\":\"verdict\"}\n\x00"), 0o644))
	require.NotContains(t, said(s.page("/m/millbrook-open/q14/heron", 200)), "The crew says")
	require.NotContains(t, said(s.page("/", 200)), "the crew agreed")
}

func TestTheCrewNotesWhatTheRobotCannotLog(t *testing.T) {
	s := withQ14(t)
	const sheet = "/m/millbrook-open/q14/heron"
	notes := func() *html.Node {
		return s.only(s.page(sheet, 200), func(n *html.Node) bool { return attribute(n, "id") == "notes" })
	}
	form := s.only(notes(), class("noting"))
	require.Equal(t, "post", attribute(form, "method"))
	a := s.sent(attribute(form, "action"), url.Values{attribute(s.only(form, tag("input")), "name"): {"belt  <b>replaced</b>"}}, own)
	require.Equal(t, http.StatusSeeOther, a.status)
	require.Equal(t, sheet+"#notes", a.header.Get("Location"))
	require.Contains(t, said(notes()), "belt <b>replaced</b>")
	require.Empty(t, all(notes(), tag("b")), "text is text")
	require.Contains(t, said(s.page("/", 200)), "belt <b>replaced</b>")
	s.sent("/m/2031/millbrook-open/q14/heron/note", url.Values{"text": {"blocked by two robots"}}, own)
	require.Len(t, all(notes(), tag("li")), 2)

	taken := s.only(all(notes(), tag("li"))[0], tag("button"))
	s.sent(sheet+"/note", url.Values{attribute(taken, "name"): {attribute(taken, "value")}}, own)
	require.Len(t, all(notes(), tag("li")), 1)
	require.NotContains(t, said(s.page("/", 200)), "belt")
	data, err := s.home.Notes(q14)
	require.NoError(t, err)
	require.Equal(t, 3, strings.Count(string(data), "\n"), "every word of it is kept")

	for _, c := range []struct {
		form    url.Values
		headers map[string]string
		status  int
	}{
		{url.Values{"text": {" "}}, own, http.StatusBadRequest},
		{url.Values{}, own, http.StatusBadRequest},
		{url.Values{"text": {strings.Repeat("a", 281)}}, own, http.StatusBadRequest},
		{url.Values{"text": {strings.Repeat("a", 5000)}}, own, http.StatusBadRequest},
		{url.Values{"text": {"hello"}}, map[string]string{"Sec-Fetch-Site": "cross-site"}, http.StatusForbidden},
		{url.Values{"text": {"hello"}}, map[string]string{"Origin": "http://elsewhere.test"}, http.StatusForbidden},
		{url.Values{"text": {"hello"}}, map[string]string{"Host": "elsewhere.test"}, http.StatusMisdirectedRequest},
	} {
		require.Equal(t, c.status, s.sent(sheet+"/note", c.form, c.headers).status, "%v %v", c.form, c.headers)
	}
	require.Equal(t, http.StatusNotFound, s.sent("/m/millbrook-open/q99/heron/note", url.Values{"text": {"hello"}}, own).status)
	after, err := s.home.Notes(q14)
	require.NoError(t, err)
	require.Equal(t, string(data), string(after))
}

// What is followed from earlier matches stands on the sheet with what was noted in between, and
// goes when the crew denies that it ever was.
func TestASheetFollowsWhatWentWrong(t *testing.T) {
	s := newSite(t)
	q12 := matchID("2031", "millbrook-open", "q12", "heron")
	s.store(fixture.Busy(), q12, "2031-03-01T13:32:00Z", "")
	m := fixture.Rookie()
	m.Report.Mended = []schemas.Mended{{
		Finding: "jam-lift-1", Kind: "jam", StartS: fixture.Busy().Report.Findings[0].StartS, What: "jams in the lift", Last: "2031/millbrook-open/q12",
		Since: []string{"2031/millbrook-open/q14"}, State: schemas.MendedOpen, Text: "None in 9 passes since.",
	}}
	s.store(m, q14, "2031-03-01T14:32:00Z", "")
	s.sent("/m/millbrook-open/q12/heron/note", url.Values{"text": {"belt replaced"}}, own)
	const sheet = "/m/millbrook-open/q14/heron"
	row := said(s.only(s.page(sheet, 200), class("mended")))
	require.Contains(t, row, "Jams in the lift last in q12")
	require.Contains(t, row, "None in 9 passes since.")
	require.Contains(t, row, "q12: “belt replaced”")
	s.sent("/m/millbrook-open/q12/heron/verdict", url.Values{"finding": {"jam-lift-1"}, "happened": {"no"}}, own)
	require.Empty(t, all(s.page(sheet, 200), class("mended")))
}
