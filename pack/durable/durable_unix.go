//go:build unix

package durable

import (
	"errors"
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
// a pipe would wait for ever.
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
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(st.Nlink), nil
	}
	return 1, nil
}

// notOffered tells errors that mean "this file system does not do that".
func notOffered(err error) bool {
	return errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) || errors.Is(err, syscall.ENOSYS)
}
