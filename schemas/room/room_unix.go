//go:build unix

package room

import "golang.org/x/sys/unix"

// free is how many bytes a user may still write to the disk that holds dir.
func free(dir string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return uint64(s.Bavail) * uint64(s.Bsize), nil
}
