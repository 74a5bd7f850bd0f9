//go:build unix && !freebsd && !dragonfly

package apart

import "golang.org/x/sys/unix"

func setLimit(l *unix.Rlimit, most uint64) { l.Cur, l.Max = min(most, l.Max), min(most, l.Max) }
