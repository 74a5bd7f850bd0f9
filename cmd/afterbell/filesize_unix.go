//go:build unix

package main

import (
	"os/signal"
	"syscall"
)

// fileSizeAsError makes a limit on the size of files (ulimit -f) an error of the write that
// meets it, like a full disk. Left alone the signal ends the process in the middle.
func fileSizeAsError() { signal.Ignore(syscall.SIGXFSZ) }
