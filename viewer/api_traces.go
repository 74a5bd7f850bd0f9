package viewer

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/viewer/traces"
)

// What one question may ask for.
const (
	mostSignals = 64
	mostColumns = 8192
	mostTimes   = 16
)

// Format is a form in which a stretch of samples can be saved.
type Format struct {
	Name string // as it is asked for, and the ending of the file
	Type string // media type
	// Write writes samples; meta is what the match's file says of itself, for forms that can say it.
	Write func(w io.Writer, log *schemas.Log, meta map[string]string) error
}

// AskError says that what was asked to be computed is not there.
type AskError struct{ Err error }

func (e *AskError) Error() string { return e.Err.Error() }

func (e *AskError) Unwrap() error { return e.Err }

// CompareFunc lays the pass of a piece over this robot's good passes, aligned at a stage or,
// without one, at the first that tells. The error is an *AskError when there is no such pass.
type CompareFunc func(ctx context.Context, id schemas.MatchID, piece int, at string) (*schemas.Comparison, error)

// names are the signals asked for.
func (q asked) names() ([]string, error) {
	names := q.query["signal"]
	if len(names) == 0 || len(names) > mostSignals {
		return nil, notUnderstood("signal= is given %d times: 1 to %d are answered at once", len(names), mostSignals)
	}
	return names, nil
}

// apiWindow cuts a stretch of signals into pixel columns: see traces.WriteWindow.
func (s *Server) apiWindow(q asked) error {
	names, err := q.names()
	if err != nil {
		return err
	}
	t0, t1, err := q.span()
	if err != nil {
		return err
	}
	columns, err := strconv.Atoi(cmp.Or(q.query.Get("columns"), "1000"))
	if err != nil || columns < 1 || columns > mostColumns {
		return notUnderstood("columns=%q is not a whole number from 1 to %d", q.query.Get("columns"), mostColumns)
	}
	all, err := q.match.Traces(names)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	b.Grow(min(len(all)*columns*4*26, 1<<20)) // what most windows need
	if err := traces.WriteWindow(&b, all, t0, max(t1, t0+1), columns); err != nil {
		return err
	}
	q.w.Header().Set("Content-Type", "application/vnd.apache.arrow.stream")
	q.w.Header().Set("Content-Length", strconv.Itoa(b.Len()))
	s.deliver(q.w, b.Bytes())
	return nil
}

func (s *Server) deliver(w io.Writer, body []byte) {
	if _, err := w.Write(body); err != nil {
		s.options.Log.Debug("answer not delivered", "err", err)
	}
}

// apiValue is a signal at a moment; all null when nothing is known.
type apiValue struct {
	TimeS *float64 `json:"time_s"` // of the sample that holds there
	Value *float64 `json:"value"`
	Text  *string  `json:"text"`
}

// apiValues says what each signal was at each moment asked for.
func (s *Server) apiValues(q asked) error {
	names, err := q.names()
	if err != nil {
		return err
	}
	times := q.query["at"]
	if len(times) == 0 || len(times) > mostTimes {
		return notUnderstood("at= is given %d times: 1 to %d are answered at once", len(times), mostTimes)
	}
	all, err := q.match.Traces(names)
	if err != nil {
		return err
	}
	type valued struct {
		Name   string     `json:"name"`
		Values []apiValue `json:"values"`
	}
	out := []valued{}
	for _, t := range all {
		out = append(out, valued{Name: t.Info.Name, Values: []apiValue{}})
	}
	for _, text := range times {
		us, err := micros("at", text)
		if err != nil {
			return err
		}
		for i, t := range all {
			v := t.At(us)
			var at *float64
			if v.TimeUS != nil {
				at = schemas.Some(schemas.Seconds(*v.TimeUS))
			}
			out[i].Values = append(out[i].Values, apiValue{at, v.Number, v.Text})
		}
	}
	return s.apiJSON(q.w, map[string]any{"signals": out})
}

// apiSamples is a stretch of signals as a file to take home.
func (s *Server) apiSamples(q asked) error {
	names := q.query["signal"]
	t0, t1, err := q.span()
	if err != nil {
		return err
	}
	want := cmp.Or(q.query.Get("format"), "csv")
	at := slices.IndexFunc(s.options.Formats, func(f Format) bool { return f.Name == want })
	if at < 0 {
		var known []string
		for _, f := range s.options.Formats {
			known = append(known, f.Name)
		}
		return notUnderstood("format=%q is not known: use one of %s", want, strings.Join(known, ", "))
	}
	f := s.options.Formats[at]
	p, err := s.readProfile(q.id)
	if err != nil {
		p = nil // the samples leave all the same
	}
	log, meta, err := q.match.Log(names, t0, t1, period.HeldBy(p))
	if err != nil {
		return err
	}
	var b bytes.Buffer // so that an error is not a cut-off file
	if err := f.Write(&b, log, meta); err != nil {
		return fmt.Errorf("%s as %s: %w", q.id, f.Name, err)
	}
	name := fmt.Sprintf("%s-%s-%s.%s", q.id.Event, q.id.Match, q.id.Robot, f.Name)
	q.w.Header().Set("Content-Type", f.Type)
	q.w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	s.deliver(q.w, b.Bytes())
	return nil
}

// apiCompare lays the pass of a piece over the usual ones.
func (s *Server) apiCompare(q asked) error {
	piece, err := strconv.Atoi(q.query.Get("piece"))
	if err != nil {
		return notUnderstood("piece=%q is not the number of a piece", q.query.Get("piece"))
	}
	if s.options.Compare == nil {
		return problem{http.StatusNotFound, "That cannot be compared.", "This server compares nothing."}
	}
	c, err := s.options.Compare(q.r.Context(), q.id, piece, q.query.Get("at"))
	if err != nil {
		return err
	}
	return s.apiJSON(q.w, c)
}
