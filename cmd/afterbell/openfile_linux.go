package main

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// openForWriting is whether a process of this user has the file open for writing (proc(5):
// fd, and the access mode in the flags of fdinfo). Others cannot be seen: for them size and
// date have to do.
func openForWriting(path string) bool {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return false
	}
	if real, err = filepath.Abs(real); err != nil {
		return false
	}
	links, err := filepath.Glob("/proc/[0-9]*/fd/*")
	if err != nil {
		return false
	}
	for _, link := range links {
		if target, err := os.Readlink(link); err != nil || target != real {
			continue
		}
		info, err := os.ReadFile(strings.Replace(link, "/fd/", "/fdinfo/", 1))
		if err != nil {
			continue
		}
		_, flags, ok := strings.Cut(string(info), "flags:")
		if !ok {
			continue
		}
		fields := strings.Fields(flags)
		if len(fields) == 0 {
			continue
		}
		if mode, err := strconv.ParseUint(fields[0], 8, 64); err == nil && mode&3 != uint64(os.O_RDONLY) {
			return true
		}
	}
	return false
}
