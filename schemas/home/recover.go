package home

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// recoverAlone is recover while nobody adds a note.
func (h *Home) recoverAlone() error {
	free, err := h.keepOut()
	if err != nil {
		return err
	}
	defer free()
	return h.recover()
}

// recover makes good what writers before this one left when they crashed. The lock is
// held, so that nothing hidden is in use. Each step may itself be cut short and taken
// again.
func (h *Home) recover() error {
	entries, err := os.ReadDir(h.dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), incoming) {
			if err := os.RemoveAll(filepath.Join(h.dir, e.Name())); err != nil {
				return fmt.Errorf("removing what a crash left: %w", err)
			}
		}
	}
	ready, err := h.pending(readyDir)
	if err != nil {
		return err
	}
	for _, id := range ready {
		if err := h.finishReplace(id); err != nil {
			return fmt.Errorf("putting %s in its place after a crash: %w", id, err)
		}
	}
	renames, err := h.pending(renameDir)
	if err != nil {
		return err
	}
	for _, id := range renames {
		if err := h.finishRename(id); err != nil {
			return fmt.Errorf("renaming %s after a crash: %w", id, err)
		}
	}
	updates, err := h.pending(updateDir)
	if err != nil {
		return err
	}
	for _, id := range updates {
		if !h.Exists(id) { // removed since
			err = h.discard(h.hidden(updateDir, id))
		} else {
			err = h.finishUpdate(id)
		}
		if err != nil {
			return fmt.Errorf("completing %s after a crash: %w", id, err)
		}
	}
	for _, folder := range []string{readyDir, updateDir, renameDir, oldDir} {
		if err := os.RemoveAll(filepath.Join(h.dir, folder)); err != nil {
			return fmt.Errorf("removing what a crash left: %w", err)
		}
	}
	return nil
}

// pending are the matches in one of the hidden folders.
func (h *Home) pending(folder string) (ids []schemas.MatchID, err error) {
	ids, err = list(filepath.Join(h.dir, folder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return ids, err
}
