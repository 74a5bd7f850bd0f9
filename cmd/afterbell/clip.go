package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/clip"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/period"
)

// clipOptions say which stretch of a match leaves as a clip.
type clipOptions struct {
	clip         bool
	finding      string
	around       float64 // s before and after a finding
	withoutNotes bool
}

// exportClip writes a stretch of a stored match with its profile and what was found there.
func (a *app) exportClip(h *home.Home, id schemas.MatchID, o exportOptions) error {
	if len(o.signals) > 0 {
		return usagef("--clip takes all signals: leave --signal out, or --clip")
	}
	j, _, err := loadStored(h, id, nil)
	if err != nil {
		return err
	}
	r, err := readReport(h, id)
	if err != nil {
		return err
	}
	from, to, err := o.clipStretch(r)
	if err != nil {
		return err
	}
	c := clip.Clip{
		Header: clip.Header{
			Afterbell: version, Season: id.Season, Event: id.Event, Match: id.Match, Robot: id.Robot, At: j.at,
			StartS: r.Match.StartS, EndS: r.Match.EndS, FromS: from, ToS: to, Finding: o.finding,
		},
		Profile: j.profile.data,
		Log:     period.Cut(j.log, period.Match{First: micros(from), Last: micros(to)}),
	}
	if c.Log.Samples() == 0 {
		return fmt.Errorf("%s has no samples from %v to %v s of log time", id, from, to)
	}
	for _, f := range r.Findings {
		if f.ID == o.finding || f.StartS <= to && f.EndS >= from {
			c.Findings = append(c.Findings, f)
		}
	}
	if !o.withoutNotes {
		notes, err := h.Notes(id)
		if err != nil {
			return err
		}
		c.Notes = notesOn(notes, c.Findings)
	}
	a.note("the clip holds %d samples, the robot's profile and %d of the crew's notes: who gets it can read all of them", c.Log.Samples(), bytes.Count(c.Notes, []byte("\n")))
	if len(c.Notes) > 0 {
		a.note("notes may name people; --without-notes leaves them out")
	}
	write := func(w io.Writer) error { return clip.Write(w, c) }
	if o.out == "" {
		if isTerminal(a.stdout) {
			return usagef("--out is missing: a clip is no text for a terminal")
		}
		return write(a.stdout)
	}
	return replaceFile(o.out, write)
}

// clipStretch is the stretch of log time that was asked for.
func (o exportOptions) clipStretch(r *schemas.Report) (from, to float64, err error) {
	byTime := !math.IsInf(o.from, 0) || !math.IsInf(o.to, 0)
	switch {
	case o.finding == "" && !byTime:
		return 0, 0, usagef("--clip needs a stretch: give --finding ID, or --from and --to")
	case o.finding != "" && byTime:
		return 0, 0, usagef("--finding and --from, --to exclude each other")
	case o.around < 0 || math.IsNaN(o.around) || o.around > 3600:
		return 0, 0, usagef("--around %v: use 0 to 3600 seconds", o.around)
	case byTime:
		return math.Max(o.from, -9e12), math.Min(o.to, 9e12), nil
	}
	i := slices.IndexFunc(r.Findings, func(f schemas.Finding) bool { return f.ID == o.finding })
	if i < 0 {
		ids := []string{}
		for _, f := range r.Findings {
			ids = append(ids, f.ID)
		}
		return 0, 0, fmt.Errorf("%s has no finding %q; it has %s", r.Match.Match, o.finding, orNone(ids))
	}
	return r.Findings[i].StartS - o.around, r.Findings[i].EndS + o.around, nil
}

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// notesOn are the crew's lines about those findings.
func notesOn(notes []byte, findings []schemas.Finding) []byte {
	var out []byte
	lines := bufio.NewScanner(bytes.NewReader(notes))
	lines.Buffer(nil, len(notes)+1)
	for lines.Scan() {
		var n struct {
			Finding string `json:"finding"`
		}
		if json.Unmarshal(lines.Bytes(), &n) != nil {
			continue
		}
		if slices.ContainsFunc(findings, func(f schemas.Finding) bool { return f.ID == n.Finding }) {
			out = append(append(out, lines.Bytes()...), '\n')
		}
	}
	return out
}

// importClip stores a clip as a match of its own.
func (a *app) importClip(ctx context.Context, w *writer, path string, o importOptions) (imported, error) {
	if o.add {
		return imported{}, usagef("%s is a clip, a match of its own: leave --add out", path)
	}
	j, notes, err := a.clipJob(path, o)
	if err != nil {
		return imported{}, err
	}
	if err := w.begin(); err != nil {
		return imported{}, err
	}
	if w.home.Exists(j.id) && !o.replace {
		return imported{}, fmt.Errorf("%s exists: use --replace or another --match", j.id)
	}
	j.seal, j.stored = 1, storedAt(time.Now())
	if j.history, err = earlier(w.home, j.id, j.at, j.stored); err != nil {
		return imported{}, err
	}
	more := map[string]func(io.Writer) error{}
	if len(notes) > 0 {
		more[schemas.NotesFile] = func(w io.Writer) error { _, err := w.Write(notes); return err }
	}
	r, err := j.publishWith(ctx, w.home, o.replace, more)
	if err != nil {
		return imported{}, fmt.Errorf("%s was not stored: %w", j.id, err)
	}
	return importedOf(j, r, w.home, 0), nil
}

// clipJob reads a clip into a job that is not stored yet.
func (a *app) clipJob(path string, o importOptions) (*job, []byte, error) {
	c, err := clip.ReadFile(path)
	if err != nil {
		return nil, nil, err
	}
	j := &job{id: c.ID(), at: c.At, log: c.Log}
	if o.profile != "" {
		j.profile, err = readProfile(o.profile)
	} else {
		j.profile, err = parseProfile(path+": robot.yaml", c.Profile)
	}
	if err != nil {
		return nil, nil, err
	}
	j.id.Robot = j.profile.Robot
	j.id.Match = clipName(c.Header)
	for _, given := range []struct {
		what, name string
		to         *string
	}{{"season", o.season, &j.id.Season}, {"event", o.givenEvent(), &j.id.Event}, {"match", o.match, &j.id.Match}} {
		if given.name == "" {
			continue
		}
		if *given.to, err = a.tidy(given.what, given.name); err != nil {
			return nil, nil, err
		}
	}
	matches, err := period.Find(j.profile.Mode, j.log)
	if err != nil {
		return nil, nil, err
	}
	j.match = longest(matches)
	j.at = shifted(j.at, j.match.Start-schemas.Micros(c.StartS))
	j.meta = map[string]string{metaCut: cutMeta(c.Header)}
	j.cut()
	return j, c.Notes, nil
}

// clipName is the name of a clip as a match, unless another is given.
func clipName(h clip.Header) string {
	end := h.Finding
	if end == "" {
		end = fmt.Sprintf("%.0fs", h.FromS-h.StartS)
	}
	name, _, err := schemas.TidyName("match", fmt.Sprintf("%.30s-clip-%s", h.Match, end))
	if err != nil {
		return "clip"
	}
	return name
}

// metaCut is kept with the samples of a stretch: what it was cut from, as JSON.
const metaCut = "cut_from"

func cutMeta(h clip.Header) string {
	text, err := json.Marshal(schemas.CutFrom{
		Season: h.Season, Event: h.Event, Match: h.Match, FromS: h.FromS, ToS: h.ToS, Finding: h.Finding, Findings: h.Findings,
	})
	if err != nil { // of finite numbers and text that came from JSON
		panic(err)
	}
	return string(text)
}

// cut takes from the metadata what the job's log was cut from, if it was.
func (j *job) cut() {
	var c schemas.CutFrom
	if j.meta[metaCut] == "" || json.Unmarshal([]byte(j.meta[metaCut]), &c) != nil {
		return
	}
	j.cutFrom = &c
	j.match.Notes = append([]string{fmt.Sprintf("cut from %s, %.2f to %.2f s of its log time", inPast(schemas.MatchID{Season: c.Season, Event: c.Event, Match: c.Match}), c.FromS, c.ToS)}, j.match.Notes...)
}

// sayCut tells in the report what it is a stretch of, and which finding of the whole match
// the stretch alone does not show.
func (j *job) sayCut(r *schemas.Report) {
	if j.cutFrom == nil {
		return
	}
	r.Match.CutFrom = j.cutFrom
	r.Mended = nil // a stretch without it says nothing of a match
	for _, f := range j.cutFrom.Findings {
		again := slices.ContainsFunc(r.Findings, func(g schemas.Finding) bool {
			return g.Kind == f.Kind && g.StartS <= f.EndS && g.EndS >= f.StartS
		})
		if !again {
			r.Quality.Notes = append(r.Quality.Notes, fmt.Sprintf("the sheet of the whole match says here: %s This stretch alone does not show it.", ended(f.Title)))
		}
	}
	r.Finish()
}

// ended is a title as a sentence.
func ended(title string) string {
	if strings.HasSuffix(title, ".") {
		return title
	}
	return title + "."
}

// onlyClips tells whether all files are clips; the error is for a mixture.
func onlyClips(files []string) (bool, error) {
	n := 0
	for _, f := range files {
		if clip.Is(f) {
			n++
		}
	}
	if n > 0 && n < len(files) {
		return false, usagef("clips and logs cannot be imported together: a clip brings its profile along")
	}
	return n > 0, nil
}

// importClips stores clips, each as a match.
func (a *app) importClips(ctx context.Context, w *writer, files []string, o importOptions) ([]imported, error) {
	if o.match != "" && len(files) > 1 {
		return nil, usagef("--match names one clip; these are %d", len(files))
	}
	done := []imported{}
	for _, f := range files {
		m, err := a.importClip(ctx, w, f, o)
		if err != nil {
			return done, partly(err, done)
		}
		done = append(done, m)
	}
	return done, nil
}
