package home

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Update replaces files of a match that exists, or adds them; the keys are file names. All
// are written and synced before the first takes its place, and report.json is the last to
// do so. An error before that changes nothing; after a crash or an error later the next
// writer completes it. The lock must be held.
func (h *Home) Update(id schemas.MatchID, files Files) error {
	if err := h.mayWrite(id); err != nil {
		return err
	}
	if !h.Exists(id) {
		return fmt.Errorf("%s is not stored in %s: %w", id, h.dir, fs.ErrNotExist)
	}
	tmp, err := os.MkdirTemp(h.dir, incoming)
	if err != nil {
		return err
	}
	if err := h.update(id, files, tmp); err != nil {
		return errors.Join(err, os.RemoveAll(tmp))
	}
	return nil
}

func (h *Home) update(id schemas.MatchID, files Files, tmp string) error {
	if err := h.writeFiles(tmp, id, files); err != nil {
		return err
	}
	if err := syncDir(tmp); err != nil {
		return err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if err := h.finishUpdate(id); err != nil { // of one before that failed half-way
		return err
	}
	if err := h.move(tmp, h.hidden(updateDir, id)); err != nil {
		return err
	}
	return h.finishUpdate(id)
}

// writeFiles writes and syncs the files into dir.
func (h *Home) writeFiles(dir string, id schemas.MatchID, files Files) error {
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if name == "" || name[0] == '.' || strings.ContainsAny(name, `/\`) {
			return fmt.Errorf("%q cannot be the name of a file of a match", name)
		}
		h.step("write " + name)
		if err := writeSynced(filepath.Join(dir, name), files[name]); err != nil {
			return fmt.Errorf("writing %s of %s: %w", name, id, err)
		}
	}
	return nil
}

// finishUpdate moves files that are written to their places, report.json last. It may
// begin anywhere in its course, and does nothing when there are none.
func (h *Home) finishUpdate(id schemas.MatchID) error {
	update := h.hidden(updateDir, id)
	entries, err := os.ReadDir(update)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return err
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = e.Name()
	}
	if i := slices.Index(names, schemas.ReportFile); i >= 0 {
		names = append(slices.Delete(names, i, i+1), schemas.ReportFile)
	}
	for _, name := range names {
		h.step("put " + name + " in its place")
		if err := rename(filepath.Join(update, name), filepath.Join(h.Dir(id), name)); err != nil {
			return err
		}
	}
	h.step("sync " + h.short(h.Dir(id)))
	if err := syncDir(h.Dir(id)); err != nil {
		return err
	}
	return h.discard(update)
}

func writeSynced(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// Remove takes a match away. The lock must be held.
func (h *Home) Remove(id schemas.MatchID) error {
	if err := h.mayWrite(id); err != nil {
		return err
	}
	leave, err := h.enter()
	if err != nil {
		return err
	}
	defer leave()
	if !h.Exists(id) {
		return fmt.Errorf("%s is not stored in %s: %w", id, h.dir, fs.ErrNotExist)
	}
	old := h.hidden(oldDir, id)
	if err := errors.Join(h.discard(h.hidden(updateDir, id)), h.discard(old)); err != nil {
		return err
	}
	if err := h.move(h.Dir(id), old); err != nil {
		return err
	}
	removeEmpty(filepath.Dir(h.Dir(id)), h.dir)
	return h.discard(old)
}
