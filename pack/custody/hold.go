//go:build !windows

package custody

import (
	"errors"
	"io/fs"
	"path/filepath"

	"golang.org/x/sys/unix"

	"outbreath/pack/media"
)

// Hold keeps every other process from holding the collection folder dir until
// release is called or this process ends, however it ends; held is false when
// another one has it. A file system without locks keeps nobody away; there the
// look at the end of the journal, [ChangedError], is what is left.
func Hold(dir string) (release func(), held bool, err error) { return media.Hold(dir) }

// Writable says whether this process may write the journal of the collection folder
// dir, and its signature beside it, without touching them: a permission that is
// missing, or a disk that can only be read, is the error.
func Writable(dir string) error {
	if err := unix.Access(dir, unix.W_OK|unix.X_OK); err != nil {
		return err
	}
	err := unix.Access(filepath.Join(dir, "custody.jsonl"), unix.R_OK|unix.W_OK)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
