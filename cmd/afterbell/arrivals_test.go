package main

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/home"
)

// uploads is a server over a data folder, and a client that follows no redirect.
type uploads struct {
	t      *testing.T
	data   string
	url    string
	client *http.Client
	pile   arrivals
}

func newUploads(t *testing.T, data string) *uploads {
	t.Helper()
	h, err := home.Create(data)
	require.NoError(t, err)
	a := &app{stdout: io.Discard, stderr: io.Discard, dataDir: data}
	in := newIntake(a, func() (*home.Home, error) { return h, nil }, nil, "", "")
	p, err := a.listenFor(t.Context(), h, "127.0.0.1:0", nil, in)
	require.NoError(t, err)
	server := httptest.NewUnstartedServer(p.server.Handler)
	server.Listener.Close()
	server.Listener = p.listener
	server.Start()
	t.Cleanup(server.Close)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	return &uploads{t, data, server.URL, client, arrivals{in}}
}

// send posts a form of files and returns status, where it leads to, and the page.
func (u *uploads) send(path string, written time.Time, field, name string, data []byte) (int, string, string) {
	u.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	if !written.IsZero() {
		require.NoError(u.t, m.WriteField("written", strconv.FormatInt(written.UnixMilli(), 10)))
	}
	w, err := m.CreateFormFile(field, name)
	require.NoError(u.t, err)
	_, err = w.Write(data)
	require.NoError(u.t, err)
	require.NoError(u.t, m.Close())
	return u.done(u.client.Post(u.url+path, m.FormDataContentType(), &body))
}

func (u *uploads) done(res *http.Response, err error) (int, string, string) {
	u.t.Helper()
	require.NoError(u.t, err)
	defer res.Body.Close()
	page, err := io.ReadAll(res.Body)
	require.NoError(u.t, err)
	return res.StatusCode, res.Header.Get("Location"), string(page)
}

func (u *uploads) get(path string) string {
	u.t.Helper()
	status, _, page := u.done(u.client.Get(u.url + path))
	require.Equal(u.t, http.StatusOK, status, page)
	return page
}

var inputs = regexp.MustCompile(`<input type="(\w[\w-]*)"[^>]* name="(\w+)"[^>]*value="([^"]*)"([^>]*)>`)

// form is what the page's main form would send.
func form(page string) url.Values {
	out := url.Values{}
	_, page, _ = strings.Cut(page, `<form class="as"`)
	page, _, _ = strings.Cut(page, "</form>")
	for _, m := range inputs.FindAllStringSubmatch(page, -1) {
		if m[1] != "radio" || strings.Contains(m[4], "checked") {
			out.Set(m[2], m[3])
		}
	}
	return out
}

// A log is dropped on the page, recognised by the robot's earlier match, stored as proposed,
// and its sheet is there. The same file again leads to that match.
func TestADroppedLogBecomesASheet(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	stored(t, data, "clean.csv.gz", "heron.yaml")
	u := newUploads(t, data)
	log := readSample(t, "jam-reversed.csv.gz")
	status, to, page := u.send("/in", time.Time{}, "log", "heron_q15 2031-03-01 14.50.csv.gz", log)
	require.Equal(t, http.StatusSeeOther, status, page)
	page = u.get(to)
	assert.Contains(t, page, "This looks like heron: 40 of the 40 signals of its profile are here.")
	assert.Contains(t, page, "by the time in the file&#39;s name")
	f := form(page)
	assert.Equal(t, "q15", f.Get("match"))
	assert.Equal(t, "millbrook-open", f.Get("event"), "the event of the newest match")
	assert.Equal(t, "2031", f.Get("season"))
	status, sheet, page := u.done(u.client.PostForm(u.url+to, f))
	require.Equal(t, http.StatusSeeOther, status, page)
	assert.Equal(t, "/m/2031/millbrook-open/q15/heron", sheet)
	assert.Contains(t, u.get(sheet), "q15")
	requireStored(t, data)
	r, err := readReport(openHome(t, data), named("2031", "millbrook-open", "q15", "heron"))
	require.NoError(t, err)
	require.NotNil(t, r.Match.At)
	assert.Equal(t, []string{"2031/millbrook-open/q14"}, r.Usual.Matches[:1], "the earlier match is its past")

	status, again, _ := u.send("/in", time.Time{}, "log", "other name.csv.gz", log)
	require.Equal(t, http.StatusSeeOther, status)
	page = u.get(again)
	assert.Contains(t, page, "This file is stored already.")
	assert.Contains(t, page, sheet)
	status, _, page = u.done(u.client.PostForm(u.url+again, f))
	assert.Equal(t, http.StatusUnprocessableEntity, status)
	assert.Contains(t, page, "is stored already, as 2031/millbrook-open/q15/heron")
	status, _, _ = u.done(u.client.PostForm(u.url+again+"/forget", nil))
	require.Equal(t, http.StatusSeeOther, status)
	assert.Empty(t, u.pile.Waiting())
}

// requireStored checks the data folder with nothing left waiting in it.
func requireStored(t *testing.T, data string) {
	t.Helper()
	entries, err := os.ReadDir(filepath.Join(data, arrivalDir))
	if err == nil {
		assert.Empty(t, entries)
		require.NoError(t, os.Remove(filepath.Join(data, arrivalDir)))
	}
	requireWhole(t, data)
}

// A first log of a new robot: its profile is added on the page, a mistake in it is told there.
func TestANewRobotsProfileIsAddedOnThePage(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	u := newUploads(t, data)
	date := time.Now().Add(-time.Hour)
	_, to, _ := u.send("/in", date, "log", "q8.csv.gz", readSample(t, "rookie.csv.gz"))
	page := u.get(to)
	assert.Contains(t, page, "No profile that is known fits this log.")
	status, _, page := u.send(to+"/profile", time.Time{}, "yaml", "robot.yaml", []byte("profile: 1\nrobt: curlew\n"))
	require.Equal(t, http.StatusUnprocessableEntity, status)
	assert.Contains(t, page, "robt")
	curlew, err := os.ReadFile(sample("curlew.yaml"))
	require.NoError(t, err)
	status, _, page = u.send(to+"/profile", time.Time{}, "yaml", "robot.yaml", curlew)
	require.Equal(t, http.StatusSeeOther, status, page)
	page = u.get(to)
	assert.Contains(t, page, "This looks like curlew")
	assert.Contains(t, page, "by the date of the file")
	f := form(page)
	f.Set("match", "Qual 8")
	status, sheet, page := u.done(u.client.PostForm(u.url+to, f))
	require.Equal(t, http.StatusSeeOther, status, page)
	assert.Regexp(t, `^/m/\d{4}/practice/qual-8/curlew$`, sheet)
	requireStored(t, data)
}

// Bad files: one line, nothing stored, and bad rows can be left out.
func TestADroppedFileThatIsNoLog(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	u := newUploads(t, data)
	_, to, _ := u.send("/in", time.Time{}, "log", "../../photo.csv", []byte("\xff\xd8\xff\xe0"))
	page := u.get(to)
	assert.Contains(t, page, "This file cannot be read.")
	assert.Contains(t, page, "photo.csv")
	assert.NotContains(t, page, "..", "a name is a name, not a path")
	assert.NotContains(t, page, data)
	_, to, _ = u.send("/in", time.Time{}, "log", "q1.csv", []byte("time_s,signal,value\n0,a,1\nx,a,2\n"))
	page = u.get(to)
	assert.Contains(t, page, "q1.csv line 3")
	assert.Contains(t, page, to+"?skip=1")
	page = u.get(to + "?skip=1")
	assert.Contains(t, page, "1 bad row is left out.")
	status, next, page := u.done(u.client.PostForm(u.url+to, form(page)))
	require.Equal(t, http.StatusSeeOther, status, page)
	assert.Equal(t, "/", next)
	status, _, page = u.send("/in", time.Time{}, "log", "empty.csv", nil)
	assert.Equal(t, http.StatusInternalServerError, status)
	assert.Contains(t, page, "empty.csv is empty")
	assert.Len(t, u.pile.Waiting(), 1, "the photo")
	for _, odd := range []string{"/in/%2e%2e%2f%2e%2e%2fetc", "/in/" + strings.Repeat("0", 32), "/in/x"} {
		status, _, _ := u.done(u.client.Get(u.url + odd))
		assert.Equal(t, http.StatusNotFound, status, odd)
	}
	status, _, _ = u.done(u.client.PostForm(u.url+"/in/"+strings.Repeat("0", 32), url.Values{}))
	assert.Equal(t, http.StatusNotFound, status)
}

// What nobody stores is thrown away after a day, and only so much waits at once.
func TestArrivalsDoNotPileUp(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	u := newUploads(t, data)
	for range mostArrivals {
		_, err := u.pile.Receive(t.Context(), "q1.csv", time.Time{}, strings.NewReader("x"))
		require.NoError(t, err)
	}
	_, err := u.pile.Receive(t.Context(), "q1.csv", time.Time{}, strings.NewReader("x"))
	require.ErrorContains(t, err, "64 logs wait to be looked at already")
	assert.Len(t, u.pile.Waiting(), mostArrivals)
	u.pile.in.now = func() time.Time { return time.Now().Add(arrivalKept + time.Minute) }
	_, err = u.pile.Receive(t.Context(), "q2.csv", time.Time{}, strings.NewReader("x"))
	require.NoError(t, err)
	require.Len(t, u.pile.Waiting(), 1)
	assert.Equal(t, "q2.csv", u.pile.Waiting()[0].Name)

	// A file that is cut off on its way leaves nothing.
	u.pile.in.now = time.Now
	before, err := os.ReadDir(filepath.Join(data, arrivalDir))
	require.NoError(t, err)
	_, err = u.pile.Receive(t.Context(), "q3.csv", time.Time{}, io.MultiReader(strings.NewReader("x"), failingReader{}))
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
	after, err := os.ReadDir(filepath.Join(data, arrivalDir))
	require.NoError(t, err)
	assert.Len(t, after, len(before))
}

type failingReader struct{}

func (failingReader) Read([]byte) (int, error) { return 0, io.ErrUnexpectedEOF }

// While another process writes the data folder the log waits, and says so.
func TestADroppedLogWaitsForTheDataFolder(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	u := newUploads(t, data)
	_, to, _ := u.send("/in", time.Time{}, "log", "q8.csv", unpacked(t, "rookie.csv.gz"))
	f := form(u.get(to))
	lock, err := openHome(t, data).Lock()
	require.NoError(t, err)
	status, _, page := u.done(u.client.PostForm(u.url+to, f))
	assert.Equal(t, http.StatusServiceUnavailable, status)
	assert.Contains(t, page, "It still waits under New logs.")
	require.NoError(t, lock.Unlock())
	status, _, page = u.done(u.client.PostForm(u.url+to, f))
	require.Equal(t, http.StatusSeeOther, status, page)
}
