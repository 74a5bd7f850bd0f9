// Package filelock locks a file for one process, or rather for one opening of it. The
// operating system takes the lock back when the file is closed or the process ends, however
// it ends, so that a crash leaves no lock behind.
package filelock

import "errors"

// ErrTaken is returned by Try when another has the lock.
var ErrTaken = errors.New("lock taken")
