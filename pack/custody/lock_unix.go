//go:build unix && !solaris && !aix

package custody

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lock waits for the file: alone to write, with other readers to read. Closing
// the file gives it back. A file system that has no locks is used without; the
// look at the end of the file is what is left there.
func lock(f *os.File, alone bool) error {
	how := unix.LOCK_SH
	if alone {
		how = unix.LOCK_EX
	}
	for {
		err := unix.Flock(int(f.Fd()), how)
		switch {
		case errors.Is(err, unix.EINTR):
			continue
		case err == nil, errors.Is(err, unix.ENOTSUP), errors.Is(err, unix.ENOSYS), errors.Is(err, unix.ENOLCK):
			return nil
		}
		return &os.PathError{Op: "lock", Path: f.Name(), Err: err}
	}
}
