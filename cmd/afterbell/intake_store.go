package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

// storedAlready says that a file was taken in before.
type storedAlready struct {
	name    string
	matches []schemas.MatchID
	inIt    bool // under another name, or in another form
}

func (e *storedAlready) Error() string {
	if len(e.matches) == 0 {
		return e.name + " was stored before, and deleted since; `afterbell import` stores it again"
	}
	if e.inIt {
		return fmt.Sprintf("everything in %s is stored already, in %s", e.name, e.matches[0])
	}
	return fmt.Sprintf("%s is stored already, as %s", e.name, e.matches[0])
}

// begin is the right to store, until the function it returns is called.
func (in *intake) begin(ctx context.Context) (h *home.Home, end func(), err error) {
	select {
	case in.storing <- struct{}{}:
	case <-ctx.Done():
		return nil, nil, ctx.Err()
	}
	done := func() { <-in.storing }
	h, err = in.home()
	if err != nil {
		done()
		return nil, nil, err
	}
	release, err := h.Hold()
	if err != nil {
		done()
		return nil, nil, err
	}
	return h, func() {
		_ = release() // nothing is lost with it: the system frees what it holds
		done()
	}, nil
}

// notTaken is an error when the file was taken in before; else what a crash left of that.
func (in *intake) notTaken(h *home.Home, l *looked) (before home.Taken, err error) {
	taken, err := h.TakenFiles()
	if err != nil {
		return before, err
	}
	before = taken[l.file.sum]
	if !takenIn(h, before) {
		return before, nil
	}
	e := &storedAlready{name: l.file.name}
	for _, name := range before.Matches {
		if id, ok := schemas.ParseMatchID(name); ok && h.Exists(id) {
			e.matches = append(e.matches, id)
		}
	}
	return before, e
}

// takenLine is what is remembered of a file.
func (in *intake) takenLine(l *looked, matches ...string) home.Taken {
	return home.Taken{
		SHA256: l.file.sum, Name: l.file.name, Size: l.report.Size, ModTime: l.file.written.UTC().Format(time.RFC3339Nano),
		At: in.now().UTC().Format(time.RFC3339), Matches: matches,
	}
}

// store stores what was looked at as a match of its own, under a name that is free, and remembers
// the file.
func (in *intake) store(ctx context.Context, l *looked, c schemas.Choice) ([]imported, error) {
	h, end, err := in.begin(ctx)
	if err != nil {
		return nil, err
	}
	defer end()
	before, err := in.notTaken(h, l)
	if err != nil {
		return nil, err
	}
	jobs, more, err := in.jobs(l, c)
	if err != nil {
		return nil, err
	}
	if before.Into || !takeNames(jobs, before.Matches) {
		freeNames(h, jobs)
	}
	line := in.takenLine(l)
	for _, j := range jobs {
		line.Matches = append(line.Matches, j.id.String())
	}
	if err := h.NoteTaken(line); err != nil {
		return nil, err
	}
	done, err := storeJobs(ctx, h, jobs, more)
	if err != nil {
		return done, err
	}
	line.Done = true
	return done, h.NoteTaken(line)
}

// jobs are the matches to store, and files that come with them.
func (in *intake) jobs(l *looked, c schemas.Choice) ([]*job, map[string]func(io.Writer) error, error) {
	as, err := in.model(c)
	if err != nil {
		return nil, nil, err
	}
	if l.report.Clip != "" {
		return in.clipJobs(l, as.id)
	}
	as.meta = withFiles(nil, fileNow(l.file.name, l.file.sum, l.part, in.now()))
	quiet := *in.app // whose notes are nobody's to read
	if p := l.profileOf(c.Profile); p != nil {
		as.profile, as.id.Robot = p, p.Robot
		jobs, err := quiet.matchesIn(l.log, as)
		return jobs, nil, err
	} else if c.Profile != "" {
		return nil, nil, usagef("no profile of a robot %q is known", c.Profile)
	}
	as.log = l.log
	return []*job{&as}, nil, nil
}

// model is a job after the choice, without samples.
func (in *intake) model(c schemas.Choice) (job, error) {
	as := job{seal: 1, stored: storedAt(in.now())}
	for _, part := range []struct {
		what, text string
		to         *string
	}{{"season", c.Season, &as.id.Season}, {"event", c.Event, &as.id.Event}, {"match", c.Match, &as.id.Match}, {"robot", c.Robot, &as.id.Robot}} {
		name, _, err := schemas.TidyName(part.what, part.text)
		if err != nil {
			return as, usageError{err}
		}
		*part.to = name
	}
	var err error
	if as.at, err = parseAt(c.At); err != nil {
		return as, usagef("%q is not a time: use 2031-03-01T14:32:00Z, or leave it empty", c.At)
	}
	return as, nil
}

func (in *intake) clipJobs(l *looked, id schemas.MatchID) ([]*job, map[string]func(io.Writer) error, error) {
	j, notes, err := in.app.clipJob(l.file.path, importOptions{season: id.Season, event: id.Event, match: id.Match})
	if err != nil {
		return nil, nil, err
	}
	j.seal, j.stored = 1, storedAt(in.now())
	more := map[string]func(io.Writer) error{}
	if len(notes) > 0 {
		more[schemas.NotesFile] = func(w io.Writer) error { _, err := w.Write(notes); return err }
	}
	return []*job{j}, more, nil
}

// takeNames gives the jobs the names that were written down before a crash, so that what was
// stored then is replaced and not there twice.
func takeNames(jobs []*job, names []string) bool {
	if len(names) != len(jobs) {
		return false
	}
	for i, name := range names {
		id, ok := schemas.ParseMatchID(name)
		if !ok || id.Robot != jobs[i].id.Robot {
			return false
		}
		jobs[i].id = id
	}
	return true
}

// freeNames changes the names of the jobs together until none is taken: q14, q14-2, q14-3.
func freeNames(h *home.Home, jobs []*job) {
	first := make([]string, len(jobs))
	for i, j := range jobs {
		first[i] = j.id.Match
	}
	for n := 2; slices.ContainsFunc(jobs, func(j *job) bool { return h.Exists(j.id) }); n++ {
		for i, j := range jobs {
			j.id.Match = numbered(first[i], n)
		}
	}
}

func storeJobs(ctx context.Context, h *home.Home, jobs []*job, more map[string]func(io.Writer) error) ([]imported, error) {
	out := []imported{}
	for _, j := range jobs {
		if j.profile == nil {
			if err := j.publishSamples(ctx, h); err != nil {
				return out, fmt.Errorf("%s was not stored: %w", j.id, err)
			}
			out = append(out, importedOf(j, nil, h, 0))
			continue
		}
		var err error
		if j.history, err = earlier(h, j.id, j.at, j.stored); err != nil {
			return out, err
		}
		r, err := j.publishWith(ctx, h, true, more)
		if err != nil {
			return out, fmt.Errorf("%s was not stored: %w", j.id, err)
		}
		out = append(out, importedOf(j, r, h, 0))
		keepRollup(h, j.id)
	}
	return out, nil
}
