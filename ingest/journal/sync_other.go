//go:build !linux

package journal

import (
	"os"
	"runtime"
)

// syncData on macOS asks the drive itself to write (F_FULLFSYNC), which os.File.Sync does.
func syncData(f *os.File) error { return f.Sync() }

// syncDir makes a new file's name durable. Windows has no such call for folders; NTFS
// journals names itself.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
