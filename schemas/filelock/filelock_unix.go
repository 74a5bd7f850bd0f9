//go:build unix

package filelock

import (
	"errors"
	"os"
	"syscall"
)

// Try locks f or returns ErrTaken. The lock ends with the file.
func Try(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return ErrTaken
	}
	return err
}
