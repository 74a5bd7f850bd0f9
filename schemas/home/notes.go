package home

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/afterbell/afterbell/schemas"
)

// How long Hold waits for a lock that another process has, and how long between looks.
const (
	noteWait  = time.Second
	noteAgain = 20 * time.Millisecond
)

// Notes is the crew's notes of a match, notes.jsonl as it is; empty when there are none.
func (h *Home) Notes(id schemas.MatchID) ([]byte, error) {
	if err := checkID(id); err != nil {
		return nil, err
	}
	data, err := os.ReadFile(filepath.Join(h.Dir(id), schemas.NotesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return data, err
}

// AddNote adds one line, its line feed included, to the crew's notes of a match. When it
// returns without error the line is on disk. It needs no lock: another process may write the
// data folder meanwhile, a collector for hours. When none does, what a crash left is made good
// first.
func (h *Home) AddNote(id schemas.MatchID, line []byte) error {
	if err := checkID(id); err != nil {
		return err
	}
	if n := len(line); n < 2 || bytes.IndexByte(line, '\n') != n-1 || !json.Valid(line) {
		return fmt.Errorf("a note of %s is one line of JSON", id)
	}
	if err := h.recoverUnlessLocked(); err != nil {
		return err
	}
	// A note must not go into a folder that is being replaced.
	leave, err := h.enter()
	if err != nil {
		return err
	}
	defer leave()
	if !h.Exists(id) {
		return fmt.Errorf("%s is not stored in %s: %w", id, h.dir, fs.ErrNotExist)
	}
	return h.appendNote(id, line)
}

// recoverUnlessLocked makes good what a crash left, unless a writer is there, who has.
func (h *Home) recoverUnlessLocked() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.lock != nil {
		return nil
	}
	lock, err := h.takeLock()
	var locked *LockedError
	if errors.As(err, &locked) {
		return nil
	} else if err != nil {
		return err
	}
	return lock.give()
}

// lockSoon takes the lock, and waits a little for a process that is about to give it back.
func (h *Home) lockSoon() (*Lock, error) {
	for until := time.Now().Add(noteWait); ; time.Sleep(noteAgain) {
		lock, err := h.takeLock()
		var locked *LockedError
		if err == nil || !errors.As(err, &locked) || time.Now().After(until) {
			return lock, err
		}
	}
}

func (h *Home) appendNote(id schemas.MatchID, line []byte) error {
	if err := h.appendLine(filepath.Join(h.Dir(id), schemas.NotesFile), line); err != nil {
		return fmt.Errorf("notes of %s: %w", id, err)
	}
	return nil
}

// appendLine adds a line to a file of lines, and has it on disk when it returns. mu is held.
func (h *Home) appendLine(path string, line []byte) (err error) {
	h.step("open " + h.short(path))
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	end, missing, err := endOfNotes(f)
	if err != nil {
		return err
	}
	if missing {
		line = append([]byte{'\n'}, line...)
	}
	h.step("write a line of " + h.short(path))
	if _, err := f.WriteAt(line, end); err != nil { // a full disk: what is there stays as it was
		return errors.Join(err, f.Truncate(end))
	}
	h.step("sync " + h.short(path))
	if err := f.Sync(); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// endOfNotes is where the next line goes, and whether the line feed of the one before it is
// missing, as an editor may leave it. What follows the last line feed and is no JSON was
// being written when the process or the power went, and was never confirmed: it gives way.
func endOfNotes(f *os.File) (end int64, missing bool, err error) {
	data, err := io.ReadAll(f)
	if err != nil {
		return 0, false, err
	}
	last := int64(bytes.LastIndexByte(data, '\n') + 1)
	switch tail := data[last:]; {
	case len(tail) == 0:
		return last, false, nil
	case json.Valid(tail):
		return int64(len(data)), true, nil
	default:
		return last, false, f.Truncate(last)
	}
}
