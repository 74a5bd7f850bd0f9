package viewer

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer/page"
)

// Intake takes logs in that are dropped on a page. It is handed in: what a log is must be
// read and computed.
type Intake interface {
	// Receive keeps a log until somebody says what it is. written is the file's date, or zero.
	Receive(ctx context.Context, name string, written time.Time, r io.Reader) (id string, err error)
	// Waiting are the logs that wait, by id, name and size.
	Waiting() []schemas.Arrival
	// Look says what a waiting log probably is.
	Look(ctx context.Context, id string, skipBadRows bool) (schemas.Arrival, error)
	// AddProfile keeps a robot's profile beside a waiting log.
	AddProfile(id string, r io.Reader) error
	// Store stores a waiting log.
	Store(ctx context.Context, id string, c schemas.Choice) ([]schemas.MatchID, error)
	// Forget throws a waiting log away.
	Forget(id string) error
}

// ErrNoArrival says that no log waits under an id.
var ErrNoArrival = errors.New("no log waits here: it was stored or thrown away, or a day has gone by")

// InputError says what is wrong with what somebody sent.
type InputError struct{ Text string }

func (e *InputError) Error() string { return e.Text }

//go:embed arrivals.tmpl
var arrivalsText string

//go:embed arrivals.css
var arrivalsCSS string

var arrivalsTemplate = template.Must(template.New("arrivals").Funcs(template.FuncMap{
	"size": sizeWords, "count": countWords, "list": func(names []string) string { return strings.Join(names, ", ") },
}).Parse(arrivalsText))

const (
	arrivalsPath = "/in"
	// mostParts are the files of one form, mostForms the bytes of its other fields together.
	mostParts = 32
	mostForms = 64 << 10
	// mostUpload bounds one request, so that a page cannot fill the disk with one.
	mostUpload = 8 << 30
	// mostProfileForm bounds a form with a robot's profile.
	mostProfileForm = 2 << 20
)

// arrivalRoutes are the pages of logs that come in by the browser. Only this machine sees them
// and may send any, and only from these pages (ownForms).
func (s *Server) arrivalRoutes(mux *http.ServeMux) {
	if s.options.Intake == nil {
		return
	}
	mux.HandleFunc("GET "+arrivalsPath, s.fromHere(s.arrivals))
	mux.HandleFunc("POST "+arrivalsPath, s.fromHere(s.receive))
	mux.HandleFunc("GET "+arrivalsPath+"/{id}", s.fromHere(s.arrival))
	mux.HandleFunc("POST "+arrivalsPath+"/{id}", s.fromHere(s.storeArrival))
	mux.HandleFunc("POST "+arrivalsPath+"/{id}/profile", s.fromHere(s.addProfile))
	mux.HandleFunc("POST "+arrivalsPath+"/{id}/forget", s.fromHere(s.forgetArrival))
}

// fromHere refuses what another machine sends, whatever address the pages are served on.
func (s *Server) fromHere(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if readOnly(r) || !loopback(r.RemoteAddr) {
			s.problem(w, http.StatusForbidden, "Nothing was taken in.", "Logs can be added on the laptop itself only.")
			return
		}
		next(w, r)
	}
}

// bringForm is the form by which logs come in; empty where none can.
func (s *Server) bringForm() template.HTML {
	if s.options.Intake == nil {
		return ""
	}
	return s.arrivalsHTML("bring", len(s.options.Intake.Waiting()))
}

func (s *Server) arrivalsHTML(name string, data any) template.HTML {
	var b bytes.Buffer
	if err := arrivalsTemplate.ExecuteTemplate(&b, name, data); err != nil {
		s.options.Log.Error("arrivals", "err", err)
		return ""
	}
	return template.HTML(b.String()) // made by html/template above
}

func (s *Server) arrivalsPage(w http.ResponseWriter, status int, title string, body template.HTML) {
	if body == "" {
		s.problem(w, http.StatusInternalServerError, "The page cannot be drawn.", "Look at the program's messages.")
		return
	}
	var b bytes.Buffer
	err := page.Write(&b, page.Frame{
		Title: title, Class: "arrivals", Scripts: s.scripts, Body: body,
		Nav: []page.Link{{Text: "Pit board", Href: "/"}, {Text: "New logs", Href: arrivalsPath, Current: true}},
	})
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The page cannot be drawn.", err.Error())
		return
	}
	s.write(w, status, b.Bytes())
}

// arrivals lists the logs that wait.
func (s *Server) arrivals(w http.ResponseWriter, _ *http.Request) {
	data := struct {
		Waiting []schemas.Arrival
		Form    template.HTML
	}{s.options.Intake.Waiting(), s.arrivalsHTML("form", nil)}
	s.arrivalsPage(w, http.StatusOK, "New logs, afterbell", s.arrivalsHTML("list", data))
}

// receive takes the files of a form, as they come: nothing of them is kept in memory.
func (s *Server) receive(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, mostUpload)
	parts, err := r.MultipartReader()
	if err != nil {
		s.problem(w, http.StatusBadRequest, "Nothing was taken in.", "The form brought no file: choose one, or drop it on the page.")
		return
	}
	var ids []string
	var dates []time.Time
	for n, files := 0, 0; ; n++ {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil && n >= 2*mostParts {
			err = fmt.Errorf("more than %d files at once: drop fewer", mostParts)
		}
		if err == nil && part.FormName() == "written" {
			dates, err = datesOf(part)
		} else if err == nil && part.FileName() != "" {
			var id string
			if id, err = s.options.Intake.Receive(r.Context(), part.FileName(), dateAt(dates, files), part); err == nil {
				ids = append(ids, id)
			}
			files++
		}
		if err != nil {
			s.notReceived(w, ids, err)
			return
		}
	}
	switch len(ids) {
	case 0:
		s.problem(w, http.StatusBadRequest, "Nothing was taken in.", "The form brought no file: choose one, or drop it on the page.")
	case 1:
		http.Redirect(w, r, arrivalsPath+"/"+ids[0], http.StatusSeeOther)
	default:
		http.Redirect(w, r, arrivalsPath, http.StatusSeeOther)
	}
}

// notReceived says why a form was not taken. What came whole before the trouble waits.
func (s *Server) notReceived(w http.ResponseWriter, ids []string, err error) {
	status := http.StatusInternalServerError
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		status, err = http.StatusRequestEntityTooLarge, fmt.Errorf("the files are longer than %d GiB together: use `afterbell import`", int64(mostUpload)>>30)
	}
	what := "Nothing was taken in."
	if len(ids) > 0 {
		what = fmt.Sprintf("Only %d of the files came in.", len(ids))
	}
	s.options.Log.Error("log not received", "err", err)
	s.problem(w, status, what, err.Error(), page.Link{Text: "Logs that wait", Href: arrivalsPath})
}

// datesOf are the dates of the files that follow, as a script put them: milliseconds since
// 1970, one for each file.
func datesOf(r io.Reader) ([]time.Time, error) {
	text, err := io.ReadAll(io.LimitReader(r, mostForms))
	if err != nil {
		return nil, err
	}
	var out []time.Time
	for _, field := range strings.Split(string(text), ",") {
		ms, err := strconv.ParseInt(strings.TrimSpace(field), 10, 64)
		if err != nil {
			return nil, nil // none are known
		}
		out = append(out, time.UnixMilli(ms))
	}
	return out, nil
}

func dateAt(dates []time.Time, i int) time.Time {
	if i < len(dates) {
		return dates[i]
	}
	return time.Time{}
}

// arrivalView is a waiting log as its page shows it.
type arrivalView struct {
	schemas.Arrival
	Head    string
	Length  string
	Links   []page.Link // of what it became already
	AtLocal string      // for an input of date and time
	Others  bool        // profiles that do not fit
	Wrong   string      // what was wrong with what was sent
	Skipped bool        // bad rows are left out
	With    string      // the recording it is put together with, as chosen or proposed
	Ask     bool        // of some recording it must be said how long after it this begins
	After   string      // and what was said
}

// proposed is the recording that is proposed without a doubt; empty where a person must say.
func proposed(a schemas.Arrival) string {
	if len(a.Together) > 0 && a.Together[0].Sure {
		return a.Together[0].With
	}
	return ""
}

// arrival shows what a log was taken for, to be corrected before it is stored.
func (s *Server) arrival(w http.ResponseWriter, r *http.Request) {
	s.showArrival(w, r, r.PathValue("id"), r.URL.Query().Get("skip") == "1", "", nil)
}

func (s *Server) showArrival(w http.ResponseWriter, r *http.Request, id string, skip bool, wrong string, choice *schemas.Choice) {
	a, err := s.options.Intake.Look(r.Context(), id, skip)
	if err != nil {
		s.arrivalTrouble(w, err)
		return
	}
	if choice != nil {
		a.Guess = *choice
	}
	v := arrivalView{Arrival: a, Wrong: wrong, Skipped: skip, Head: headOf(a), Length: lengthWords(a.DurationS), With: proposed(a)}
	v.Ask = slices.ContainsFunc(a.Together, func(t schemas.Together) bool { return !t.Known })
	if choice != nil {
		v.With = choice.With
		if choice.AfterS != nil {
			v.After = strconv.FormatFloat(*choice.AfterS, 'f', -1, 64)
		}
	}
	for _, id := range a.Stored {
		if s.home.Exists(id) {
			v.Links = append(v.Links, page.Link{Text: id.Match + " " + id.Robot + ", " + id.Event, Href: longAddress(id)})
		}
	}
	if at, err := time.Parse(time.RFC3339Nano, a.Guess.At); err == nil {
		v.AtLocal = at.Local().Format("2006-01-02T15:04:05")
	}
	v.Others = slices.ContainsFunc(a.Candidates, func(c schemas.Candidate) bool { return !c.Fits })
	status := http.StatusOK
	if wrong != "" {
		status = http.StatusUnprocessableEntity
	}
	s.arrivalsPage(w, status, a.Name+", afterbell", s.arrivalsHTML("arrival", v))
}

// arrivalTrouble says why a waiting log cannot be shown or stored.
func (s *Server) arrivalTrouble(w http.ResponseWriter, err error) {
	var locked *home.LockedError
	switch {
	case errors.Is(err, ErrNoArrival):
		s.problem(w, http.StatusNotFound, "No log waits here.", err.Error(), page.Link{Text: "Logs that wait", Href: arrivalsPath})
	case errors.As(err, &locked):
		s.problem(w, http.StatusServiceUnavailable, "The log was not stored.", err.Error()+". It still waits under New logs.", page.Link{Text: "Logs that wait", Href: arrivalsPath})
	default:
		s.options.Log.Error("log not stored", "err", err)
		s.problem(w, http.StatusInternalServerError, "The log was not stored.", err.Error(), page.Link{Text: "Logs that wait", Href: arrivalsPath})
	}
}

// headOf is what a log was taken for, in a sentence.
func headOf(a schemas.Arrival) string {
	switch {
	case a.Problem != "":
		return "This file cannot be read."
	case len(a.Stored) > 0:
		return "This file is stored already."
	case a.Clip != "":
		return fmt.Sprintf("A stretch of %s, cut out on another laptop.", a.Clip)
	}
	i := slices.IndexFunc(a.Candidates, func(c schemas.Candidate) bool { return c.Fits && c.Robot == a.Guess.Profile })
	switch {
	case i < 0:
		return "No profile that is known fits this log."
	case len(a.Tied) > 1:
		return fmt.Sprintf("This may be %s: their profiles fit equally well.", strings.Join(a.Tied, " or "))
	}
	c := a.Candidates[i]
	return fmt.Sprintf("This looks like %s: %d of the %d signals of its profile are here.", c.Robot, c.Found, c.Mapped)
}

// storeArrival stores a log as the form says, and leads to its sheet.
func (s *Server) storeArrival(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, mostForms)
	if err := r.ParseForm(); err != nil {
		s.problem(w, http.StatusBadRequest, "The form cannot be read.", err.Error())
		return
	}
	f := r.PostForm
	c := schemas.Choice{
		Profile: f.Get("profile"), Robot: f.Get("robot"), Season: f.Get("season"), Event: f.Get("event"), Match: f.Get("match"),
		SkipBadRows: f.Get("skip") == "1",
	}
	id := r.PathValue("id")
	var err error
	if c.At, err = localTime(f.Get("at")); err == nil {
		c.With, c.AfterS, err = withOf(f)
	}
	if err != nil {
		s.showArrival(w, r, id, c.SkipBadRows, err.Error(), &c)
		return
	}
	stored, err := s.options.Intake.Store(r.Context(), id, c)
	var wrong *InputError
	switch {
	case errors.As(err, &wrong):
		s.showArrival(w, r, id, c.SkipBadRows, wrong.Text, &c)
	case err != nil:
		s.arrivalTrouble(w, err)
	case len(stored) == 1 && (c.Profile != "" || s.hasSheet(stored[0])):
		http.Redirect(w, r, longAddress(stored[0]), http.StatusSeeOther)
	default: // several, or one without a sheet
		http.Redirect(w, r, "/", http.StatusSeeOther)
	}
}

// hasSheet is whether a match that was stored can be shown.
func (s *Server) hasSheet(id schemas.MatchID) bool {
	_, err := os.Stat(filepath.Join(s.home.Dir(id), schemas.ReportFile))
	return err == nil
}

// askAfter marks the choices for which a person says how long after the other this one begins.
const askAfter = "?"

// withOf reads what a log is put together with, and how long after it it begins where that was
// asked for.
func withOf(f url.Values) (with string, after *float64, err error) {
	with, ask := strings.CutSuffix(f.Get("with"), askAfter)
	if !ask {
		return with, nil, nil
	}
	text := strings.TrimSpace(f.Get("after"))
	s, err := strconv.ParseFloat(text, 64)
	if err != nil || math.Abs(s) > mostAfter || math.IsNaN(s) {
		return with, nil, fmt.Errorf("%.40q is no number of seconds: say how long after the beginning of the other this one begins, such as 64.5", text)
	}
	return with, &s, nil
}

// mostAfter seconds lie between the beginnings of two recordings of one match.
const mostAfter = 3600

// localTime reads what an input of date and time sends (HTML, 2.3.5.5: local date and time)
// in the zone of this laptop.
func localTime(text string) (string, error) {
	if text == "" {
		return "", nil
	}
	for _, layout := range []string{"2006-01-02T15:04:05.999999999", "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, text, time.Local); err == nil {
			return t.UTC().Format(time.RFC3339), nil
		}
	}
	return "", fmt.Errorf("%.40q is not a date and time: use 2031-03-01T14:32, or leave it empty", text)
}

// addProfile takes a robot.yaml for a log that no known profile fits.
func (s *Server) addProfile(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	r.Body = http.MaxBytesReader(w, r.Body, mostProfileForm)
	parts, err := r.MultipartReader()
	for err == nil {
		var part interface {
			io.Reader
			FileName() string
		}
		if part, err = parts.NextPart(); err != nil {
			break
		}
		if part.FileName() == "" {
			continue
		}
		err = s.options.Intake.AddProfile(id, part)
		var wrong *InputError
		switch {
		case errors.As(err, &wrong):
			s.showArrival(w, r, id, false, wrong.Text, nil)
		case err != nil:
			s.arrivalTrouble(w, err)
		default:
			http.Redirect(w, r, arrivalsPath+"/"+id, http.StatusSeeOther)
		}
		return
	}
	s.showArrival(w, r, id, false, "The form brought no profile: choose the robot.yaml that says what the signals mean.", nil)
}

func (s *Server) forgetArrival(w http.ResponseWriter, r *http.Request) {
	if err := s.options.Intake.Forget(r.PathValue("id")); err != nil && !errors.Is(err, ErrNoArrival) {
		s.problem(w, http.StatusInternalServerError, "The log was not thrown away.", err.Error())
		return
	}
	next := "/"
	if len(s.options.Intake.Waiting()) > 0 {
		next = arrivalsPath
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
}

func sizeWords(n int64) string {
	switch {
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	case n >= 1e3:
		return fmt.Sprintf("%.1f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d bytes", n)
}

func lengthWords(s float64) string {
	if s >= 600 {
		return fmt.Sprintf("%.0f min", s/60)
	}
	return fmt.Sprintf("%.1f s", s)
}

func countWords(n int, one, many string) string { return grouped(n) + " " + plural(n, one, many) }

// grouped is a count with its digits in groups of three (ISO 80000-1, 7.3.1).
func grouped(n int) string {
	text := strconv.Itoa(n)
	for at := len(text) - 3; at > 0; at -= 3 {
		text = text[:at] + "\u00a0" + text[at:]
	}
	return text
}
