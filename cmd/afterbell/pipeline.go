package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/schemas/tables"
	"github.com/afterbell/afterbell/viewer/sheet"
)

// robotProfile is a profile with the bytes it was read from, which are stored with a match.
type robotProfile struct {
	*profile.Profile
	data []byte
}

// mostProfile bytes are read of a profile; package profile refuses far smaller ones.
const mostProfile = 16 << 20

// readProfile reads robot.yaml; whatever is wrong with it is a usage error.
func readProfile(path string) (*robotProfile, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, usagef("profile %s: there is no such file; check the path", path)
	} else if err != nil {
		return nil, usagef("profile: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, mostProfile))
	if err != nil {
		return nil, usagef("profile: %w", err)
	}
	return parseProfile(path, data)
}

func parseProfile(name string, data []byte) (*robotProfile, error) {
	p, err := profile.Parse(name, data)
	if err != nil {
		return nil, usageError{err}
	}
	return &robotProfile{p, data}, nil
}

// job is one match on its way from samples to a stored sheet.
type job struct {
	id      schemas.MatchID
	at      *string
	log     *schemas.Log // cut to the match
	match   period.Match
	profile *robotProfile
	history []*schemas.Report
	seal    int
	stored  string              // RFC 3339, when it was first stored; empty for one that is not
	meta    map[string]string   // more to keep with the samples
	cutFrom *schemas.CutFrom    // of a stretch of another match
	tell    func(done, all int) // how far its analyses are; may be nil
	step    func(part string)   // called at the end of each part of publishing; may be nil
}

// analyze makes the report.
func (j *job) analyze() (*schemas.Report, error) {
	sum, err := matchfile.ContentSHA256(j.log)
	if err != nil {
		return nil, err
	}
	return j.analyzeWithSum(sum)
}

func (j *job) analyzeWithSum(signalsSHA256 string) (*schemas.Report, error) {
	from := schemas.From{
		Afterbell: version, ProfileSHA256: profile.SHA256(j.profile.data), SignalsSHA256: signalsSHA256, StoredAt: j.stored,
	}
	if j.seal > 0 {
		from.Seal = strconv.Itoa(j.seal)
	}
	in := j.input()
	in.From, in.Tell = from, j.tell
	r, err := analysis.Run(in)
	if err == nil {
		j.sayCut(r)
	}
	return r, err
}

// input is what the match is analyzed from.
func (j *job) input() analysis.Input {
	return analysis.Input{Log: j.log, Profile: j.profile.Profile, Match: j.match, ID: j.id, At: j.at, History: j.history}
}

// files are the writers of everything that is derived of the samples and the report, by file name.
func (j *job) files(r *schemas.Report) map[string]func(io.Writer) error {
	out := tables.Writers(r)
	out[schemas.SheetFile] = func(w io.Writer) error {
		var text bytes.Buffer
		if err := writeReport(&text, r); err != nil {
			return err
		}
		return home.WriteSheet(w, r.From.Seal, text.Bytes(), func(w io.Writer) error {
			return sheet.Render(w, sheet.Input{Report: r, Profile: j.profile.Profile, Log: j.log, Mode: sheet.File})
		})
	}
	out[pyramid.FileName] = func(w io.Writer) error { return pyramid.Write(w, r.From.SignalsSHA256, j.log) }
	out[schemas.ProfileFile] = func(w io.Writer) error {
		_, err := w.Write(j.profile.data)
		return err
	}
	out[schemas.ReportFile] = func(w io.Writer) error { return writeReport(w, r) }
	return out
}

func writeReport(w io.Writer, r *schemas.Report) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	return e.Encode(r)
}

// publish writes the whole folder of a match, which appears at once or not at all.
func (j *job) publish(ctx context.Context, h *home.Home, replace bool) (*schemas.Report, error) {
	return j.publishWith(ctx, h, replace, nil)
}

// publishWith is publish with more files.
func (j *job) publishWith(ctx context.Context, h *home.Home, replace bool, more map[string]func(io.Writer) error) (*schemas.Report, error) {
	var r *schemas.Report
	err := h.Publish(j.id, replace, func(dir string) (err error) {
		r, err = j.fill(ctx, dir, more)
		return err
	})
	j.done("disk")
	return r, err
}

// done says that a part of publishing is done.
func (j *job) done(part string) {
	if j.step != nil {
		j.step(part)
	}
}

// fill writes everything of the match into a folder; there is no report without a profile.
func (j *job) fill(ctx context.Context, dir string, more map[string]func(io.Writer) error) (*schemas.Report, error) {
	var sum matchfile.Summary
	err := home.WriteFile(filepath.Join(dir, schemas.SignalsFile), func(w io.Writer) (err error) {
		sum, err = matchfile.Write(w, j.log, j.fileMeta())
		return err
	})
	if err != nil {
		return nil, err
	}
	j.done("samples")
	if j.profile == nil {
		err = home.WriteFile(filepath.Join(dir, pyramid.FileName), func(w io.Writer) error { return pyramid.Write(w, sum.SHA256, j.log) })
		j.done("pyramid")
		return nil, err
	}
	r, err := j.analyzeWithSum(sum.SHA256)
	if err != nil {
		return nil, err
	}
	j.done("analysis")
	files := j.files(r)
	maps.Copy(files, more)
	if err := home.WriteFile(filepath.Join(dir, pyramid.FileName), files[pyramid.FileName]); err != nil {
		return nil, err
	}
	j.done("pyramid")
	delete(files, pyramid.FileName)
	for name, write := range files {
		if err := home.WriteFile(filepath.Join(dir, name), write); err != nil {
			return nil, err
		}
	}
	j.done("sheet")
	return r, ctx.Err()
}

// fileMeta is what the match file says of itself beside its samples.
func (j *job) fileMeta() map[string]string {
	m := map[string]string{"seal": strconv.Itoa(j.seal), "stored_at": j.stored}
	maps.Copy(m, j.meta)
	if j.at != nil {
		m["at"] = *j.at
	}
	return m
}

// renew analyzes a stored match again under the next seal number and writes every file
// anew, the report last.
func (j *job) renew(h *home.Home, signalsSHA256 string) (*schemas.Report, error) {
	j.seal++
	r, err := j.analyzeWithSum(signalsSHA256)
	if err != nil {
		return nil, err
	}
	files := j.files(r)
	files[schemas.SignalsFile] = func(w io.Writer) error {
		_, err := matchfile.Write(w, j.log, j.fileMeta())
		return err
	}
	return r, h.Update(j.id, files)
}

// writeFile writes, syncs and closes; a full disk shows at the latest here.
func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// readReport reads the report of a stored match.
func readReport(h *home.Home, id schemas.MatchID) (*schemas.Report, error) {
	path := filepath.Join(h.Dir(id), schemas.ReportFile)
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("%s has no report: %w; `afterbell verify --rebuild %s` makes it again", id, err, id)
	}
	var r schemas.Report
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, fmt.Errorf("%s: not a report: %w; `afterbell verify --rebuild %s` makes it again", path, err, id)
	}
	return &r, nil
}

// earlier are the reports of the robot's earlier matches of the season, in order of time.
// A match's time is its wall clock when that is known, else when it was stored; stored is
// that of the match that asks. Unreadable reports are left out: one damaged match must
// not stop the next from being analyzed. What the crew denied is left out of them.
func earlier(h *home.Home, id schemas.MatchID, at *string, stored string) ([]*schemas.Report, error) {
	all, err := h.List()
	if err != nil {
		return nil, err
	}
	self := orderKey(at, stored)
	var out []*schemas.Report
	for _, e := range all {
		if e.Season != id.Season || e.Robot != id.Robot || e == id {
			continue
		}
		r, err := readReport(h, e)
		if err != nil || r.Match.CutFrom != nil || orderKey(r.Match.At, r.From.StoredAt) >= self {
			continue // stretches of matches are no part of the past: they would count twice
		}
		out = append(out, believed(h, e, r))
	}
	slices.SortStableFunc(out, func(a, b *schemas.Report) int {
		return cmp.Compare(orderKey(a.Match.At, a.From.StoredAt), orderKey(b.Match.At, b.From.StoredAt))
	})
	return out, nil
}

// believed is a report without what the crew denied. Notes that cannot be read deny nothing.
func believed(h *home.Home, id schemas.MatchID, r *schemas.Report) *schemas.Report {
	data, err := h.Notes(id)
	if err != nil || len(data) == 0 {
		return r
	}
	verdicts, _ := crew.Parse(data)
	return crew.Believed(r, crew.Judged(r, verdicts))
}

// orderKey sorts as text: times are kept in UTC with fixed digits.
func orderKey(at *string, stored string) string {
	s := stored
	if at != nil {
		s = *at
	}
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return s
	}
	return t.UTC().Format("2006-01-02T15:04:05.000000000Z")
}

// loadStored reads a stored match back into a job: all its samples, its profile (or
// another one) and the match inside it.
func loadStored(h *home.Home, id schemas.MatchID, other *robotProfile) (*job, string, error) {
	dir := h.Dir(id)
	j := &job{id: id, profile: other}
	if other == nil {
		data, err := os.ReadFile(filepath.Join(dir, schemas.ProfileFile))
		if errors.Is(err, fs.ErrNotExist) {
			return nil, "", fmt.Errorf("%s has no %s beside it: give one with --profile", id, schemas.ProfileFile)
		} else if err != nil {
			return nil, "", err
		}
		if j.profile, err = parseProfile(filepath.Join(dir, schemas.ProfileFile), data); err != nil {
			return nil, "", err
		}
	}
	f, err := matchfile.Open(filepath.Join(dir, schemas.SignalsFile))
	if err != nil {
		return nil, "", err
	}
	defer f.Close()
	if j.log, err = f.Read(); err != nil {
		return nil, "", err
	}
	meta := f.Meta()
	j.stored = meta["stored_at"]
	if at, ok := meta["at"]; ok {
		j.at = &at
	}
	j.seal, _ = strconv.Atoi(meta["seal"])
	j.meta = map[string]string{}
	for _, key := range []string{metaBoots, collector.MetaStart, collector.MetaEnd, metaLate, metaCollectedAs, metaCut, metaFiles} {
		if v, ok := meta[key]; ok {
			j.meta[key] = v
		}
	}
	if err := j.findMatch(longest); err != nil {
		return nil, "", err
	}
	j.cut()
	return j, f.SHA256(), nil
}

// findMatch finds the match in the samples: that which was opened by hand, else the one that
// choose takes of those that the mode tells.
func (j *job) findMatch(choose func([]period.Match) period.Match) error {
	matches, err := period.Find(j.profile.Mode, j.log)
	if err != nil {
		return err
	}
	if len(matches) == 0 {
		return fmt.Errorf("%s holds no samples", j.id)
	}
	j.match = choose(matches)
	if byHand, ok := openedByHand(j.meta); ok {
		if hit := overlapping(matches, byHand); len(hit.Periods) > 0 && j.profile.Mode != nil {
			j.match = hit
		} else {
			byHand.First, byHand.Last = j.match.First, j.match.Last
			j.match = byHand
		}
	}
	j.sayLate()
	j.sayFiles()
	return nil
}

// What is kept with the samples of a match that was collected live.
const (
	metaBoots = clock.MetaBoots
	metaLate  = "late_samples" // that came after an earlier seal
)

// openedByHand is the stretch of a match that a message opened.
func openedByHand(meta map[string]string) (period.Match, bool) {
	start, err1 := strconv.ParseInt(meta[collector.MetaStart], 10, 64)
	end, err2 := strconv.ParseInt(meta[collector.MetaEnd], 10, 64)
	whole := []period.Span{{Mode: schemas.PeriodDriver, Start: start, End: end}}
	return period.Match{Start: start, End: end, Periods: whole, Modes: whole}, err1 == nil && err2 == nil
}

// longest is the match a stored folder is about: its lead-in may hold the end of another.
func longest(matches []period.Match) period.Match {
	return slices.MaxFunc(matches, func(a, b period.Match) int { return cmp.Compare(a.End-a.Start, b.End-b.Start) })
}
