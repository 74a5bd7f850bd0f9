package journal

import (
	"os"

	"golang.org/x/sys/unix"
)

// syncData syncs the content and the size of a file, and not its time stamps, which nobody
// reads: one write to the disk less.
func syncData(f *os.File) error {
	for {
		err := unix.Fdatasync(int(f.Fd()))
		if err != unix.EINTR {
			return err
		}
	}
}

func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
