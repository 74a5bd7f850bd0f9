package home

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/filelock"
)

const lockFile = ".lock"

// IsLock tells files of locks, which nobody else has a use for, by their names.
func IsLock(name string) bool { return name == lockFile || name == movingFile }

// LockedError says that another process writes the data folder.
type LockedError struct {
	Dir string
	PID int // 0 when it did not say
}

func (e *LockedError) Error() string {
	who := "another process"
	if e.PID > 0 {
		who = fmt.Sprintf("process %d", e.PID)
	}
	return fmt.Sprintf("%s is being written by %s: wait for it to end or stop it, then try again (reading needs no lock)", e.Dir, who)
}

// Lock is the right to write a data folder. The operating system takes it back when the
// process ends, however it ends, so that a crash leaves no lock behind; the pid in the
// file is only there to be read by people.
type Lock struct {
	home *Home
	file *os.File
}

// Lock takes the lock and makes good what a crash of an earlier writer left. The error is
// a *LockedError when another process, or another Home in this one, has it.
func (h *Home) Lock() (*Lock, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.takeLock()
}

// takeLock is Lock for who holds mu.
func (h *Home) takeLock() (*Lock, error) {
	if h.lock != nil {
		return nil, &LockedError{h.dir, os.Getpid()}
	}
	f, err := os.OpenFile(filepath.Join(h.dir, lockFile), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("locking the data folder: %w", err)
	}
	if err := filelock.Try(f); err != nil {
		if errors.Is(err, filelock.ErrTaken) {
			err = &LockedError{h.dir, ownerOf(f)}
		} else {
			err = fmt.Errorf("locking the data folder %s: %w", h.dir, err)
		}
		return nil, errors.Join(err, f.Close())
	}
	h.lock = &Lock{h, f}
	err = writeOwner(f)
	if err == nil {
		err = h.recoverAlone()
	}
	if err != nil {
		h.lock = nil
		return nil, errors.Join(err, f.Close())
	}
	return h.lock, nil
}

// Unlock gives the lock back.
func (l *Lock) Unlock() error {
	l.home.mu.Lock()
	defer l.home.mu.Unlock()
	return l.give()
}

// give is Unlock for who holds mu.
func (l *Lock) give() error {
	l.home.lock = nil
	return errors.Join(l.file.Truncate(0), l.file.Close())
}

func writeOwner(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err := f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

func ownerOf(f *os.File) int {
	b := make([]byte, 32)
	n, err := f.ReadAt(b, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return 0
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(b[:n])))
	if err != nil {
		return 0
	}
	return pid
}

// mayWrite says why the match must not be written now.
func (h *Home) mayWrite(id schemas.MatchID) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.lock == nil {
		return fmt.Errorf("%s was not locked for writing", h.dir)
	}
	return checkID(id)
}
