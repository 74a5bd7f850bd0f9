package home

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"golang.org/x/sync/errgroup"
)

// makeDirs makes dir and the parents it lacks, each synced into its parent, so that a
// folder renamed into it later cannot lose the way to it.
func makeDirs(dir string) error {
	var parents []string
	for at := dir; !isDir(at); at = filepath.Dir(at) {
		parents = append(parents, filepath.Dir(at))
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	return syncAll(parents, syncDir)
}

// removeEmpty removes dir and its parents below top as far as they are empty.
func removeEmpty(dir, top string) {
	for dir != top && os.Remove(dir) == nil {
		dir = filepath.Dir(dir)
	}
}

// syncTree syncs every file below dir, then every folder.
func syncTree(dir string) error {
	var dirs, files []string
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() {
			dirs = append(dirs, path)
			return nil
		}
		files = append(files, path)
		return nil
	})
	if err == nil {
		err = syncAll(files, syncFile)
	}
	if err == nil {
		err = syncAll(dirs, syncDir)
	}
	return err
}

// syncsAtOnce is how many syncs are asked for at once: file systems write their journal for
// several in one go, and disks take several.
const syncsAtOnce = 8

// syncAll calls sync with each path, and returns when all are done or one has failed.
func syncAll(paths []string, sync func(path string) error) error {
	var g errgroup.Group
	g.SetLimit(syncsAtOnce)
	for _, path := range paths {
		g.Go(func() error { return sync(path) })
	}
	return g.Wait()
}

// WriteFile writes a file of a match being published or renamed. It does not sync it: Publish
// and Rename sync all that was written, and the file is on disk when they return. The disk begins with what is long before all is written.
func WriteFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(write(&beginner{file: f}), f.Close())
}

// beginAfter is how many bytes are written before the disk is told to begin with them. Without,
// a system may leave them in memory until they are synced, while the processor has nothing to
// do. Chosen by us: some fifty milliseconds of a plain disk.
const beginAfter = 4 << 20

// beginner writes to a file, and has the disk begin with what was written.
type beginner struct {
	file  *os.File
	at    int64
	begun int64
}

func (b *beginner) Write(p []byte) (int, error) {
	n, err := b.file.Write(p)
	b.at += int64(n)
	if err == nil && b.at-b.begun >= beginAfter {
		beginSync(b.file, b.begun, b.at-b.begun)
		b.begun = b.at
	}
	return n, err
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
