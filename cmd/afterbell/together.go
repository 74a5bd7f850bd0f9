package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/recognize"
	"github.com/afterbell/afterbell/ingest/together"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
)

// loadAny is loadStored for matches without a profile too.
func loadAny(h *home.Home, id schemas.MatchID) (*job, error) {
	if !samplesOnly(h, id) {
		j, _, err := loadStored(h, id, nil)
		return j, err
	}
	f, err := matchfile.Open(filepath.Join(h.Dir(id), schemas.SignalsFile))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	j := &job{id: id, meta: f.Meta()}
	if j.log, err = f.Read(); err != nil {
		return nil, err
	}
	j.stored = j.meta["stored_at"]
	if at := j.meta["at"]; at != "" {
		j.at = &at
	}
	j.seal, _ = strconv.Atoi(j.meta["seal"])
	for _, key := range []string{"stored_at", "at", "seal"} { // fileMeta puts them there
		delete(j.meta, key)
	}
	matches, err := period.Find(nil, j.log)
	if err != nil || len(matches) == 0 {
		return nil, fmt.Errorf("%s holds no samples", id)
	}
	j.match = matches[0]
	return j, nil
}

// asPart is a stored match as a recording that others may belong to.
func (j *job) asPart(now time.Time) together.Part {
	p := together.Part{Name: j.id.Match, Log: j.log, Clock: clock.Kept(j.meta)}
	first, _, ok := j.log.Bounds()
	if !ok {
		return p
	}
	files := filesOf(j.meta)
	if i := slices.IndexFunc(files, func(f fromFile) bool { return f.BeganHow != "" }); i >= 0 {
		p.Wall = files[i].wallAt(first)
	} else if own, ok := together.OwnClock(first, now); ok {
		p.Wall = own
	} else if at, ok := j.wallStart(); ok {
		p.Wall = together.Wall{FirstUS: at.UnixMicro() - (j.match.Start - first), BoundUS: together.RoughBound, How: "the time it was stored with", Rough: true}
	}
	return p
}

// wallStart is when the match began, as it is stored.
func (j *job) wallStart() (time.Time, bool) {
	if j.at == nil {
		return time.Time{}, false
	}
	at, err := time.Parse(time.RFC3339Nano, *j.at)
	return at, err == nil
}

func (j *job) mode() *profile.Mode {
	if j.profile == nil {
		return nil
	}
	return j.profile.Mode
}

// joined is the stored match j with a recording put to it, under the next seal. Nothing that was
// stored is cut away.
func (j *job) joined(part together.Part, found together.Found, file fromFile, prof *robotProfile) (*job, error) {
	log, boot, err := together.Put(j.log, part, found)
	if err != nil {
		return nil, err
	}
	out := *j
	out.meta = withFiles(j.meta, file.put(found, boot))
	out.seal++
	if prof != nil {
		out.profile, out.id.Robot = prof, prof.Robot
	}
	out.log = log
	if out.profile == nil {
		return &out, nil
	}
	if err := out.findMatch(func(all []period.Match) period.Match { return overlapping(all, j.match) }); err != nil {
		return nil, usageError{err}
	}
	first, last, _ := j.log.Bounds()
	out.match.First, out.match.Last = min(out.match.First, first), max(out.match.Last, last)
	out.log = period.Cut(log, out.match)
	out.at = shifted(j.at, out.match.Start-j.match.Start)
	return &out, nil
}

// putStored puts the job in the place of the match it was, which may get another robot's name
// now that its profile is known.
func (j *job) putStored(ctx context.Context, h *home.Home, was schemas.MatchID) (*schemas.Report, error) {
	if j.profile != nil {
		var err error
		if j.history, err = earlier(h, j.id, j.at, j.stored); err != nil {
			return nil, err
		}
	}
	if j.id == was {
		return j.publish(ctx, h, true)
	}
	j.collectedAs(was)
	var r *schemas.Report
	err := h.Rename(was, j.id, func(dir string) (err error) {
		r, err = j.fill(ctx, dir, nil)
		return err
	}, nil)
	return r, err
}

// findFor tells how other is to be put to first for a person, who said that they are of one
// match, and perhaps the shift in microseconds.
func findFor(first, other together.Part, shift *int64, mode *profile.Mode) (together.Found, error) {
	found := together.Found{}
	if shift != nil {
		found = together.Told(first, other, *shift, mode)
	} else {
		found = together.Compare(first, other, mode)
	}
	return found, found.Err()
}

// wallOf is when a log began by the wall clock: by its own times, by the name of its file, or by
// the file's date, which is when it ended.
func wallOf(log *schemas.Log, named recognize.Named, written, now time.Time) together.Wall {
	first, last, ok := log.Bounds()
	if !ok {
		return together.Wall{}
	}
	if own, ok := together.OwnClock(first, now); ok {
		return own
	}
	at, how := recognize.Start(named, written, now, first, last, first)
	switch {
	case how == recognize.ByName && named.Seconds:
		return together.Wall{FirstUS: at.UnixMicro(), BoundUS: together.NameBound, How: "the times in the files' names"}
	case how == recognize.ByName:
		return together.Wall{FirstUS: at.UnixMicro(), BoundUS: together.MinuteBound, How: "the times in the files' names, to the minute", Rough: true}
	case how == recognize.ByDate:
		return together.Wall{FirstUS: at.UnixMicro(), BoundUS: together.RoughBound, How: "the dates of the files", Rough: true}
	}
	return together.Wall{}
}

// readTogether reads files of several clocks as one log in the time of the first.
func (a *app) readTogether(ctx context.Context, files []string, prof *robotProfile, o importOptions) (*schemas.Log, int, map[string]string, error) {
	var log *schemas.Log
	var clocks together.Part // of the first
	var meta map[string]string
	skipped := 0
	for i, path := range files {
		part, file, bad, err := a.readPart(ctx, path, o)
		if err != nil {
			return nil, 0, nil, err
		}
		skipped += bad
		if i == 0 {
			log, clocks, meta = part.Log, part, withFiles(nil, file)
			continue
		}
		clocks.Log = log
		found, err := findFor(clocks, part, o.shiftUS(), prof.Mode)
		if err != nil {
			return nil, 0, nil, fmt.Errorf("%s and %s cannot be put together: %w; import them as two matches%s", files[0], path, err, o.orShift())
		}
		var boot int32
		if log, boot, err = together.Put(log, part, found); err != nil {
			return nil, 0, nil, err
		}
		put := file.put(found, boot)
		meta = withFiles(meta, put)
		a.note("%s", put.Line)
	}
	return log, skipped, meta, nil
}

// readPart reads a file as a recording of its own.
func (a *app) readPart(ctx context.Context, path string, o importOptions) (together.Part, fromFile, int, error) {
	log, read, err := a.readLog(ctx, []string{path}, o.skipBadRows)
	if err != nil {
		return together.Part{}, fromFile{}, 0, err
	}
	part := together.Part{Name: stem(path), Log: log, Clock: read.Files[0].Clocks}
	now := time.Now()
	part.Wall = wallOf(log, recognize.FileName(filepath.Base(path), nil, time.Local), time.Time{}, now)
	sum, err := sumOf(ctx, path)
	if err != nil {
		sum = "" // a pipe is read once
	}
	return part, fileNow(filepath.Base(path), sum, part, now), read.BadRows, nil
}

// shiftUS is --shift; nil where it was not given.
func (o importOptions) shiftUS() *int64 {
	if !o.shiftGiven {
		return nil
	}
	us := schemas.Micros(o.shift)
	return &us
}

func (o importOptions) orShift() string {
	if o.shiftGiven {
		return ", or with another --shift"
	}
	return ", or say the shift with --shift"
}

// several is whether files of several clocks are put together.
func (o importOptions) several() bool { return o.align || o.shiftGiven }

// checkAlign says what is wrong with the flags that put files together.
func (o importOptions) checkAlign(files int) error {
	switch {
	case !o.several():
		return nil
	case o.match == "":
		return usagef("--align and --shift put several files together as one match: name it with --match")
	case o.align && o.shiftGiven:
		return usagef("--align finds the shift, --shift says it: leave one out")
	case files < 2 && !o.add:
		return usagef("--align and --shift need a file and one or more to be put to it; --add puts one to a match that is stored")
	case o.shiftGiven && o.add && files != 1:
		return usagef("--shift --add is for one file; these are %d", files)
	case o.shiftGiven && !o.add && files != 2:
		return usagef("--shift is for two files; these are %d", files)
	case math.IsNaN(o.shift) || math.Abs(o.shift) > 9e9:
		return usagef("--shift %v is no shift in seconds", o.shift)
	}
	return nil
}

// addedParts makes the job of a stored match and files of other clocks that are put to it, after
// the model as.
func (a *app) addedParts(ctx context.Context, h *home.Home, files []string, as job, o importOptions) (*job, int, error) {
	if !h.Exists(as.id) {
		return nil, 0, fmt.Errorf("%s does not exist, so nothing can be added to it: leave --add out", as.id)
	}
	j, _, err := loadStored(h, as.id, as.profile)
	if err != nil {
		return nil, 0, err
	}
	skipped := 0
	for _, path := range files {
		part, file, bad, err := a.readPart(ctx, path, o)
		if err != nil {
			return nil, 0, err
		}
		skipped += bad
		found, err := findFor(j.asPart(time.Now()), part, o.shiftUS(), j.mode())
		if err != nil {
			return nil, 0, fmt.Errorf("%s cannot be put to %s: %w; import it as a match of its own%s", path, j.id, err, o.orShift())
		}
		if j, err = j.joined(part, found, file, nil); err != nil {
			return nil, 0, err
		}
		if as.at != nil {
			j.at = as.at
		}
		made := filesOf(j.meta)
		a.note("%s", made[len(made)-1].Line)
	}
	return j, skipped, nil
}

// collectedSamples are the samples of a collected match that came to the collector, and not from
// files.
func collectedSamples(log *schemas.Log, meta map[string]string) *schemas.Log {
	n := collectedBoots(meta)
	return bootsWhere(log, func(b int32) bool { return b < n }, 0)
}

// takeFilesAlong puts what came from files to a match that the collector seals again: the
// collector knows nothing of it.
func (j *job) takeFilesAlong(h *home.Home) error {
	f, err := matchfile.Open(filepath.Join(h.Dir(j.id), schemas.SignalsFile))
	if err != nil {
		return nil // damaged, and stored anew with this
	}
	defer f.Close()
	meta := f.Meta()
	if seal, err := strconv.Atoi(meta["seal"]); err == nil {
		j.seal = max(j.seal, seal+1)
	}
	files := filesOf(meta)
	if len(files) == 0 {
		return nil
	}
	log, err := f.Read()
	if err != nil {
		return fmt.Errorf("reading %s, to keep what files brought: %w", j.id, err)
	}
	before, now := collectedBoots(meta), collectedBoots(j.meta)
	moved := baseMoved(meta, j.meta)
	rest := bootsWhere(log, func(b int32) bool { return b >= before }, now-before)
	for _, s := range rest.Signals {
		for i := range s.Time {
			s.Time[i] += moved
		}
	}
	if j.log, err = ingest.Merge(j.log, together.WithoutRepeated(j.log, rest)); err != nil {
		return err
	}
	for i := range files {
		if files[i].Boot != 0 {
			files[i].Boot += now - before
			files[i].ShiftUS += moved
			files[i].MidUS += moved
		}
	}
	j.meta = withFiles(j.meta, files...)
	return nil
}

// baseMoved is by how much the time base of a collected match has moved since it was sealed
// before, told by a power-up that is in both.
func baseMoved(before, now map[string]string) int64 {
	old, current := clock.Kept(before), clock.Kept(now)
	for _, a := range old {
		i := slices.IndexFunc(current, func(b clock.BootMeta) bool { return a.Boot != "" && a.Boot == b.Boot && a.Source == b.Source })
		if i >= 0 {
			return current[i].ShiftUS - a.ShiftUS
		}
	}
	return 0
}
