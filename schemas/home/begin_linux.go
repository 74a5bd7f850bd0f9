package home

import (
	"os"

	"golang.org/x/sys/unix"
)

// beginSync has the disk begin to write a stretch of a file, and does not wait for it. It
// promises nothing, and so its error says nothing that the sync later does not.
func beginSync(f *os.File, at, bytes int64) {
	_ = unix.SyncFileRange(int(f.Fd()), at, bytes, unix.SYNC_FILE_RANGE_WRITE)
}
