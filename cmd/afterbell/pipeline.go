package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"strconv"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/schemas/tables"
	"github.com/afterbell/afterbell/viewer/sheet"
)

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
