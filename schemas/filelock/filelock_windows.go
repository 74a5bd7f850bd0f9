package filelock

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// Try locks f or returns ErrTaken. The lock ends with the file.
// Windows keeps others from reading what is locked, so one byte far behind the pid is.
func Try(f *os.File) error {
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	at := &windows.Overlapped{OffsetHigh: 1 << 30}
	err := windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return ErrTaken
	}
	return err
}
