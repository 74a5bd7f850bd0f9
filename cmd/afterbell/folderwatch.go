package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/afterbell/afterbell/ingest/together"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

// folderWatch looks again and again for logs in a folder: a stick, a shared folder, where a
// robot's recorder writes. It only reads there.
//
// A file is taken when it is complete: size and date stay as they are for the time settle,
// and nobody on this machine has it open for writing, as far as the system tells. It is then
// copied beside the data, so that a stick that is pulled in the middle leaves nothing half
// read: a copy counts only when the file was the same before and behind it.
type folderWatch struct {
	dir    string
	in     *intake
	settle time.Duration
	most   int  // files that are looked at
	skip   bool // leave bad rows out

	// stored is called for each file that was stored, told for each line about another.
	stored func(l *looked, done []imported)
	told   func(line string)
	// noted is called for what a person may want to do about a file that was stored.
	noted func(line string)

	files   map[string]*watched
	missing bool
	full    bool   // it holds more files than are looked at
	busy    string // the line last told about a data folder that another process writes
}

// watched is what is known of one file.
type watched struct {
	size    int64
	written time.Time
	since   time.Time // when it was first seen like this
	done    bool      // stored, refused or none of our business, until it changes
}

const (
	watchEvery  = time.Second
	watchSettle = 2 * time.Second
	watchDepth  = 4      // folders below the one that is watched
	watchFiles  = 20_000 // in it
)

// logEndings are of files that may hold logs; a stick holds pictures and documents too.
var logEndings = []string{".csv", ".json", ".jsonl", ".ndjson", ".parquet", ".arrow", ".arrows", ".feather", ".ipc", ".clip"}

func mayBeLog(name string) bool {
	name = strings.ToLower(name)
	for _, packing := range []string{".gz", ".zst"} {
		name = strings.TrimSuffix(name, packing)
	}
	return !strings.HasPrefix(name, ".") && slices.Contains(logEndings, filepath.Ext(name))
}

// run looks until ctx ends.
func (w *folderWatch) run(ctx context.Context) {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		w.look(ctx, time.Now())
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// look takes in what is complete now; it returns how many files are not, but may be soon.
func (w *folderWatch) look(ctx context.Context, now time.Time) (waiting int) {
	if w.files == nil {
		w.files = map[string]*watched{}
	}
	found, err := w.list()
	if err != nil {
		if !w.missing {
			w.told(fmt.Sprintf("%s cannot be read (%v): waiting for it", w.dir, cause(err)))
		}
		w.missing = true
		return 0
	}
	if w.missing {
		w.told(w.dir + " is back")
		w.missing = false
	}
	for _, f := range found {
		if ctx.Err() != nil {
			return waiting
		}
		k := w.files[f.path]
		if k == nil || k.size != f.size || !k.written.Equal(f.written) {
			k = &watched{size: f.size, written: f.written, since: now}
			w.files[f.path] = k
		}
		switch {
		case k.done:
		case now.Sub(k.since) < w.settle || openForWriting(f.path):
			waiting++
		default:
			if !w.take(ctx, f) {
				waiting++
				k.since = now // again after a while
			} else {
				k.done = true
			}
		}
	}
	return waiting
}

// foundFile is a file that may be a log.
type foundFile struct {
	path    string
	size    int64
	written time.Time
}

// list are the files that may be logs, oldest first.
func (w *folderWatch) list() ([]foundFile, error) {
	var out []foundFile
	full := false
	err := filepath.WalkDir(w.dir, func(path string, e fs.DirEntry, err error) error {
		switch {
		case err != nil && path == w.dir:
			return err
		case err != nil:
			return nil // a folder that cannot be read, or is gone again
		case e.IsDir():
			rel, err := filepath.Rel(w.dir, path)
			if err == nil && rel != "." && (strings.HasPrefix(e.Name(), ".") || strings.Count(rel, string(filepath.Separator)) >= watchDepth || isDataFolder(path)) {
				return filepath.SkipDir
			}
			return nil
		case !e.Type().IsRegular() || !mayBeLog(e.Name()):
			return nil
		}
		info, err := e.Info()
		if err != nil || info.Size() == 0 {
			return nil
		}
		if len(out) == w.most {
			full = true
			return filepath.SkipAll
		}
		out = append(out, foundFile{path, info.Size(), info.ModTime()})
		return nil
	})
	slices.SortStableFunc(out, func(a, b foundFile) int {
		return cmp.Or(a.written.Compare(b.written), cmp.Compare(a.path, b.path))
	})
	largestFirst(out)
	if full && !w.full {
		w.told(fmt.Sprintf("%s holds more than %d logs, and only those are looked at: move old ones elsewhere", w.dir, w.most))
	}
	w.full = full
	return out, err
}

// oneMatch is how far apart the files of one match are written at most, where several computers
// close them at its end; no robot plays two within it. Chosen by us.
const oneMatch = time.Minute

// largestFirst puts the largest first of files that were written at about the same time: of one
// match's, the one with most of the robot's signals says best whose it is.
func largestFirst(files []foundFile) {
	for from := 0; from < len(files); {
		to := from + 1
		for to < len(files) && files[to].written.Sub(files[from].written) <= oneMatch {
			to++
		}
		slices.SortStableFunc(files[from:to], func(a, b foundFile) int { return cmp.Compare(b.size, a.size) })
		from = to
	}
}

// isDataFolder is whether a folder is part of a data folder, whose files are no logs to take.
func isDataFolder(path string) bool { return strings.HasPrefix(filepath.Base(path), "season=") }

// cause is err without the path that package os puts into it.
func cause(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

// take stores one file; done is false when it should be tried again although it has not
// changed.
func (w *folderWatch) take(ctx context.Context, f foundFile) (done bool) {
	h, err := w.in.home()
	if err != nil {
		w.told(firstLine(err))
		return false
	}
	name := filepath.Base(f.path)
	taken, err := h.TakenFiles()
	if err != nil {
		w.told(firstLine(err))
		return false
	}
	for _, t := range taken { // without reading it again each time the stick comes back
		if takenIn(h, t) && t.Name == name && t.Size == f.size && t.ModTime == f.written.UTC().Format(time.RFC3339Nano) {
			return true
		}
	}
	dir, err := os.MkdirTemp("", "afterbell-watch-*")
	if err != nil {
		w.told(firstLine(err))
		return false
	}
	defer os.RemoveAll(dir)
	copied := filepath.Join(dir, name)
	if err := copyUnchanged(ctx, f, copied); err != nil {
		if ctx.Err() == nil {
			w.told(fmt.Sprintf("%s was not read to its end (%v): it is tried again when it is there and complete", f.path, cause(err)))
		}
		return false
	}
	l, err := w.in.look(ctx, arrived{path: copied, name: name, written: f.written}, w.skip)
	switch {
	case err != nil:
		return w.failed(ctx, f.path, err)
	case len(l.report.Stored) > 0:
		return true
	case l.report.Problem != "":
		w.told(strings.Replace(l.report.Problem, name, f.path, 1) + "; left alone")
		return true
	}
	if err := w.store(ctx, f.path, l); err != nil {
		return w.failed(ctx, f.path, err)
	}
	w.busy = ""
	return true
}

// store puts a log to the match it is surely of, else makes it a match of its own, and says what
// to do where it may be of one.
func (w *folderWatch) store(ctx context.Context, path string, l *looked) error {
	fellows, err := w.in.fellows(ctx, l, nil)
	if err != nil {
		return err
	}
	choice := l.report.Guess
	choice.SkipBadRows = w.skip
	var stored []imported
	if len(fellows) > 0 && fellows[0].found.Verdict == together.Sure {
		choice.With = fellows[0].with
		stored, err = w.in.storeWith(ctx, l, nil, choice)
	} else {
		stored, err = w.in.store(ctx, l, choice)
	}
	var already *storedAlready
	if errors.As(err, &already) && already.inIt {
		w.noted(strings.Replace(already.Error(), l.file.name, path, 1))
	}
	if err != nil {
		return err
	}
	w.stored(l, stored)
	if choice.With == "" && len(fellows) > 0 && fellows[0].hinted && len(stored) == 1 {
		w.noted(fellows[0].advice(path, l, stored[0]))
	}
	return nil
}

// advice is what to do about a log that was kept apart and may be of a match.
func (f fellow) advice(path string, l *looked, stored imported) string {
	id := f.match.id
	shift := "SECONDS"
	if f.found.Verdict == together.Likely {
		shift = fmt.Sprintf("%.3f", schemas.Seconds(f.found.Shift.ShiftUS))
	}
	if strings.ContainsAny(path, " '()&;") {
		path = strconv.Quote(path)
	}
	return fmt.Sprintf("%s is kept apart, as %s: it may be of %s, but %s; if it is, delete %s, and `afterbell import %s --add --match %s --event %s --season %s --shift %s --profile %s` puts it there",
		l.file.name, stored.Match, id.Match, f.found.Why, stored.Match, path, id.Match, id.Event, id.Season, shift, schemas.ProfileFile)
}

// failed says why a file was not stored. What has to do with this machine is tried again.
func (w *folderWatch) failed(ctx context.Context, path string, err error) (done bool) {
	var already *storedAlready
	var locked *home.LockedError
	var wrong usageError
	switch {
	case ctx.Err() != nil:
		return false
	case errors.As(err, &already):
		return true
	case errors.As(err, &locked):
		if line := fmt.Sprintf("%s waits: %v; `afterbell collect --watch` does both in one process", path, err); line != w.busy {
			w.told(line)
			w.busy = line
		}
		return false
	case errors.As(err, &wrong):
		w.told(fmt.Sprintf("%s: %s; left alone", path, firstLine(err)))
		return true
	default:
		w.told(fmt.Sprintf("%s: %s; it is tried again", path, firstLine(err)))
		return false
	}
}

var errMoved = errors.New("it changed while it was read")

// copyUnchanged copies a file that is the same before and behind it.
func copyUnchanged(ctx context.Context, f foundFile, to string) error {
	src, err := os.Open(f.path)
	if err != nil {
		return err
	}
	defer src.Close()
	dst, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	n, err := io.Copy(dst, readerFunc(func(p []byte) (int, error) {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		return src.Read(p)
	}))
	if err = errors.Join(err, dst.Close()); err != nil {
		return err
	}
	info, err := os.Stat(f.path)
	if err != nil {
		return err
	}
	if n != f.size || info.Size() != f.size || !info.ModTime().Equal(f.written) {
		return errMoved
	}
	return nil
}

// words say what a stored file was taken for.
func (l *looked) words() string {
	r := l.report
	var parts []string
	switch {
	case r.Clip != "":
		return "a clip of " + r.Clip
	case l.put != "":
		return "put to the match that was there: " + l.put
	}
	if i := slices.IndexFunc(r.Candidates, func(c schemas.Candidate) bool { return c.Robot == r.Guess.Profile }); i >= 0 {
		c := r.Candidates[i]
		parts = append(parts, fmt.Sprintf("%d of the %d signals of %s's profile", c.Found, c.Mapped, c.Robot))
		switch fits := slices.IndexFunc(r.Candidates, func(c schemas.Candidate) bool { return !c.Fits }); {
		case len(r.Tied) > 1:
			parts = append(parts, fmt.Sprintf("%s fit equally well, so it may be another's", strings.Join(r.Tied, " and ")))
		case fits != 1 && len(r.Candidates) > 1:
			parts = append(parts, fmt.Sprintf("%s fits less well", r.Candidates[1].Robot))
		}
	} else {
		parts = append(parts, "no profile fits its signals, so stored and not analyzed")
	}
	if r.TimeHow != "" {
		parts = append(parts, "time "+r.TimeHow)
	} else {
		parts = append(parts, "time not known")
	}
	if r.Skipped > 0 {
		parts = append(parts, fmt.Sprintf("%d bad rows left out", r.Skipped))
	}
	return strings.Join(parts, "; ")
}
