package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer"
)

// arrivals are logs dropped on a page that wait for a person to look at what was recognised.
// Each lies in a hidden folder of its own in the data folder: what waits survives a restart,
// and what nobody stored goes after a day.
type arrivals struct{ in *intake }

const (
	arrivalDir   = ".arrivals"
	arrivalKept  = 24 * time.Hour
	mostArrivals = 64 // waiting at once
	mostUpload   = 2 << 30
)

var _ viewer.Intake = arrivals{}

// waiting is what is kept beside a log that waits.
type waiting struct {
	Name    string `json:"name"`
	Written string `json:"written,omitempty"` // RFC 3339, the file's date by the browser
}

var arrivalID = regexp.MustCompile(`^[0-9a-f]{32}$`)

// folder is where an arrival lies. An id that none can have is one that is not there.
func (a arrivals) folder(id string) (string, error) {
	h, err := a.in.home()
	if err != nil {
		return "", err
	}
	if !arrivalID.MatchString(id) {
		return "", viewer.ErrNoArrival
	}
	dir := filepath.Join(h.Root(), arrivalDir, id)
	if _, err := os.Stat(filepath.Join(dir, "arrival.json")); errors.Is(err, fs.ErrNotExist) {
		return "", viewer.ErrNoArrival
	} else if err != nil {
		return "", err
	}
	return dir, nil
}

// Receive keeps the bytes of a log until somebody says what it is.
func (a arrivals) Receive(ctx context.Context, name string, written time.Time, r io.Reader) (id string, err error) {
	h, err := a.in.home()
	if err != nil {
		return "", err
	}
	top := filepath.Join(h.Root(), arrivalDir)
	if err := os.MkdirAll(top, 0o755); err != nil {
		return "", err
	}
	if a.forgetOld(top) >= mostArrivals {
		return "", fmt.Errorf("%d logs wait to be looked at already: store or throw away some first", mostArrivals)
	}
	secret := make([]byte, 16)
	if _, err := rand.Read(secret); err != nil {
		return "", err
	}
	id = hex.EncodeToString(secret)
	dir := filepath.Join(top, id)
	if err := os.Mkdir(dir, 0o755); err != nil {
		return "", err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	err = writeFile(filepath.Join(dir, "log"), func(w io.Writer) error {
		n, err := io.Copy(w, io.LimitReader(r, mostUpload+1))
		switch {
		case err != nil:
			return err
		case n > mostUpload:
			return fmt.Errorf("%s is longer than %d MiB: use `afterbell import`, which has no such limit", name, mostUpload>>20)
		case n == 0:
			return fmt.Errorf("%s is empty", name)
		}
		return ctx.Err()
	})
	if err != nil {
		return "", err
	}
	what := waiting{Name: filepath.Base(filepath.ToSlash(name))}
	if !written.IsZero() {
		what.Written = written.UTC().Format(time.RFC3339Nano)
	}
	return id, writeFile(filepath.Join(dir, "arrival.json"), func(w io.Writer) error { return json.NewEncoder(w).Encode(what) })
}

// forgetOld removes what nobody stored, and returns how many still wait.
func (a arrivals) forgetOld(top string) int {
	entries, err := os.ReadDir(top)
	if err != nil {
		return 0
	}
	n := 0
	for _, e := range entries {
		info, err := e.Info()
		if err == nil && a.in.now().Sub(info.ModTime()) > arrivalKept {
			_ = os.RemoveAll(filepath.Join(top, e.Name())) // tried again with the next
			continue
		}
		n++
	}
	return n
}

// Waiting are the logs nobody has stored yet, oldest first, by name and size only.
func (a arrivals) Waiting() []schemas.Arrival {
	h, err := a.in.home()
	if err != nil {
		return nil
	}
	top := filepath.Join(h.Root(), arrivalDir)
	entries, err := os.ReadDir(top)
	if err != nil {
		return nil
	}
	type dated struct {
		schemas.Arrival
		at time.Time
	}
	var all []dated
	for _, e := range entries {
		what, err := a.read(filepath.Join(top, e.Name()))
		if err != nil {
			continue // being received
		}
		info, err := os.Stat(filepath.Join(top, e.Name(), "log"))
		if err != nil {
			continue
		}
		all = append(all, dated{schemas.Arrival{ID: e.Name(), Name: what.Name, Size: info.Size()}, info.ModTime()})
	}
	slices.SortStableFunc(all, func(a, b dated) int { return a.at.Compare(b.at) })
	out := make([]schemas.Arrival, len(all))
	for i, d := range all {
		out[i] = d.Arrival
	}
	return out
}

func (a arrivals) read(dir string) (what waiting, err error) {
	data, err := os.ReadFile(filepath.Join(dir, "arrival.json"))
	if err != nil {
		return what, err
	}
	return what, json.Unmarshal(data, &what)
}

// look reads a waiting log.
func (a arrivals) look(ctx context.Context, id string, skipBadRows bool) (*looked, string, error) {
	dir, err := a.folder(id)
	if err != nil {
		return nil, "", err
	}
	what, err := a.read(dir)
	if err != nil {
		return nil, "", err
	}
	f := arrived{path: filepath.Join(dir, "log"), name: what.Name}
	f.written, _ = time.Parse(time.RFC3339Nano, what.Written)
	if data, err := os.ReadFile(filepath.Join(dir, schemas.ProfileFile)); err == nil {
		p, err := parseProfile(schemas.ProfileFile, data)
		if err != nil {
			return nil, "", err // it was parsed when it was added
		}
		f.extra = []*robotProfile{p}
	}
	l, err := a.in.look(ctx, f, skipBadRows)
	if err != nil {
		return nil, "", err
	}
	l.report.ID = id
	return l, dir, nil
}

// Look says what a waiting log probably is.
func (a arrivals) Look(ctx context.Context, id string, skipBadRows bool) (schemas.Arrival, error) {
	l, _, err := a.look(ctx, id, skipBadRows)
	if err != nil {
		return schemas.Arrival{}, err
	}
	fellows, err := a.in.fellows(ctx, l, a.others(ctx, id))
	if err != nil {
		return schemas.Arrival{}, err
	}
	for _, f := range fellows {
		l.report.Together = append(l.report.Together, f.report(l, a.in.now()))
	}
	return l.report, nil
}

// others are other logs that wait, as far as they are few enough to be read for this.
func (a arrivals) others(ctx context.Context, id string) (out []*looked) {
	var bytes int64
	for _, w := range a.Waiting() {
		if w.ID == id {
			continue
		}
		if bytes += w.Size; bytes > mostWaitingBytes || len(out) == mostWaiting {
			break
		}
		if l, _, err := a.look(ctx, w.ID, false); err == nil {
			out = append(out, l)
		}
	}
	return out
}

// AddProfile keeps a robot's profile beside a waiting log. What is wrong with it is a
// *viewer.InputError.
func (a arrivals) AddProfile(id string, r io.Reader) error {
	dir, err := a.folder(id)
	if err != nil {
		return err
	}
	data, err := io.ReadAll(io.LimitReader(r, mostProfile))
	if err != nil {
		return err
	}
	if _, err := parseProfile("this profile", data); err != nil {
		return &viewer.InputError{Text: firstLine(err)}
	}
	return writeFile(filepath.Join(dir, schemas.ProfileFile), func(w io.Writer) error { _, err := w.Write(data); return err })
}

// Store stores a waiting log as somebody said, and forgets it.
func (a arrivals) Store(ctx context.Context, id string, c schemas.Choice) ([]schemas.MatchID, error) {
	l, dir, err := a.look(ctx, id, c.SkipBadRows)
	if err != nil {
		return nil, err
	}
	if l.report.Problem != "" {
		return nil, &viewer.InputError{Text: l.report.Problem}
	}
	var done []imported
	dirs := []string{dir}
	if c.With == "" {
		done, err = a.in.store(ctx, l, c)
	} else {
		var other *looked
		if with, ok := strings.CutPrefix(c.With, withLog); ok {
			var place string
			other, place, err = a.look(ctx, with, false)
			if errors.Is(err, viewer.ErrNoArrival) {
				return nil, &viewer.InputError{Text: "the other log does not wait any more: look at what is proposed now"}
			} else if err != nil {
				return nil, err
			}
			dirs = append(dirs, place)
		}
		done, err = a.in.storeWith(ctx, l, other, c)
	}
	var already *storedAlready
	var wrong usageError
	switch {
	case errors.As(err, &already), errors.As(err, &wrong):
		return nil, &viewer.InputError{Text: firstLine(err)}
	case err != nil:
		return nil, err
	}
	var out []schemas.MatchID
	for _, m := range done {
		out = append(out, schemas.MatchID{Season: m.Season, Event: m.Event, Match: m.Match, Robot: m.Robot})
	}
	for _, d := range dirs {
		err = errors.Join(err, os.RemoveAll(d))
	}
	return out, err
}

// Forget throws a waiting log away.
func (a arrivals) Forget(id string) error {
	dir, err := a.folder(id)
	if err != nil {
		return err
	}
	return os.RemoveAll(dir)
}
