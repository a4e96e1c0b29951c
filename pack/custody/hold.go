//go:build !windows

package custody

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"

	"outbreath/pack/durable"
	"outbreath/pack/media"
)

// Hold keeps every other process from holding the collection folder root until
// release is called or this process ends, however it ends; held is false when
// another one has it. A file system without locks keeps nobody away; there the
// look at the end of the journal, [ChangedError], is what is left.
func Hold(root *os.Root) (release func(), held bool, err error) { return media.Hold(root) }

// Writable returns what keeps this process from writing the journal called name in the
// collection folder root, and its signature, or nil; it touches neither. A permission
// that is missing, or a disk that can only be read, is the error.
func Writable(root *os.Root, name string) error {
	d, err := root.Open(".")
	if err != nil {
		return durable.Plain(root, err)
	}
	defer d.Close()
	if err := unix.Faccessat(int(d.Fd()), ".", unix.W_OK|unix.X_OK, 0); err != nil {
		return err
	}
	err = unix.Faccessat(int(d.Fd()), name, unix.R_OK|unix.W_OK, unix.AT_SYMLINK_NOFOLLOW)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
