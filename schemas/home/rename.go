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

// Files are files of a match by name, each a function that writes it.
type Files map[string]func(io.Writer) error

// Inside the hidden folder of a match that is being renamed:
//
//	match/         the match as it will be under its new name, without the crew's notes
//	others/PATH/   files to take their places in the match at PATH, which names this one
//	to             the new name
const (
	renamedMatch  = "match"
	renamedOthers = "others"
	renamedTo     = "to"
)

// Rename gives a match another name. fill writes its files as they are under the new name
// into the folder it is given; the crew's notes come along by themselves, as they are when
// the old name goes. others are files of other matches that name this one, to be replaced
// with it. The lock must be held; the error is an *ExistsError when the new name is taken.
//
// An error, or a crash before all is written and synced, leaves everything as it was. What
// a crash leaves after that, by the last step it let happen, until the next writer goes on:
//
//	ready                  the match under its old name
//	old one moved aside    no match
//	new one in place       the match under its new name; others still name the old one
func (h *Home) Rename(from, to schemas.MatchID, fill func(dir string) error, others map[schemas.MatchID]Files) error {
	if err := errors.Join(h.mayWrite(from), checkID(to)); err != nil {
		return err
	}
	switch {
	case from == to:
		return nil
	case !h.Exists(from):
		return fmt.Errorf("%s is not stored in %s: %w", from, h.dir, fs.ErrNotExist)
	case h.Exists(to):
		return &ExistsError{to, h.Dir(to)}
	}
	tmp, err := os.MkdirTemp(h.dir, incoming)
	if err != nil {
		return err
	}
	err = h.fillRename(tmp, to, fill, others)
	if err == nil {
		err = h.rename(from, to, tmp)
	}
	if err != nil {
		return errors.Join(err, os.RemoveAll(tmp))
	}
	return nil
}

// fillRename writes everything that a rename needs.
func (h *Home) fillRename(tmp string, to schemas.MatchID, fill func(dir string) error, others map[schemas.MatchID]Files) error {
	match := filepath.Join(tmp, renamedMatch)
	if err := os.Mkdir(match, 0o755); err != nil {
		return err
	}
	h.step("fill")
	if err := fill(match); err != nil {
		return err
	}
	for id, files := range others {
		if err := checkID(id); err != nil {
			return err
		}
		dir := filepath.Join(tmp, renamedOthers, relative(id))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return err
		}
		if err := h.writeFiles(dir, id, files); err != nil {
			return err
		}
	}
	err := writeSynced(filepath.Join(tmp, renamedTo), func(w io.Writer) error {
		_, err := io.WriteString(w, to.String())
		return err
	})
	if err != nil {
		return err
	}
	h.step("sync what was written")
	return syncTree(tmp)
}

func (h *Home) rename(from, to schemas.MatchID, tmp string) error {
	leave, err := h.enter()
	if err != nil {
		return err
	}
	defer leave()
	if h.Exists(to) { // stored by another goroutine since
		return &ExistsError{to, h.Dir(to)}
	}
	pending := h.hidden(renameDir, from)
	if err := h.move(tmp, pending); err != nil {
		return err
	}
	err = h.finishRename(from)
	if err != nil && !h.Exists(to) { // back to the old name, as far as that goes
		old := h.hidden(oldDir, from)
		if !h.Exists(from) && h.move(old, h.Dir(from)) != nil {
			return err
		}
		removeEmpty(filepath.Dir(old), h.dir)
		err = errors.Join(err, h.discard(pending))
	}
	return err
}

// finishRename completes a rename whose files are written. It may begin anywhere in its
// course, which is how the next writer makes a crash good.
func (h *Home) finishRename(from schemas.MatchID) error {
	pending, old := h.hidden(renameDir, from), h.hidden(oldDir, from)
	to, err := renameTarget(pending)
	if err != nil {
		return err
	}
	match := filepath.Join(pending, renamedMatch)
	if isDir(match) {
		if h.Exists(from) {
			if err := errors.Join(h.discard(h.hidden(updateDir, from)), h.discard(old)); err != nil {
				return err
			}
			if err := h.move(h.Dir(from), old); err != nil {
				return err
			}
			removeEmpty(filepath.Dir(h.Dir(from)), h.dir)
		}
		// Only now, when nothing can be added to the old notes any more, are they taken over.
		if err := keepNotes(old, match); err != nil {
			return err
		}
		if err := h.move(match, h.Dir(to)); err != nil {
			return err
		}
	}
	if err := h.updateOthers(filepath.Join(pending, renamedOthers)); err != nil {
		return err
	}
	return errors.Join(h.discard(pending), h.discard(old))
}

func renameTarget(pending string) (schemas.MatchID, error) {
	text, err := os.ReadFile(filepath.Join(pending, renamedTo))
	if err != nil {
		return schemas.MatchID{}, err
	}
	to, ok := schemas.ParseMatchID(string(text))
	if !ok {
		return to, fmt.Errorf("%s: %q is no name of a match", filepath.Join(pending, renamedTo), text)
	}
	return to, nil
}

// updateOthers puts files in their places that were written for other matches.
func (h *Home) updateOthers(dir string) error {
	ids, err := list(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return err
	}
	for _, id := range ids {
		if !h.Exists(id) {
			continue
		}
		if err := h.finishUpdate(id); err != nil { // of one before that failed half-way
			return err
		}
		if err := h.move(filepath.Join(dir, relative(id)), h.hidden(updateDir, id)); err != nil {
			return err
		}
		if err := h.finishUpdate(id); err != nil {
			return err
		}
	}
	return nil
}
