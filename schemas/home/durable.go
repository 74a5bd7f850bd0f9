package home

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"
)

// makeDirs makes dir and the parents it lacks, each synced into its parent, so that a
// folder renamed into it later cannot lose the way to it.
func makeDirs(dir string) error {
	if isDir(dir) {
		return nil
	}
	parent := filepath.Dir(dir)
	if err := makeDirs(parent); err != nil {
		return err
	}
	if err := os.Mkdir(dir, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return syncDir(parent)
}

// removeEmpty removes dir and its parents below top as far as they are empty.
func removeEmpty(dir, top string) {
	for dir != top && os.Remove(dir) == nil {
		dir = filepath.Dir(dir)
	}
}

// syncTree syncs every file below dir, then every folder, innermost first.
func syncTree(dir string) error {
	var dirs []string
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() {
			dirs = append(dirs, path)
			return nil
		}
		return syncFile(path)
	})
	for i := len(dirs) - 1; i >= 0 && err == nil; i-- {
		err = syncDir(dirs[i])
	}
	return err
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncDir makes renames inside dir durable. Windows has no such call for folders; NTFS
// journals renames itself.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// rename is os.Rename. Windows refuses while a reader has a file open in there, which
// readers have for moments only, so it is tried again for a second.
func rename(from, to string) error {
	err := os.Rename(from, to)
	for i := 0; i < 50 && err != nil && runtime.GOOS == "windows" && errors.Is(err, fs.ErrPermission); i++ {
		time.Sleep(20 * time.Millisecond)
		err = os.Rename(from, to)
	}
	return err
}
