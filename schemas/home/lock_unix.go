//go:build unix

package home

import (
	"errors"
	"os"
	"syscall"
)

// tryLock locks f for this process or returns errTaken. The lock ends with the file.
func tryLock(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return errTaken
	}
	return err
}
