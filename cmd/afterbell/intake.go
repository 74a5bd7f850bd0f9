package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/recognize"
	"github.com/afterbell/afterbell/ingest/together"
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
	part   together.Part
	put    string // what was done to put it to a stored match, in words
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
	if t := taken[out.file.sum]; takenIn(h, t) {
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
	out.part = together.Part{Name: stem(f.name), Log: log, Clock: read.Files[0].Clocks}
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
	l.part.Wall = wallOf(l.log, named, l.file.written, in.now())
	if len(matches) > 0 {
		first, last, _ := l.log.Bounds()
		at, how := recognize.Start(named, l.file.written, in.now(), first, last, matches[0].Start)
		if own, ok := together.OwnClock(first, in.now()); ok {
			at, how = time.UnixMicro(own.FirstUS+matches[0].Start-first), "by its own times"
		}
		if how != "" {
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
		info, err := os.Stat(filepath.Join(h.Dir(id), schemas.ProfileFile))
		if err == nil && info.ModTime().After(written[id.Robot]) {
			newest[id.Robot], written[id.Robot] = id, info.ModTime()
		}
	}
	for _, id := range sortedIDs(newest) {
		data, err := os.ReadFile(filepath.Join(h.Dir(id), schemas.ProfileFile))
		if err != nil {
			continue
		}
		if p, err := parseProfile(schemas.ProfileFile, data); err == nil {
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
