package viewer

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/klauspost/compress/gzhttp"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer/traces"
)

// apiPath is where the interface for programs lies, the bench among them.
const apiPath = "/api/v1"

// openAPI describes the interface (OpenAPI 3.1). A test holds the two together.
//
//go:embed openapi.json
var openAPI []byte

// apiRoute is one thing that can be asked for below apiPath.
type apiRoute struct {
	path string
	ask  func(*Server, http.ResponseWriter, *http.Request) error
}

// A match is named as on the pages; ?season= tells seasons apart that have the same name.
const ofMatch = "/m/{event}/{match}/{robot}"

var apiRoutes = []apiRoute{
	{"/openapi.json", (*Server).apiDescription},
	{"/matches", (*Server).apiMatches},
	{"/e/{event}", (*Server).apiFleet},
	{ofMatch, aboutMatch((*Server).apiMatch)},
	{ofMatch + "/report", aboutMatch((*Server).apiReport)},
	{ofMatch + "/findings", aboutMatch((*Server).apiFindings)},
	{ofMatch + "/signals", aboutMatch((*Server).apiSignals)},
	{ofMatch + "/window", aboutMatch((*Server).apiWindow)},
	{ofMatch + "/values", aboutMatch((*Server).apiValues)},
	{ofMatch + "/samples", aboutMatch((*Server).apiSamples)},
	{ofMatch + "/compare", aboutMatches((*Server).apiCompare)},
}

// api answers what lies below apiPath. Answers shrink where that gains: text does; windows
// come from this machine or a near one and would be made smaller more slowly than sent, and
// Parquet is small already.
func (s *Server) api() (http.Handler, error) {
	smaller, err := gzhttp.NewWrapper(gzhttp.MinSize(1400), gzhttp.EnableZstd(true),
		gzhttp.ContentTypes([]string{"application/json", "application/problem+json", "application/jsonl", "text/csv"}))
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	for _, r := range apiRoutes {
		mux.HandleFunc("GET "+apiPath+r.path, func(w http.ResponseWriter, q *http.Request) {
			if err := r.ask(s, w, q); err != nil {
				s.apiProblem(w, q, err)
			}
		})
	}
	mux.HandleFunc("GET "+apiPath+"/", func(w http.ResponseWriter, q *http.Request) {
		s.apiProblem(w, q, problem{http.StatusNotFound, "There is nothing at this address.", apiPath + "/openapi.json says what there is."})
	})
	return smaller(mux), nil
}

// problem is why a question was not answered (RFC 9457).
type problem struct {
	status        int
	title, detail string
}

func (p problem) Error() string { return p.title + " " + p.detail }

// notUnderstood is a mistake in the question.
func notUnderstood(format string, args ...any) problem {
	return problem{http.StatusBadRequest, "The question is not understood.", fmt.Sprintf(format, args...)}
}

// problemOf finds the status of an error.
func problemOf(err error) problem {
	var p problem
	var several *home.AmbiguousError
	var none *home.NotFoundError
	var signal *traces.UnknownSignalError
	var wrong *AskError
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &several):
		return problem{http.StatusConflict, "Several seasons have this match.", "Say which with ?season=: " + err.Error()}
	case errors.As(err, &none):
		return problem{http.StatusNotFound, "There is no such match.", err.Error()}
	case errors.As(err, &signal):
		return problem{http.StatusNotFound, "There is no such signal.", err.Error()}
	case errors.As(err, &wrong):
		return problem{http.StatusNotFound, "That cannot be compared.", err.Error()}
	case errors.Is(err, fs.ErrNotExist):
		return problem{http.StatusNotFound, "This match does not have that.", err.Error()}
	default:
		return problem{http.StatusInternalServerError, "The match cannot be read.", err.Error()}
	}
}

// apiProblem answers with what went wrong.
func (s *Server) apiProblem(w http.ResponseWriter, r *http.Request, err error) {
	p := problemOf(err)
	if p.status == http.StatusInternalServerError {
		s.options.Log.Error("api", "asked", r.URL.String(), "err", err)
	}
	h := w.Header()
	for _, key := range []string{"ETag", "Content-Disposition"} {
		h.Del(key)
	}
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.status)
	s.send(w, map[string]any{"type": "about:blank", "title": p.title, "status": p.status, "detail": p.detail})
}

// apiJSON answers with a value as JSON.
func (s *Server) apiJSON(w http.ResponseWriter, v any) error {
	w.Header().Set("Content-Type", "application/json")
	s.send(w, v)
	return nil
}

func (s *Server) send(w http.ResponseWriter, v any) {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		s.options.Log.Debug("answer not delivered", "err", err)
	}
}

// asked is a question about one match.
type asked struct {
	w     http.ResponseWriter
	r     *http.Request
	id    schemas.MatchID
	match *traces.Match
	query url.Values
}

type matchAnswer func(*Server, asked) error

// aboutMatch finds the match that a question is about. Stored matches change only with
// their seal, so an answer that the asker still has is not made again. No browser keeps one by
// itself (no-store holds here too): what a robot logged is private. The tag is weak because an
// answer may be compressed one way or another.
func aboutMatch(answer matchAnswer) func(*Server, http.ResponseWriter, *http.Request) error {
	return aboutMatches(func(s *Server, q asked) error {
		tag := fmt.Sprintf(`W/"%s-%.16s-%s"`, q.match.Seal, q.match.SHA256, s.options.Version)
		q.w.Header().Set("ETag", tag)
		if holds(q.r.Header.Get("If-None-Match"), tag) {
			q.w.WriteHeader(http.StatusNotModified)
			return nil
		}
		return answer(s, q)
	})
}

// aboutMatches is aboutMatch for an answer that rests on other matches too, whose seals the
// asker does not know.
func aboutMatches(answer matchAnswer) func(*Server, http.ResponseWriter, *http.Request) error {
	return func(s *Server, w http.ResponseWriter, r *http.Request) error {
		q, err := url.ParseQuery(r.URL.RawQuery)
		if err != nil {
			return notUnderstood("%v", err)
		}
		id, err := s.apiID(r, q.Get("season"))
		if err != nil {
			return err
		}
		m, err := s.traces.Open(s.home.Dir(id))
		if err != nil {
			return reimport(err)
		}
		return answer(s, asked{w, r, id, m, q})
	}
}

// holds is whether an If-None-Match field names the tag (RFC 9110, 13.1.2: compared weakly).
func holds(field, tag string) bool {
	for part := range strings.SplitSeq(field, ",") {
		if part = strings.TrimSpace(part); part == "*" || strings.TrimPrefix(part, "W/") == strings.TrimPrefix(tag, "W/") {
			return true
		}
	}
	return false
}

func (s *Server) apiID(r *http.Request, season string) (schemas.MatchID, error) {
	parts := []string{r.PathValue("event"), r.PathValue("match"), r.PathValue("robot")}
	keys := []string{"event", "match", "robot"}
	if season != "" {
		parts, keys = append([]string{season}, parts...), append([]string{"season"}, keys...)
	}
	for i, name := range parts {
		if err := schemas.CheckName(keys[i], name); err != nil {
			return schemas.MatchID{}, problem{http.StatusNotFound, "There is no such match.", err.Error()}
		}
	}
	return s.home.Find(strings.Join(parts, "/"))
}

// seconds reads a time of the query in seconds of log time as microseconds; without one it
// is other.
func (q asked) seconds(key string, other int64) (int64, error) {
	text := q.query.Get(key)
	if text == "" {
		return other, nil
	}
	return micros(key, text)
}

func micros(key, text string) (int64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || v-v != 0 || v < -9e12 || v > 9e12 {
		return 0, notUnderstood("%s=%q is not a time in seconds", key, text)
	}
	return schemas.Micros(v), nil
}

// span is from and to of the query, the whole log where they are left out.
func (q asked) span() (t0, t1 int64, err error) {
	first, last := q.bounds()
	if t0, err = q.seconds("from", first); err != nil {
		return 0, 0, err
	}
	if t1, err = q.seconds("to", last); err != nil {
		return 0, 0, err
	}
	if t1 < t0 {
		return 0, 0, notUnderstood("from=%v is later than to=%v", schemas.Seconds(t0), schemas.Seconds(t1))
	}
	return t0, t1, nil
}

// bounds is the time of the first and the last sample, both 0 without any.
func (q asked) bounds() (first, last int64) {
	none := true
	for _, s := range q.match.Infos() {
		switch {
		case s.Samples == 0:
		case none:
			first, last, none = s.FirstUS, s.LastUS, false
		default:
			first, last = min(first, s.FirstUS), max(last, s.LastUS)
		}
	}
	return first, last
}

func (s *Server) apiDescription(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "application/json")
	if _, err := w.Write(openAPI); err != nil {
		s.options.Log.Debug("answer not delivered", "err", err)
	}
	return nil
}
