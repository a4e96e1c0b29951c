//go:build unix

package durable

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

const (
	// noWait keeps a pipe that came in the place of a file from making us wait.
	noWait = syscall.O_NONBLOCK
	// onlyFolder has the system refuse what is no folder.
	onlyFolder = syscall.O_DIRECTORY
	// folderSuffix makes a name one that only a folder can have.
	folderSuffix = "/."
)

// openFolder names the folder "dir/.", which nothing but a folder can be: opening
// a pipe would wait without end.
func openFolder(dir string) (*os.Root, error) {
	if dir == "" {
		dir = "."
	}
	root, err := os.OpenRoot(dir + folderSuffix)
	if e := new(os.PathError); errors.As(err, &e) {
		e.Path = dir
	}
	return root, err
}

// links returns how many names the open file has.
func links(f *os.File) (uint64, error) {
	info, err := f.Stat()
	if err != nil {
		return 0, err
	}
	return namesOf(info), nil
}

func namesOf(info fs.FileInfo) uint64 {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(st.Nlink)
	}
	return 1
}

// own reports whether what was opened in root belongs to this user. On a disk that
// keeps no owners everything has that of its mount, which a file made here shows.
func own(root *os.Root, info fs.FileInfo) (bool, error) {
	if owner(info) == os.Geteuid() {
		return true, nil
	}
	name := ".outbreath-owner-" + randomHex()
	f, err := Create(root, name, 0)
	if err != nil {
		return false, err
	}
	made, err := f.Stat()
	if err = errors.Join(err, f.Close(), Remove(root, name)); err != nil {
		return false, err
	}
	return owner(made) == owner(info), nil
}

func owner(info fs.FileInfo) int {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return int(st.Uid)
	}
	return -1
}

// Shared says who but its owner may write to a folder: "its group", "everybody", or
// "" for nobody and where the disk keeps no modes.
func Shared(root *os.Root, name string) (string, error) {
	info, err := Lstat(root, name)
	if err != nil {
		return "", err
	}
	switch mode := info.Mode().Perm(); {
	case mode&0o022 == 0 || !keepsModes(root):
		return "", nil
	case mode&0o002 != 0:
		return "everybody", nil
	}
	return "its group", nil
}

// notOffered tells errors that mean "this file system does not do that".
func notOffered(err error) bool {
	return errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) || errors.Is(err, syscall.ENOSYS)
}
