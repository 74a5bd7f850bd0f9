package home

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/afterbell/afterbell/schemas"
)

// Names of the hidden folders, see the package comment.
const (
	incoming  = ".incoming-"
	readyDir  = ".ready"
	updateDir = ".update"
	renameDir = ".rename"
	oldDir    = ".old"
)

// ExistsError says that a match is already there.
type ExistsError struct {
	ID  schemas.MatchID
	Dir string
}

func (e *ExistsError) Error() string {
	return fmt.Sprintf("%s is already stored in %s", e.ID, e.Dir)
}

// Publish stores a match. fill writes its files into the folder it is given; when fill or
// anything after it fails, nothing of it remains. The lock must be held.
//
// A match that exists is an *ExistsError unless replace is set. Then the old folder gives
// way to the new one as a whole, except for the crew's notes, which stay unless fill wrote
// some. What a crash leaves, by the last step it let happen:
//
//	written, not yet ready    the old match; the next writer removes the rest
//	ready                     the old match; the next writer puts the new one in place
//	old one moved aside       no match; the next writer puts the new one in place
//	new one in place          the new match; the next writer removes the old one
func (h *Home) Publish(id schemas.MatchID, replace bool, fill func(dir string) error) error {
	if err := h.mayWrite(id); err != nil {
		return err
	}
	if h.Exists(id) && !replace {
		return &ExistsError{id, h.Dir(id)}
	}
	tmp, err := os.MkdirTemp(h.dir, incoming)
	if err != nil {
		return err
	}
	if err := h.publish(id, replace, tmp, fill); err != nil {
		return errors.Join(err, os.RemoveAll(tmp))
	}
	return nil
}

func (h *Home) publish(id schemas.MatchID, replace bool, tmp string, fill func(dir string) error) error {
	// MkdirTemp makes a private folder; a match is as readable as other files.
	if err := os.Chmod(tmp, 0o755); err != nil {
		return err
	}
	h.step("fill")
	if err := fill(tmp); err != nil {
		return err
	}
	h.step("sync what was written")
	if err := syncTree(tmp); err != nil {
		return err
	}
	leave, err := h.enter()
	if err != nil {
		return err
	}
	defer leave()
	if !h.Exists(id) {
		err := h.move(tmp, h.Dir(id))
		if err != nil && !isDir(tmp) { // in place, but not surely on disk
			err = errors.Join(err, os.RemoveAll(h.Dir(id)))
		}
		return err
	}
	if !replace { // stored by another goroutine since
		return &ExistsError{id, h.Dir(id)}
	}
	ready := h.hidden(readyDir, id)
	if err := h.move(tmp, ready); err != nil {
		return err
	}
	if err := h.finishReplace(id); err != nil {
		h.undoReplace(id)
		return err
	}
	return nil
}

// hidden is where the match stands in one of the hidden folders.
func (h *Home) hidden(folder string, id schemas.MatchID) string {
	return filepath.Join(h.dir, folder, relative(id))
}

// move brings the folder or file from, which is synced, to the place to in one rename, and
// makes that durable. When it fails, parents made for it are gone again.
func (h *Home) move(from, to string) error {
	parent := filepath.Dir(to)
	h.step("make the parents of " + h.short(to))
	err := makeDirs(parent)
	if err == nil {
		h.step("rename to " + h.short(to))
		err = rename(from, to)
	}
	if err != nil {
		removeEmpty(parent, h.dir)
		return err
	}
	h.step("sync the parents of " + h.short(to))
	return errors.Join(syncDir(parent), syncDir(filepath.Dir(from)))
}

func (h *Home) short(path string) string {
	rel, err := filepath.Rel(h.dir, path)
	if err != nil {
		return path
	}
	return filepath.ToSlash(rel)
}

// finishReplace puts the match that is ready in the place of the old one. It may begin
// anywhere in its course, which is how the next writer makes a crash good.
func (h *Home) finishReplace(id schemas.MatchID) error {
	ready, old, dir := h.hidden(readyDir, id), h.hidden(oldDir, id), h.Dir(id)
	// An update of the old match that could not be completed must not reach the new one.
	if err := h.discard(h.hidden(updateDir, id)); err != nil {
		return err
	}
	if h.Exists(id) {
		if err := h.discard(old); err != nil { // of an even earlier crash
			return err
		}
		if err := h.move(dir, old); err != nil {
			return err
		}
	}
	// Only now, when nothing can be added to the old notes any more, are they taken over.
	if err := keepNotes(old, ready); err != nil {
		return err
	}
	if err := h.move(ready, dir); err != nil {
		return err
	}
	removeEmpty(filepath.Dir(ready), h.dir)
	return h.discard(old)
}

// undoReplace puts the old match back after finishReplace failed, as far as that goes;
// what is left over is the next writer's.
func (h *Home) undoReplace(id schemas.MatchID) {
	old := h.hidden(oldDir, id)
	if !h.Exists(id) && isDir(old) {
		if h.move(old, h.Dir(id)) != nil {
			return
		}
		removeEmpty(filepath.Dir(old), h.dir)
	}
	if h.Exists(id) {
		_ = h.discard(h.hidden(readyDir, id))
	}
}

// keepNotes copies the crew's notes from the old folder, if there are any and the new one
// has none.
func keepNotes(old, ready string) error {
	to := filepath.Join(ready, schemas.NotesFile)
	if _, err := os.Stat(to); err == nil {
		return nil
	}
	notes, err := os.ReadFile(filepath.Join(old, schemas.NotesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return err
	}
	part := to + ".part"
	if err := writeSynced(part, func(w io.Writer) error { _, err := w.Write(notes); return err }); err != nil {
		return err
	}
	if err := rename(part, to); err != nil {
		return err
	}
	return syncDir(ready)
}

// discard removes a hidden folder and the empty parents above it.
func (h *Home) discard(path string) error {
	h.step("remove " + h.short(path))
	err := os.RemoveAll(path)
	removeEmpty(filepath.Dir(path), h.dir)
	return err
}
