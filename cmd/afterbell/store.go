package main

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/rollup"
)

// writer is the right to write the data folder, which is made when there is something to
// put into it and not before.
type writer struct {
	dir  string
	home *home.Home
	lock *home.Lock
}

func (w *writer) begin() (err error) {
	if w.home == nil {
		if w.home, err = home.Create(w.dir); err != nil {
			return err
		}
	}
	if w.lock == nil {
		w.lock, err = w.home.Lock()
	}
	return err
}

func (w *writer) end() {
	if w.lock != nil {
		_ = w.lock.Unlock() // nothing is lost with it: the system frees what it holds
	}
}

// importLog reads one log and stores the matches in it.
func (a *app) importLog(ctx context.Context, w *writer, l namedLog, prof *robotProfile, o importOptions) ([]imported, error) {
	at, err := parseAt(o.at)
	if err != nil {
		return nil, err
	}
	as := job{id: l.id, at: at, profile: prof, seal: 1, stored: storedAt(time.Now())}
	jobs, skipped, err := a.jobsOf(ctx, w, l, as, o)
	if err != nil {
		return nil, err
	}
	if err := w.begin(); err != nil {
		return nil, err
	}
	for _, j := range jobs {
		if !w.home.Exists(j.id) || o.add {
			continue
		}
		if !o.replace {
			return nil, fmt.Errorf("%s exists: use --replace, --add or another --match", j.id)
		}
		j.takePlace(w.home)
	}
	out := []imported{}
	for _, j := range jobs {
		if j.history, err = earlier(w.home, j.id, j.at, j.stored); err != nil {
			return out, err
		}
		r, err := j.publish(ctx, w.home, o.replace || o.add)
		if err != nil {
			return out, fmt.Errorf("%s was not stored: %w", j.id, err)
		}
		out = append(out, importedOf(j, r, w.home, skipped))
	}
	keepRollup(w.home, l.id)
	return out, nil
}

// keepRollup brings the tables of an event up to date. Where that fails nothing is lost: whoever
// asks for a season makes it good.
func keepRollup(h *home.Home, of ...schemas.MatchID) { _ = rollup.Refresh(h, of) }

// importedOf is a match that was stored; there is no report of one without a profile.
func importedOf(j *job, r *schemas.Report, h *home.Home, skipped int) imported {
	out := imported{
		Season: j.id.Season, Event: j.id.Event, Match: j.id.Match, Robot: j.id.Robot,
		Samples: j.log.Samples(), Signals: len(j.log.Signals), SkippedRows: skipped, Folder: h.Dir(j.id),
		Verdict: "stored, not analyzed: no profile fits its signals",
	}
	if r != nil {
		out.Severity, out.Verdict = r.Verdict.Severity, r.Verdict.Text
	}
	return out
}

// jobsOf reads the files of a log and makes jobs of the matches in it, after the model as.
func (a *app) jobsOf(ctx context.Context, w *writer, l namedLog, as job, o importOptions) (jobs []*job, skipped int, err error) {
	if o.add && o.several() {
		j, skipped, err := a.addedParts(ctx, w.home, l.files, as, o)
		return []*job{j}, skipped, err
	}
	var log *schemas.Log
	if o.several() {
		log, skipped, as.meta, err = a.readTogether(ctx, l.files, as.profile, o)
	} else {
		var read ingest.Report
		log, read, err = a.readLog(ctx, l.files, o.skipBadRows)
		skipped = read.BadRows
	}
	if err != nil {
		return nil, 0, err
	}
	if o.add {
		jobs, err = a.added(w.home, log, as)
	} else {
		jobs, err = a.matchesIn(log, as)
	}
	return jobs, skipped, err
}

// matchesIn makes a job of each match in the log, after the model as.
func (a *app) matchesIn(log *schemas.Log, as job) ([]*job, error) {
	matches, err := period.Find(as.profile.Mode, log)
	if err != nil {
		return nil, usageError{err}
	}
	jobs := make([]*job, len(matches))
	for i, m := range matches {
		j := as
		j.log, j.match = period.Cut(log, m), m
		if len(matches) > 1 {
			j.id.Match = numbered(as.id.Match, i+1)
			j.at = shifted(as.at, m.Start-matches[0].Start)
			// By a hair, so that they stay in order where nothing else tells it.
			j.stored = *shifted(&as.stored, int64(i))
		} else if cut := log.Samples() - j.log.Samples(); cut > 0 {
			a.note("%d samples lie more than 30 s before or 10 s after the match and are not stored", cut)
		}
		j.sayFiles()
		jobs[i] = &j
	}
	return jobs, nil
}

// added makes the job of a stored match and more samples of it, after the model as.
func (a *app) added(h *home.Home, log *schemas.Log, as job) ([]*job, error) {
	if !h.Exists(as.id) {
		return nil, fmt.Errorf("%s does not exist, so nothing can be added to it: leave --add out", as.id)
	}
	old, _, err := loadStored(h, as.id, as.profile)
	if err != nil {
		return nil, err
	}
	if log, err = ingest.Merge(old.log, log); err != nil {
		return nil, err
	}
	as.stored, as.seal, as.meta = old.stored, old.seal+1, old.meta
	if as.at == nil {
		as.at = old.at
	}
	matches, err := period.Find(as.profile.Mode, log)
	if err != nil {
		return nil, usageError{err}
	}
	as.match = overlapping(matches, old.match)
	as.sayFiles()
	as.log = period.Cut(log, as.match)
	if cut := log.Samples() - as.log.Samples(); cut > 0 {
		a.note("%d samples are not of this match and are not stored", cut)
	}
	return []*job{&as}, nil
}

// takePlace gives the job the time of the stored match in whose place it comes: the match
// was not played again.
func (j *job) takePlace(h *home.Home) {
	f, err := matchfile.Open(filepath.Join(h.Dir(j.id), schemas.SignalsFile))
	if err != nil {
		return // damaged, perhaps the very reason to replace it
	}
	defer f.Close()
	meta := f.Meta()
	j.stored = cmp.Or(meta["stored_at"], j.stored)
	if at := meta["at"]; j.at == nil && at != "" {
		j.at = &at
	}
}

// overlapping is the match that has most time in common with old.
func overlapping(matches []period.Match, old period.Match) period.Match {
	return slices.MaxFunc(matches, func(a, b period.Match) int {
		common := func(m period.Match) int64 { return min(m.End, old.End) - max(m.Start, old.Start) }
		return cmp.Compare(common(a), common(b))
	})
}

const longestName = 64 // of a match

// numbered is the name of the nth match of a log that holds several.
func numbered(name string, n int) string {
	end := fmt.Sprintf("-%d", n)
	return name[:min(len(name), longestName-len(end))] + end
}

func storedAt(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

func shifted(at *string, us int64) *string {
	if at == nil {
		return nil
	}
	t, err := time.Parse(time.RFC3339Nano, *at)
	if err != nil {
		return at
	}
	s := storedAt(t.Add(time.Duration(us) * time.Microsecond))
	return &s
}
