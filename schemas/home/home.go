// Package home is the data folder: one folder a match, in the partition style that SQL
// engines read by themselves,
//
//	season=2031/event=millbrook-open/match=q14/robot=heron/
//
// Everything that knows about paths, locks and the order of renames is behind the type
// Home, so that something else than a folder could stand there one day.
//
// # What is promised
//
//   - A match is there whole or not at all: it is written under a hidden name at the top
//     of the data folder, which is on the same file system, every file and folder is
//     synced, and one rename brings it into place.
//   - Files of a match are replaced together: all are written and synced before the first
//     takes its place, report.json comes last, and a crash in between is made good by the
//     next writer. A reader in between sees files of two analyses and tells it by the
//     seal they carry.
//   - A match that is renamed has its old name or its new one, never both, and what names it
//     in other matches follows; a crash in between is made good by the next writer.
//   - A line added to the crew's notes is on disk when AddNote returns, and lines there are
//     never changed; of a crash in between at most the line it was about is missing. It
//     needs no lock, so that the crew is heard while a collector writes.
//   - A failed write (full disk included) leaves what was there before and nothing else.
//   - One process writes at a time (Lock). Readers need no lock, take no notice of hidden
//     names, and keep no file of a match open for long.
//
// Hidden at the top of the data folder, absent when nothing is under way:
//
//	.taken.jsonl     the files that were taken in by themselves; it stays
//	.lock            names the process that writes
//	.lock-moving     is locked while a match is moved or a note is added; it stays
//	.incoming-*      being written; worthless after a crash
//	.ready/PATH      written and synced, to take the place of the match at PATH
//	.update/PATH     files written and synced, to take their places in the match at PATH
//	.rename/PATH     what the match at PATH is to become under another name
//	.old/PATH        what was at PATH, to be removed
package home

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/afterbell/afterbell/schemas"
)

// keys are the partition folders from the outside in.
var keys = [...]string{"season", "event", "match", "robot"}

// Home is a data folder. Its methods may be called from several goroutines.
type Home struct {
	dir string

	mu   sync.Mutex // guards lock, and puts renames of one process one after another; see enter
	lock *Lock

	rewrites sync.Map // of matches that are written anew of what is stored of them, see Rewrite

	holders   int   // who hold the lock for a moment, see Hold
	momentary *Lock // taken for them

	// step is called with the name of each durable step just before it is taken. Tests
	// crash there.
	step func(name string)
}

// Open is the data folder dir, which exists.
func Open(dir string) (*Home, error) {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("there is no data folder at %s: import a log first, or say where it is with --data: %w", dir, err)
	case err != nil:
		return nil, err
	case !info.IsDir():
		return nil, fmt.Errorf("%s is a file, not a data folder", dir)
	}
	return &Home{dir: filepath.Clean(dir), step: func(string) {}}, nil
}

// Create is the data folder dir, made if it does not exist.
func Create(dir string) (*Home, error) {
	if err := makeDirs(dir); err != nil {
		return nil, fmt.Errorf("making the data folder: %w", err)
	}
	return Open(dir)
}

// Root is the data folder itself, for what is kept beside the matches under hidden names.
func (h *Home) Root() string { return h.dir }

// Dir is the folder of a match, whether it exists or not.
func (h *Home) Dir(id schemas.MatchID) string { return filepath.Join(h.dir, relative(id)) }

// relative is the folder of a match inside the data folder.
func relative(id schemas.MatchID) string {
	return filepath.Join("season="+id.Season, "event="+id.Event, "match="+id.Match, "robot="+id.Robot)
}

// Exists is whether the match is there.
func (h *Home) Exists(id schemas.MatchID) bool {
	return checkID(id) == nil && isDir(h.Dir(id))
}

func isDir(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// checkID says why id cannot name a match. It keeps names from elsewhere out of paths.
func checkID(id schemas.MatchID) error {
	for i, name := range []string{id.Season, id.Event, id.Match, id.Robot} {
		if err := schemas.CheckName(keys[i], name); err != nil {
			return err
		}
	}
	return nil
}

// List are all matches, sorted by season, event, match and robot. Folders of other names
// are none of its business.
func (h *Home) List() ([]schemas.MatchID, error) {
	return list(h.dir)
}

func list(dir string) ([]schemas.MatchID, error) {
	out := []schemas.MatchID{}
	var walk func(dir string, names []string) error
	walk = func(dir string, names []string) error {
		if len(names) == len(keys) {
			out = append(out, schemas.MatchID{Season: names[0], Event: names[1], Match: names[2], Robot: names[3]})
			return nil
		}
		entries, err := os.ReadDir(dir)
		if err != nil && len(names) > 0 && errors.Is(err, fs.ErrNotExist) {
			return nil // renamed away since its parent was read
		} else if err != nil {
			return err
		}
		key := keys[len(names)]
		for _, e := range entries {
			name, ok := strings.CutPrefix(e.Name(), key+"=")
			if !ok || !e.IsDir() || schemas.CheckName(key, name) != nil {
				continue
			}
			if err := walk(filepath.Join(dir, e.Name()), append(slices.Clip(names), name)); err != nil {
				return err
			}
		}
		return nil
	}
	if err := walk(dir, nil); err != nil {
		return nil, err
	}
	slices.SortFunc(out, compareIDs)
	return out, nil
}

func compareIDs(a, b schemas.MatchID) int { return strings.Compare(a.String(), b.String()) }
