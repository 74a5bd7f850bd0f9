package viewer

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"github.com/afterbell/afterbell/schemas"
)

// pile is an Intake that remembers what it was asked.
type pile struct {
	got     map[string]string
	dates   []time.Time
	arrival schemas.Arrival
	choice  schemas.Choice
	profile string
	err     error
	stored  []schemas.MatchID
	gone    []string
}

func (p *pile) Receive(_ context.Context, name string, written time.Time, r io.Reader) (string, error) {
	data, err := io.ReadAll(r)
	if err != nil {
		return "", err
	}
	if p.err != nil {
		return "", p.err
	}
	if p.got == nil {
		p.got = map[string]string{}
	}
	p.got[name] = string(data)
	p.dates = append(p.dates, written)
	return strings.Repeat("a", 31) + string(rune('0'+len(p.got))), nil
}

func (p *pile) Waiting() []schemas.Arrival {
	var out []schemas.Arrival
	for name := range p.got {
		out = append(out, schemas.Arrival{ID: "a1", Name: name, Size: 2048})
	}
	return out
}

func (p *pile) Look(_ context.Context, id string, _ bool) (schemas.Arrival, error) {
	if id == "none" {
		return schemas.Arrival{}, ErrNoArrival
	}
	a := p.arrival
	a.ID = id
	return a, nil
}

func (p *pile) AddProfile(_ string, r io.Reader) error {
	data, err := io.ReadAll(r)
	p.profile = string(data)
	return errors.Join(err, p.err)
}

func (p *pile) Store(_ context.Context, _ string, c schemas.Choice) ([]schemas.MatchID, error) {
	p.choice = c
	return p.stored, p.err
}

func (p *pile) Forget(id string) error { p.gone = append(p.gone, id); return nil }

func withPile(t *testing.T) (*site, *pile) {
	s := newSite(t)
	p := &pile{arrival: schemas.Arrival{
		Name: "heron <q14>.csv", Size: 277_500, Form: "CSV", Samples: 278_830, Signals: 40, DurationS: 156.5, Matches: 1,
		Candidates: []schemas.Candidate{
			{Robot: "heron", From: "the profile of q11", Fits: true, Found: 38, Mapped: 40, Missing: []string{"imu/pitch", "lift/target"}},
			{Robot: "curlew", From: "the profile of q8"},
		},
		Guess:   schemas.Choice{Profile: "heron", Robot: "heron", Season: "2031", Event: "millbrook-open", Match: "q14", At: "2031-03-01T14:32:00Z"},
		TimeHow: "by the date of the file",
	}}
	s.server = New(s.home, Options{Version: "test", Intake: p})
	return s, p
}

// files is a form with files, as a browser sends it.
func (s *site) files(target string, headers map[string]string, fields ...string) answer {
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for i := 0; i < len(fields); i += 3 {
		if fields[i+1] == "" {
			require.NoError(s.t, m.WriteField(fields[i], fields[i+2]))
			continue
		}
		w, err := m.CreateFormFile(fields[i], fields[i+1])
		require.NoError(s.t, err)
		_, err = io.WriteString(w, fields[i+2])
		require.NoError(s.t, err)
	}
	require.NoError(s.t, m.Close())
	r := httptest.NewRequest(http.MethodPost, target, &body)
	r.Host, r.RemoteAddr = "127.0.0.1:4150", "127.0.0.1:5000"
	r.Header.Set("Content-Type", m.FormDataContentType())
	for key, value := range headers {
		if key == "from" {
			r.RemoteAddr = value
			continue
		}
		r.Header.Set(key, value)
	}
	w := httptest.NewRecorder()
	s.server.ServeHTTP(w, r)
	return answer{w.Code, w.Result().Header, w.Body.String()}
}

func TestALogComesInByAPlainForm(t *testing.T) {
	s, p := withPile(t)
	board := s.page("/", 200)
	form := s.only(board, func(n *html.Node) bool { return n.Data == "form" && attribute(n, "action") == "/in" })
	require.Equal(t, "multipart/form-data", attribute(form, "enctype"))
	require.Contains(t, said(board), "They go to this laptop only")
	require.Contains(t, said(board), "There are three ways to get one.")

	a := s.files("/in", own, "written", "", "1930574530000", "log", "q14.csv", "time_s,a\n0,1\n")
	require.Equal(t, http.StatusSeeOther, a.status, a.body)
	require.Equal(t, "/in/"+strings.Repeat("a", 31)+"1", a.header.Get("Location"))
	require.Equal(t, map[string]string{"q14.csv": "time_s,a\n0,1\n"}, p.got)
	require.Equal(t, int64(1930574530000), p.dates[0].UnixMilli())
	require.Contains(t, said(s.page("/", 200)), "1 log waits to be looked at")

	a = s.files("/in", own, "written", "", "", "log", "q15.csv", "x", "log", "q16.csv", "y")
	require.Equal(t, http.StatusSeeOther, a.status)
	require.Equal(t, "/in", a.header.Get("Location"), "several: a list of them")
	require.True(t, p.dates[1].IsZero(), "without a script no date is known")
	list := s.page("/in", 200)
	require.Contains(t, said(list), "3 logs wait to be looked at.")
}

// Logs that look like one match: the surest choice is made already, what is not sure says why,
// and where nobody knows how the clocks lie a person is asked.
func TestLogsOfOneMatchAreProposed(t *testing.T) {
	s, p := withPile(t)
	require.NotContains(t, said(s.page("/in/a1", 200)), "One match, or two?")
	sure := schemas.Together{
		With: "match/2031/millbrook-open/q14/heron", Name: "q14 of heron, millbrook-open", Sure: true, Known: true,
		Words: "vision begins 3.214 s after q14, seen by both in 212 places; ±4 ms",
	}
	likely := schemas.Together{With: "log/" + strings.Repeat("b", 32), Name: "camera.csv", Known: true, Words: "it begins 1 s after", Why: "only robot/mode tells it"}
	unknown := schemas.Together{With: "log/" + strings.Repeat("c", 32), Name: "again.csv", Why: "no signal is in both"}
	checked := func(main *html.Node) (values []string) {
		for _, n := range all(main, tag("input")) {
			if attribute(n, "name") == "with" && hasAttribute(n, "checked") {
				values = append(values, attribute(n, "value"))
			}
		}
		return values
	}
	p.arrival.Together = []schemas.Together{sure, likely, unknown}
	main := s.only(s.page("/in/a1", 200), tag("main"))
	require.Equal(t, []string{sure.With}, checked(main))
	require.Contains(t, said(main), "Put together with q14 of heron, millbrook-open. vision begins 3.214 s after q14, seen by both in 212 places; ±4 ms.")
	require.Contains(t, said(main), "Not sure: only robot/mode tells it")
	require.Contains(t, said(main), "How their clocks lie to each other is not known: no signal is in both. Say below")
	p.arrival.Together = []schemas.Together{likely, unknown}
	main = s.only(s.page("/in/a1", 200), tag("main"))
	require.Equal(t, []string{""}, checked(main), "nothing that is not sure is chosen for anybody")
	p.arrival.Together = []schemas.Together{likely}
	require.NotContains(t, said(s.page("/in/a1", 200)), "begins so many seconds after", "nobody is asked for what is known")

	p.arrival.Together = []schemas.Together{sure, unknown}
	p.stored = []schemas.MatchID{matchID("2031", "millbrook-open", "q14", "heron")}
	fields := url.Values{"profile": {"heron"}, "match": {"q14"}, "event": {"millbrook-open"}, "season": {"2031"}}
	send := func(with, after string) answer {
		fields.Set("with", with)
		fields.Set("after", after)
		return s.sent("/in/a1", fields, own)
	}
	a := send(sure.With, "")
	require.Equal(t, "/m/2031/millbrook-open/q14/heron", a.header.Get("Location"), a.body)
	require.Equal(t, sure.With, p.choice.With)
	require.Nil(t, p.choice.AfterS)
	a = send(unknown.With+"?", " 64.5 ")
	require.Equal(t, http.StatusSeeOther, a.status, a.body)
	require.Equal(t, unknown.With, p.choice.With)
	require.InDelta(t, 64.5, *p.choice.AfterS, 0)
	for _, bad := range []string{"", "soon", "NaN", "1e300", "-3601"} {
		a = send(unknown.With+"?", bad)
		require.Equal(t, http.StatusUnprocessableEntity, a.status, bad)
		require.Contains(t, a.body, "is no number of seconds")
		require.Contains(t, a.body, `value="`+unknown.With+`?" checked`, "the choice stays")
	}
	p.err = &InputError{"they lie over each other"}
	a = send(unknown.With+"?", "3")
	require.Equal(t, http.StatusUnprocessableEntity, a.status)
	require.Contains(t, a.body, `name="after" value="3"`)
}

func TestWhatWasRecognisedCanBeCorrected(t *testing.T) {
	s, p := withPile(t)
	main := s.only(s.page("/in/a1", 200), tag("main"))
	require.Equal(t, "This looks like heron: 38 of the 40 signals of its profile are here.", said(s.only(main, tag("h1"))))
	require.Contains(t, said(main), "heron <q14>.csv")
	require.Contains(t, said(main), "not here: imu/pitch, lift/target")
	require.Contains(t, said(main), "although it does not fit")
	values := map[string]string{}
	for _, n := range all(main, tag("input")) {
		if attribute(n, "type") != "radio" || hasAttribute(n, "checked") {
			values[attribute(n, "name")] = attribute(n, "value")
		}
	}
	at, err := time.Parse(time.RFC3339, "2031-03-01T14:32:00Z")
	require.NoError(t, err)
	require.Equal(t, map[string]string{
		"profile": "heron", "robot": "heron", "match": "q14", "event": "millbrook-open", "season": "2031",
		"at": at.Local().Format("2006-01-02T15:04:05"), "yaml": "",
	}, values)

	p.stored = []schemas.MatchID{matchID("2031", "millbrook-open", "q15", "heron")}
	send := func(change url.Values) answer {
		form := url.Values{}
		for k, v := range values {
			form.Set(k, v)
		}
		for k, v := range change {
			form[k] = v
		}
		return s.sent("/in/a1", form, own)
	}
	a := send(url.Values{"match": {"q15"}, "at": {"2031-03-01T16:00"}})
	require.Equal(t, http.StatusSeeOther, a.status, a.body)
	require.Equal(t, "/m/2031/millbrook-open/q15/heron", a.header.Get("Location"))
	local, err := time.ParseInLocation("2006-01-02T15:04", "2031-03-01T16:00", time.Local)
	require.NoError(t, err)
	require.Equal(t, schemas.Choice{
		Profile: "heron", Robot: "heron", Season: "2031", Event: "millbrook-open", Match: "q15", At: local.UTC().Format(time.RFC3339),
	}, p.choice)
	require.Equal(t, "/", send(url.Values{"profile": {""}}).header.Get("Location"), "without a profile there is no sheet")
	require.Empty(t, p.choice.Profile)

	// What is wrong is said on the form, and what was typed stays.
	a = send(url.Values{"at": {"noon"}, "match": {"semi 2"}})
	require.Equal(t, http.StatusUnprocessableEntity, a.status)
	require.Contains(t, a.body, "is not a date and time")
	require.Contains(t, a.body, `value="semi 2"`)
	p.err = &InputError{"match \"???\" cannot be turned into a name"}
	a = send(url.Values{"match": {"???"}})
	require.Equal(t, http.StatusUnprocessableEntity, a.status)
	require.Contains(t, a.body, "cannot be turned into a name")
	p.err = errors.New("no space left on device")
	a = send(nil)
	require.Equal(t, http.StatusInternalServerError, a.status)
	require.Contains(t, a.body, "no space left on device")
	p.err = ErrNoArrival
	require.Equal(t, http.StatusNotFound, send(nil).status)
	require.Equal(t, http.StatusNotFound, s.ask("GET", "/in/none", "127.0.0.1:4150").status)

	require.Equal(t, http.StatusSeeOther, s.sent("/in/a1/forget", nil, own).status)
	require.Equal(t, []string{"a1"}, p.gone)
}

func TestALogThatCannotBeStoredSaysWhy(t *testing.T) {
	s, p := withPile(t)
	p.arrival = schemas.Arrival{Name: "bad.csv", Problem: `bad.csv line 3: "x" is not a time`, BadRows: true}
	main := s.only(s.page("/in/a1", 200), tag("main"))
	require.Equal(t, "This file cannot be read.", said(s.only(main, tag("h1"))))
	require.Contains(t, said(main), `bad.csv line 3: "x" is not a time`)
	require.Contains(t, said(main), "Leave bad rows out, and go on")
	p.arrival = schemas.Arrival{Name: "q14.csv", Stored: []schemas.MatchID{matchID("2031", "e", "q14", "heron")}}
	require.Contains(t, said(s.page("/in/a1", 200)), "This file is stored already.")
	p.arrival = schemas.Arrival{
		Name: "q14.csv", Samples: 3, Tied: []string{"heron", "bittern"}, Guess: schemas.Choice{Profile: "heron"},
		Candidates: []schemas.Candidate{{Robot: "heron", Fits: true}, {Robot: "bittern", Fits: true}},
	}
	require.Contains(t, said(s.page("/in/a1", 200)), "This may be heron or bittern: their profiles fit equally well.")
	p.arrival = schemas.Arrival{Name: "q14.csv", Samples: 3}
	require.Contains(t, said(s.page("/in/a1", 200)), "No profile that is known fits this log.")
	a := s.files("/in/a1/profile", own, "yaml", "robot.yaml", "profile: 1\n")
	require.Equal(t, http.StatusSeeOther, a.status)
	require.Equal(t, "profile: 1\n", p.profile)
	require.Equal(t, http.StatusUnprocessableEntity, s.files("/in/a1/profile", own, "yaml", "", "").status)
	p.err = &InputError{"this profile, line 2: an unknown key"}
	a = s.files("/in/a1/profile", own, "yaml", "robot.yaml", "x")
	require.Equal(t, http.StatusUnprocessableEntity, a.status)
	require.Contains(t, a.body, "an unknown key")
}

// Only these pages, on this machine, bring anything in.
func TestNobodyElseBringsALogIn(t *testing.T) {
	s, p := withPile(t)
	for name, headers := range map[string]map[string]string{
		"another site":          {"Sec-Fetch-Site": "cross-site"},
		"another site's origin": {"Origin": "http://other.example"},
		"a sandboxed frame":     {"Origin": "null"},
		"another machine":       {"Sec-Fetch-Site": "same-origin", "from": "10.0.0.7:5000"},
	} {
		for _, target := range []string{"/in", "/in/a1/profile", "/in/a1", "/in/a1/forget"} {
			a := s.files(target, headers, "log", "q14.csv", "x")
			require.Equal(t, http.StatusForbidden, a.status, "%s, %s", name, target)
		}
	}
	for _, target := range []string{"/in", "/in/a1"} {
		r := httptest.NewRequest(http.MethodGet, target, nil)
		r.Host, r.RemoteAddr = "127.0.0.1:4150", "10.0.0.7:5000"
		w := httptest.NewRecorder()
		s.server.ServeHTTP(w, r)
		require.Equal(t, http.StatusForbidden, w.Code, "another machine does not even see them")
	}
	require.Empty(t, p.got)
	require.Empty(t, p.gone)
	require.Empty(t, p.profile)

	p.err = errors.New("no space left on device")
	a := s.files("/in", own, "log", "q14.csv", "x")
	require.Equal(t, http.StatusInternalServerError, a.status)
	require.Contains(t, a.body, "no space left on device")
	p.err = nil
	require.Equal(t, http.StatusBadRequest, s.files("/in", own).status, "no file in it")
	require.Equal(t, http.StatusBadRequest, s.sent("/in", url.Values{"log": {"x"}}, own).status, "no form with files")
	var many []string
	for range 2*mostParts + 1 {
		many = append(many, "log", "q.csv", "x")
	}
	require.Contains(t, s.files("/in", own, many...).body, "drop fewer")

	without := newSite(t) // a server that nothing was handed to
	require.Equal(t, http.StatusNotFound, without.ask("GET", "/in", "127.0.0.1:4150").status)
	require.NotContains(t, said(without.page("/", 200)), "Add a log")
}

func hasAttribute(n *html.Node, key string) bool {
	for _, a := range n.Attr {
		if a.Key == key {
			return true
		}
	}
	return false
}
