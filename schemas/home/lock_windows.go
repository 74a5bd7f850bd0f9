package home

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock locks f for this process or returns errTaken. The lock ends with the file.
// Windows keeps others from reading what is locked, so one byte far behind the pid is.
func tryLock(f *os.File) error {
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	at := &windows.Overlapped{OffsetHigh: 1 << 30}
	err := windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errTaken
	}
	return err
}
