//go:build unix

package apart

import (
	"os/exec"

	"golang.org/x/sys/unix"
)

// limitSelf asks the kernel for the limits. Where it has none the watchman remains.
func limitSelf(memory, seconds int64) {
	for what, most := range map[int]uint64{unix.RLIMIT_DATA: uint64(memory), unix.RLIMIT_CPU: uint64(2 * seconds), unix.RLIMIT_CORE: 0} {
		var old unix.Rlimit
		if unix.Getrlimit(what, &old) != nil {
			continue
		}
		setLimit(&old, most)
		_ = unix.Setrlimit(what, &old)
	}
}

// start starts cmd, which limits itself.
func start(cmd *exec.Cmd, _ int64) (release func(), err error) {
	return func() {}, cmd.Start()
}
