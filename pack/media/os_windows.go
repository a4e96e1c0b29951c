package media

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/windows"
)

// notOffered reports whether err means "this system does not do that": Windows
// cannot flush a folder.
func notOffered(err error) bool {
	return errors.Is(err, windows.ERROR_ACCESS_DENIED) || errors.Is(err, windows.ERROR_INVALID_HANDLE) ||
		errors.Is(err, windows.ERROR_INVALID_FUNCTION)
}

// The volume is asked for by the folder's path: the answer is a figure, and nothing
// is written by it.

func fileLimit(root *os.Root) (int64, error) {
	dir := filepath.Clean(root.Name())
	abs, err := filepath.Abs(dir)
	if err != nil {
		return 0, err
	}
	path, err := windows.UTF16PtrFromString(abs)
	if err != nil {
		return 0, err
	}
	volume := make([]uint16, len(abs)+windows.MAX_PATH)
	name := make([]uint16, windows.MAX_PATH+1)
	err = windows.GetVolumePathName(path, &volume[0], uint32(len(volume)))
	if err == nil {
		err = windows.GetVolumeInformation(&volume[0], nil, 0, nil, nil, nil, &name[0], uint32(len(name)))
	}
	if err != nil {
		return 0, &fs.PathError{Op: "ask for the file system of", Path: dir, Err: err}
	}
	if t := strings.ToUpper(windows.UTF16ToString(name)); t == "FAT" || t == "FAT16" || t == "FAT32" {
		return FATLimit, nil
	}
	return 0, nil
}

func free(root *os.Root) (int64, error) {
	dir := filepath.Clean(root.Name())
	path, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var n uint64
	if err := windows.GetDiskFreeSpaceEx(path, &n, nil, nil); err != nil {
		return 0, &fs.PathError{Op: "ask for the free space of", Path: dir, Err: err}
	}
	return int64(min(n, 1<<63-1)), nil
}

func writeBack(*os.File, int64, int64) error { return nil }
func dropCache(*os.File) bool                { return false }
