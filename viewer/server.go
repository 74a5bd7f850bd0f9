// Package viewer serves the pit board and the match sheets of a data folder. It reads what
// is stored and judges nothing about a match: whatever a page says stands in the report.
//
// Pages are documents made here; without scripts every one of them is whole. Nothing on
// them is fetched from another host, nothing of a match is cached, and only requests that
// name this machine as their host are answered.
package viewer

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/index"
	"github.com/afterbell/afterbell/viewer/page"
	"github.com/afterbell/afterbell/viewer/sheet"
	"github.com/afterbell/afterbell/viewer/traces"
)

// built holds the scripts that `go run ./cmd/dev pages` makes, beside a placeholder that
// lets a fresh clone compile.
//
//go:embed all:dist
var built embed.FS

// appScript is the part of the built pages that every page runs.
const appScript = "app.js"

// styleSheet is the one style sheet of all pages.
const styleSheet = "page.css"

// Options of a server.
type Options struct {
	Version string
	Now     func() time.Time // the clock of notes; nil for the machine's
	Log     *slog.Logger     // where trouble with stored files is told; nil for nowhere
	// Live tells of the robots that are being collected; nil when this process does not.
	Live func() []schemas.LiveRobot
	// Formats are the forms in which samples can be saved, and Compare what computes a
	// comparison; without them there is none.
	Formats []Format
	Compare CompareFunc
	Season  SeasonFunc // what looks at a season; nil leaves those pages out
	Trial   TrialFunc  // what compares two versions run in turns; nil leaves that out of a season
	Fleet   FleetFunc  // what compares the robots of an event; nil leaves those pages out
	// Intake takes logs in that are dropped on a page; nil when none can be.
	Intake Intake
}

// Server answers requests for pages. It may be used by many requests at once.
type Server struct {
	home    *home.Home
	options Options
	assets  map[string]page.Asset
	scripts page.Scripts
	index   *index.Index
	rows    rowCache
	top     atomic.Pointer[keptTop]
	traces  *traces.Shelf

	benchesMu sync.Mutex
	benches   map[string]keptBench // by address

	now      func() time.Time
	latest   atomic.Pointer[latest] // as of the last board or question; nil before the first
	handler  http.Handler
	pages    http.Handler // what is behind it, for whoever else is let in
	lanLinks []string     // by which other machines come; none when they cannot
}

// New is a server over a data folder.
func New(h *home.Home, o Options) *Server {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	s := &Server{home: h, options: o, assets: map[string]page.Asset{}, benches: map[string]keptBench{}, traces: traces.NewShelf()}
	s.index = index.New(h, s.outsideMatches)
	for _, a := range page.Assets() {
		s.assets[a.Name] = a
	}
	style := s.assets[styleSheet]
	style.Body = slices.Concat(style.Body, []byte(boardCSS+arrivalsCSS), []byte(benchCSS), []byte(seasonCSS+fleetCSS))
	s.assets[styleSheet] = style
	scripts, _ := fs.Glob(built, "dist/*.js") // those of the pages, and what they share; the pattern is a constant
	for _, file := range scripts {
		if body, err := fs.ReadFile(built, file); err == nil {
			name := path.Base(file)
			s.assets[name] = page.Asset{Name: name, Type: "text/javascript; charset=utf-8", Body: body}
			switch name {
			case appScript:
				s.scripts.Run = []string{page.AssetsPath + name}
			case benchScript, earlyScript:
			default:
				s.scripts.Shared = append(s.scripts.Shared, page.AssetsPath+name)
			}
		}
	}
	s.now = time.Now
	if o.Now != nil {
		s.now = o.Now
	}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.board)
	mux.HandleFunc("GET /live/events", s.liveEvents)
	mux.HandleFunc("GET /live.json", s.liveJSON)
	mux.HandleFunc("GET /newest.json", s.newestKnown)
	mux.HandleFunc("GET /m/{event}/{match}/{robot}", s.sheet)
	mux.HandleFunc("GET /m/{season}/{event}/{match}/{robot}", s.sheet)
	mux.HandleFunc("GET /m/{season}/{event}/{match}/{robot}/report.json", s.report)
	mux.HandleFunc("GET /t/{event}/{match}/{robot}", s.bench)
	mux.HandleFunc("GET /t/{season}/{event}/{match}/{robot}", s.bench)
	mux.HandleFunc("POST /m/{event}/{match}/{robot}/verdict", s.verdict)
	mux.HandleFunc("POST /m/{season}/{event}/{match}/{robot}/verdict", s.verdict)
	s.arrivalRoutes(mux)
	api, err := s.api()
	if err != nil {
		panic(err) // its settings are constants
	}
	mux.Handle("GET "+apiPath+"/", api)
	mux.HandleFunc("POST /m/{event}/{match}/{robot}/note", s.remark)
	mux.HandleFunc("POST /m/{season}/{event}/{match}/{robot}/note", s.remark)
	for _, at := range []string{"/s/{robot}", "/s/{season}/{robot}"} {
		mux.HandleFunc("GET "+at, s.season)
		mux.HandleFunc("GET "+at+"/season.json", s.seasonFile)
		mux.HandleFunc("GET "+at+"/season.csv", s.seasonFile)
		mux.HandleFunc("GET "+at+"/season.parquet", s.seasonFile)
		mux.HandleFunc("POST "+at+"/part", s.addPart)
	}
	mux.HandleFunc("GET /e/{event}", s.fleet)
	mux.HandleFunc("GET /e/{season}/{event}", s.fleet)
	mux.HandleFunc("GET "+page.AssetsPath+"{name}", s.asset)
	mux.HandleFunc("GET /favicon.ico", s.favicon)
	mux.HandleFunc("GET /", s.nothingHere)
	mux.HandleFunc("GET "+lanPath, s.lan)
	s.pages = s.ownForms(mux)
	s.handler = s.guarded(s.pages)
	return s
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// policy forbids everything but this server's own style sheet, scripts, font and pictures.
const policy = "default-src 'none'; style-src 'self'; font-src 'self'; img-src 'self'; script-src 'self'; " +
	"connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// guarded refuses hosts that are not this machine (a page elsewhere could otherwise make a
// name of its own lead here and read the answers) and sets the headers all answers share.
func (s *Server) guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		secure(w.Header())
		if !loopback(r.Host) {
			http.Error(w, "this server answers to 127.0.0.1 and localhost only", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// secure sets the headers that all answers share.
func secure(h http.Header) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin") // no-referrer would take the origin off our own forms
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
}

// ownForms refuses what a page of another site sends: a browser says by Sec-Fetch-Site or
// Origin (Fetch standard, W3C Fetch Metadata) where a request comes from, and without
// this check any page the crew has open could note something in their name.
func (s *Server) ownForms(next http.Handler) http.Handler {
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.problem(w, http.StatusForbidden, "Nothing was noted or taken in.", "Another site's page sent this. Use the buttons of these pages themselves.")
	}))
	return guard.Handler(next)
}

func loopback(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = hostport
	}
	ip := net.ParseIP(host)
	return host == "localhost" || host == "[::1]" || ip != nil && ip.IsLoopback()
}

func (s *Server) asset(w http.ResponseWriter, r *http.Request) {
	a, ok := s.assets[r.PathValue("name")]
	if !ok {
		http.NotFound(w, r) // never a page in the place of a script
		return
	}
	w.Header().Set("Content-Type", a.Type)
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, "", startTime, bytes.NewReader(a.Body))
}

// favicon is the mark of the project.
func (s *Server) favicon(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "image/svg+xml")
	if err := draw.Brand().WriteSVG(w); err != nil {
		s.options.Log.Debug("mark not delivered", "err", err)
	}
}

// wanted is the match a request names; without a season there must be one such match. When
// there is none the request is answered, and ok is false.
func (s *Server) wanted(w http.ResponseWriter, r *http.Request) (id schemas.MatchID, ok bool) {
	var parts []string
	for _, key := range []string{"season", "event", "match", "robot"} {
		name := r.PathValue(key)
		if key == "season" && name == "" {
			continue
		}
		if err := schemas.CheckName(key, name); err != nil {
			s.problem(w, http.StatusNotFound, "There is no such match.", err.Error())
			return id, false
		}
		parts = append(parts, name)
	}
	id, err := s.home.Find(strings.Join(parts, "/"))
	var several *home.AmbiguousError
	var none *home.NotFoundError
	switch {
	case err == nil:
		return id, true
	case errors.As(err, &several):
		s.choice(w, several.Candidates)
	case errors.As(err, &none):
		s.problem(w, http.StatusNotFound, "There is no such match.", err.Error())
	default:
		s.problem(w, http.StatusInternalServerError, "The data folder cannot be read.", err.Error())
	}
	return id, false
}

func (s *Server) sheet(w http.ResponseWriter, r *http.Request) {
	id, ok := s.wanted(w, r)
	if !ok {
		return
	}
	m, err := s.load(id)
	if err != nil {
		s.options.Log.Error("sheet", "match", id.String(), "err", err)
		s.problem(w, http.StatusInternalServerError, fmt.Sprintf("The sheet of %s cannot be shown.", id.Match), err.Error())
		return
	}
	bench := "/t" + strings.TrimPrefix(r.URL.Path, "/m")
	var b bytes.Buffer
	verdict, note := r.URL.Path+"/verdict", r.URL.Path+"/note"
	if readOnly(r) {
		verdict, note = "", ""
	}
	w.Header().Set("Content-Security-Policy", policy+page.VideoPolicy)
	err = sheet.Render(&b, sheet.Input{
		Report: m.report, Profile: m.profile, Log: m.log, Mode: sheet.Page,
		Judged: s.judged(id, m.report), Verdict: verdict, Newest: s.known(),
		Said: s.said(m.report), NoteForm: note,
		Nav: []page.Link{
			{Text: "Pit board", Href: "/"},
			{Text: "Match sheet", Href: r.URL.Path, Current: true},
			{Text: "Trace bench", Href: bench},
			s.seasonLink(id),
		},
		Stretch: stretchOf(bench, m.report.Match.StartS),
		Aside:   []page.Link{{Text: "Print", Href: "#print", ID: "print"}, {Text: "report.json", Href: longAddress(id) + "/report.json"}},
		Scripts: s.scripts,
	})
	if err != nil {
		s.options.Log.Error("sheet", "match", id.String(), "err", err)
		s.problem(w, http.StatusInternalServerError, "The sheet cannot be drawn.", err.Error())
		return
	}
	s.write(w, http.StatusOK, b.Bytes())
}

func (s *Server) report(w http.ResponseWriter, r *http.Request) {
	id, ok := s.wanted(w, r)
	if !ok {
		return
	}
	m, err := s.readReport(id)
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The report cannot be read.", err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if err := json.NewEncoder(w).Encode(m); err != nil {
		s.options.Log.Debug("report not delivered", "err", err)
	}
}

func (s *Server) nothingHere(w http.ResponseWriter, r *http.Request) {
	s.problem(w, http.StatusNotFound, "There is no such page.", "The pit board lists every match: "+r.Host+"/")
}

// choice is a page that leads to each match an address may mean.
func (s *Server) choice(w http.ResponseWriter, ids []schemas.MatchID) {
	var links []page.Link
	for _, id := range ids {
		links = append(links, page.Link{Text: id.String(), Href: longAddress(id)})
	}
	s.problem(w, http.StatusMultipleChoices, "Several seasons have this match.", "Say which:", links...)
}

// problem is a page that says what went wrong and what to do.
func (s *Server) problem(w http.ResponseWriter, status int, what, detail string, links ...page.Link) {
	var b bytes.Buffer
	err := page.Write(&b, page.Frame{
		Title: what, Class: "problem", Nav: []page.Link{{Text: "Pit board", Href: "/"}},
		Body: problemBody(what, detail, links),
	})
	if err != nil {
		http.Error(w, errors.Join(errors.New(what), err).Error(), http.StatusInternalServerError)
		return
	}
	s.write(w, status, b.Bytes())
}

func problemBody(what, detail string, links []page.Link) template.HTML {
	e := template.HTMLEscapeString
	body := `<main class="trouble"><h1 class="sentence">` + e(what) + `</h1><p>` + e(detail) + `</p>`
	if len(links) > 0 {
		body += `<ul>`
		for _, l := range links {
			body += `<li><a class="choice" href="` + e(l.Href) + `">` + e(l.Text) + `</a></li>`
		}
		body += `</ul>`
	}
	return template.HTML(body + `</main>`)
}

func (s *Server) write(w http.ResponseWriter, status int, body []byte) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	if _, err := w.Write(body); err != nil {
		s.options.Log.Debug("page not delivered", "err", err)
	}
}

// address is the page of a match; longAddress names its season too.
func address(id schemas.MatchID) string     { return path.Join("/m", id.Event, id.Match, id.Robot) }
func longAddress(id schemas.MatchID) string { return path.Join("/m", id.String()) }
