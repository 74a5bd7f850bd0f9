package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/recognize"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/clip"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
)

// intake takes logs in without being told what they are: `watch` and the pages use it. Its
// methods may be called from several goroutines, store one after another.
type intake struct {
	app           *app
	home          func() (*home.Home, error) // made when there is something to store
	given         []*robotProfile            // profiles the user named; they come before stored ones
	season, event string                     // empty: the year of the match, the event of the newest match
	now           func() time.Time
	storing       chan struct{} // one at a time
}

func newIntake(a *app, open func() (*home.Home, error), given []*robotProfile, season, event string) *intake {
	return &intake{app: a, home: open, given: given, season: season, event: event, now: time.Now, storing: make(chan struct{}, 1)}
}

// arrived is a file that is whole and stays as it is while it is looked at.
type arrived struct {
	path    string // where it is now
	name    string // what it is called
	written time.Time
	sum     string // SHA-256, when it is known
	extra   []*robotProfile
}

// looked is what a file turned out to be.
type looked struct {
	file   arrived
	report schemas.Arrival
	log    *schemas.Log
	robots []*robotProfile // by the place of report.Candidates
}

// look reads a file and says what it probably is. A file that cannot be read is told in
// report.Problem; the error is for what has nothing to do with it.
func (in *intake) look(ctx context.Context, f arrived, skipBadRows bool) (*looked, error) {
	h, err := in.home()
	if err != nil {
		return nil, err
	}
	out := &looked{file: f}
	r := &out.report
	r.Name = f.name
	info, err := os.Stat(f.path)
	if err != nil {
		return nil, err
	}
	r.Size = info.Size()
	if out.file.sum == "" {
		if out.file.sum, err = sumOf(ctx, f.path); err != nil {
			return nil, err
		}
	}
	taken, err := h.TakenFiles()
	if err != nil {
		return nil, err
	}
	if t := taken[out.file.sum]; t.Done {
		for _, name := range t.Matches {
			if id, ok := schemas.ParseMatchID(name); ok {
				r.Stored = append(r.Stored, id)
			}
		}
		return out, nil
	}
	if clip.Is(f.path) {
		in.lookAtClip(out)
		return out, nil
	}
	source := ingest.Source{Name: f.name, Size: r.Size, Open: func() (io.ReadCloser, error) { return os.Open(f.path) }}
	log, read, err := ingest.Read(ctx, []ingest.Source{source}, ingest.Options{SkipBadRows: skipBadRows})
	var bad *ingest.BadRow
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		r.Problem, r.BadRows = firstLine(err), errors.As(err, &bad) && !skipBadRows
		return out, nil
	}
	out.log = log
	r.Samples, r.Signals, r.Skipped = log.Samples(), len(log.Signals), read.BadRows
	if len(read.Files) > 0 {
		r.Form = strings.TrimSuffix(read.Files[0].Form+", "+read.Files[0].Packing, ", ")
	}
	if first, last, ok := log.Bounds(); ok {
		r.DurationS = schemas.Seconds(last - first)
	}
	return out, in.guess(h, out)
}

func sumOf(ctx context.Context, path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, readerFunc(func(p []byte) (int, error) {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		return f.Read(p)
	})); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

type readerFunc func(p []byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

// firstLine is an error's first line, which is complete by itself.
func firstLine(err error) string {
	line, _, _ := strings.Cut(err.Error(), "\n")
	return line
}

// guess fills in what the log probably is.
func (in *intake) guess(h *home.Home, l *looked) error {
	known, from := in.known(h, l.file.extra)
	bare := make([]*profile.Profile, len(known))
	var robots []string
	for i, p := range known {
		bare[i] = p.Profile
		robots = append(robots, p.Robot)
	}
	r := &l.report
	fits := recognize.Profiles(l.log, bare)
	fitting := map[int]bool{}
	for _, f := range fits {
		fitting[f.Profile] = true
		r.Candidates = append(r.Candidates, schemas.Candidate{
			Robot: known[f.Profile].Robot, From: from[f.Profile], Fits: true, Found: f.Found, Mapped: f.Mapped(), Missing: f.Missing,
		})
		l.robots = append(l.robots, known[f.Profile])
	}
	for i, p := range known {
		if !fitting[i] {
			r.Candidates = append(r.Candidates, schemas.Candidate{Robot: p.Robot, From: from[i]})
			l.robots = append(l.robots, p)
		}
	}
	named := recognize.FileName(l.file.name, robots, time.Local)
	g := &r.Guess
	g.Match, g.Robot = named.Match, named.Robot
	if len(fits) > 0 {
		g.Profile = known[fits[0].Profile].Robot
	}
	if tied := recognize.Tied(fits); len(tied) > 1 {
		for _, f := range tied {
			robot := known[f.Profile].Robot
			r.Tied = append(r.Tied, robot)
			if robot == named.Robot { // the log does not say, and the file's name does
				g.Profile = robot
			}
		}
	}
	if g.Robot == "" {
		g.Robot = "robot"
	}
	var mode *profile.Mode
	if p := l.profileOf(g.Profile); p != nil {
		g.Robot, mode = p.Robot, p.Mode
	}
	matches, err := period.Find(mode, l.log)
	if err != nil {
		return nil // the profile's own trouble, told when it is stored
	}
	r.Matches = len(matches)
	if len(matches) > 0 {
		first, last, _ := l.log.Bounds()
		if at, how := recognize.Start(named, l.file.written, in.now(), first, last, matches[0].Start); how != "" {
			g.At, r.TimeHow = at.UTC().Truncate(time.Second).Format(time.RFC3339), how
		}
	}
	in.place(h, g)
	return nil
}

// place proposes season and event.
func (in *intake) place(h *home.Home, g *schemas.Choice) {
	g.Season, g.Event = in.season, in.event
	if g.Season == "" {
		g.Season = strconv.Itoa(in.now().Year())
		if at, err := time.Parse(time.RFC3339, g.At); err == nil {
			g.Season = strconv.Itoa(at.Local().Year())
		}
	}
	if g.Event == "" {
		g.Event = newestEvent(h, g.Season)
	}
}

// newestEvent is the event of the season in which something was stored last.
func newestEvent(h *home.Home, season string) string {
	event, newest := "practice", time.Time{}
	all, err := h.List()
	if err != nil {
		return event
	}
	for _, id := range all {
		if id.Season != season {
			continue
		}
		if info, err := os.Stat(h.Dir(id)); err == nil && info.ModTime().After(newest) {
			event, newest = id.Event, info.ModTime()
		}
	}
	return event
}

// known are the profiles a log may belong to, one a robot: those that came with the file,
// those that were given, and of each other robot the newest that is stored with a match.
func (in *intake) known(h *home.Home, extra []*robotProfile) (out []*robotProfile, from []string) {
	have := map[string]bool{}
	add := func(p *robotProfile, where string) {
		if !have[p.Robot] {
			have[p.Robot] = true
			out, from = append(out, p), append(from, where)
		}
	}
	for _, p := range extra {
		add(p, "the profile you added")
	}
	for _, p := range in.given {
		add(p, "the profile that was given")
	}
	all, err := h.List()
	if err != nil {
		return out, from
	}
	newest := map[string]schemas.MatchID{}
	written := map[string]time.Time{}
	for _, id := range all {
		if have[id.Robot] {
			continue
		}
		info, err := os.Stat(filepath.Join(h.Dir(id), profileFile))
		if err == nil && info.ModTime().After(written[id.Robot]) {
			newest[id.Robot], written[id.Robot] = id, info.ModTime()
		}
	}
	for _, id := range sortedIDs(newest) {
		data, err := os.ReadFile(filepath.Join(h.Dir(id), profileFile))
		if err != nil {
			continue
		}
		if p, err := parseProfile(profileFile, data); err == nil {
			add(p, "the profile of "+id.Match)
		}
	}
	return out, from
}

func sortedIDs(of map[string]schemas.MatchID) []schemas.MatchID {
	var out []schemas.MatchID
	for _, id := range of {
		out = append(out, id)
	}
	slices.SortFunc(out, func(a, b schemas.MatchID) int { return strings.Compare(a.Robot, b.Robot) })
	return out
}

func (l *looked) profileOf(robot string) *robotProfile {
	for i, c := range l.report.Candidates {
		if c.Robot == robot {
			return l.robots[i]
		}
	}
	return nil
}

// lookAtClip says what a clip is: it brings its names along.
func (in *intake) lookAtClip(l *looked) {
	r := &l.report
	c, err := in.readClip(l.file)
	if err != nil {
		r.Problem = firstLine(err)
		return
	}
	r.Form, r.Clip = "clip", c.ID().String()
	r.Samples, r.Signals, r.Matches = c.Log.Samples(), len(c.Log.Signals), 1
	r.DurationS = c.ToS - c.FromS
	r.Guess = schemas.Choice{Profile: c.Robot, Robot: c.Robot, Season: c.Season, Event: c.Event, Match: clipName(c.Header)}
	r.Candidates = []schemas.Candidate{{Robot: c.Robot, From: "the profile in the clip", Fits: true}}
}

func (in *intake) readClip(f arrived) (*clip.Clip, error) {
	c, err := clip.ReadFile(f.path)
	if err != nil {
		return nil, errors.New(strings.Replace(err.Error(), f.path, f.name, 1))
	}
	return c, nil
}

// storedAlready says that a file was taken in before.
type storedAlready struct {
	name    string
	matches []schemas.MatchID
}

func (e *storedAlready) Error() string {
	if len(e.matches) == 0 {
		return e.name + " was stored before, and deleted since; `afterbell import` stores it again"
	}
	return fmt.Sprintf("%s is stored already, as %s", e.name, e.matches[0])
}

// store stores what was looked at, under a name that is free, and remembers the file.
func (in *intake) store(ctx context.Context, l *looked, c schemas.Choice) ([]imported, error) {
	select {
	case in.storing <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-in.storing }()
	h, err := in.home()
	if err != nil {
		return nil, err
	}
	release, err := h.Hold()
	if err != nil {
		return nil, err
	}
	defer func() { _ = release() }() // nothing is lost with it: the system frees what it holds
	taken, err := h.TakenFiles()
	if err != nil {
		return nil, err
	}
	before := taken[l.file.sum]
	if before.Done {
		e := &storedAlready{name: l.file.name}
		for _, name := range before.Matches {
			if id, ok := schemas.ParseMatchID(name); ok && h.Exists(id) {
				e.matches = append(e.matches, id)
			}
		}
		return nil, e
	}
	jobs, more, err := in.jobs(l, c)
	if err != nil {
		return nil, err
	}
	if !takeNames(jobs, before.Matches) {
		freeNames(h, jobs)
	}
	line := home.Taken{
		SHA256: l.file.sum, Name: l.file.name, Size: l.report.Size, ModTime: l.file.written.UTC().Format(time.RFC3339Nano),
		At: in.now().UTC().Format(time.RFC3339),
	}
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
	id := schemas.MatchID{}
	for _, part := range []struct {
		what, text string
		to         *string
	}{{"season", c.Season, &id.Season}, {"event", c.Event, &id.Event}, {"match", c.Match, &id.Match}, {"robot", c.Robot, &id.Robot}} {
		name, _, err := schemas.TidyName(part.what, part.text)
		if err != nil {
			return nil, nil, usageError{err}
		}
		*part.to = name
	}
	at, err := parseAt(c.At)
	if err != nil {
		return nil, nil, usagef("%q is not a time: use 2031-03-01T14:32:00Z, or leave it empty", c.At)
	}
	if l.report.Clip != "" {
		return in.clipJobs(l, id)
	}
	as := job{id: id, at: at, seal: 1, stored: storedAt(in.now())}
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

func (in *intake) clipJobs(l *looked, id schemas.MatchID) ([]*job, map[string]func(io.Writer) error, error) {
	j, notes, err := in.app.clipJob(l.file.path, importOptions{season: id.Season, event: id.Event, match: id.Match})
	if err != nil {
		return nil, nil, err
	}
	j.seal, j.stored = 1, storedAt(in.now())
	more := map[string]func(io.Writer) error{}
	if len(notes) > 0 {
		more[notesFile] = func(w io.Writer) error { _, err := w.Write(notes); return err }
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
			if err := j.publishSamples(h); err != nil {
				return out, fmt.Errorf("%s was not stored: %w", j.id, err)
			}
			out = append(out, imported{
				Season: j.id.Season, Event: j.id.Event, Match: j.id.Match, Robot: j.id.Robot,
				Samples: j.log.Samples(), Signals: len(j.log.Signals), Folder: h.Dir(j.id),
				Verdict: "stored, not analyzed: no profile fits its signals",
			})
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
