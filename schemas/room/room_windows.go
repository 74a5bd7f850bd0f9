package room

import "golang.org/x/sys/windows"

// free is how many bytes a user may still write to the disk that holds dir.
func free(dir string) (uint64, error) {
	path, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var available uint64
	err = windows.GetDiskFreeSpaceEx(path, &available, nil, nil)
	return available, err
}
