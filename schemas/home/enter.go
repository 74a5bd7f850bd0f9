package home

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/afterbell/afterbell/schemas/filelock"
)

// movingFile is locked for the moments in which a match's folder takes another place or a
// note is added to it, by whoever does that: notes come from processes that must not wait for
// a collector to end. Who holds the lock of the data folder takes this one behind it.
const movingFile = ".lock-moving"

// How long enter waits for another process, and how long between looks. Moments are short;
// a process that keeps the lock for longer is stuck.
const (
	enterWait  = 10 * time.Second
	enterAgain = 2 * time.Millisecond
)

// enter waits until nobody, in this process or another, moves a match or adds a note, and
// keeps them out until leave is called. The system frees what a crash leaves.
func (h *Home) enter() (leave func(), err error) {
	h.mu.Lock()
	free, err := h.keepOut()
	if err != nil {
		h.mu.Unlock()
		return nil, err
	}
	return func() { free(); h.mu.Unlock() }, nil
}

// keepOut is the part of enter for who holds mu.
func (h *Home) keepOut() (free func(), err error) {
	f, err := os.OpenFile(filepath.Join(h.dir, movingFile), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("locking the data folder: %w", err)
	}
	for until := time.Now().Add(enterWait); ; time.Sleep(enterAgain) {
		err := filelock.Try(f)
		if err == nil {
			return func() { _ = f.Close() }, nil // nothing was written to it
		}
		if !errors.Is(err, filelock.ErrTaken) || time.Now().After(until) {
			if errors.Is(err, filelock.ErrTaken) {
				err = &LockedError{Dir: h.dir}
			}
			return nil, errors.Join(err, f.Close())
		}
	}
}
