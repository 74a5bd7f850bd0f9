package main

import (
	"errors"
	"syscall"
)

// openForWriting is whether another process has the file open in a way that forbids others to
// read it alone, as those that write do.
func openForWriting(path string) bool {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return false
	}
	const sharingViolation = syscall.Errno(32)
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ, 0, nil, syscall.OPEN_EXISTING, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if err != nil {
		return errors.Is(err, sharingViolation)
	}
	_ = syscall.CloseHandle(h)
	return false
}
