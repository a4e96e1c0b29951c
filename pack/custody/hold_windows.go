package custody

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/windows"

	"outbreath/pack/durable"
)

// Hold is as on other systems. Folders cannot be locked here: it locks a byte
// of custody.jsonl that no journal reaches, another one than lock does, and
// makes the file if need be.
func Hold(root *os.Root) (release func(), held bool, err error) {
	f, err := durable.Create(root, "custody.jsonl", 0)
	if errors.Is(err, fs.ErrExist) {
		f, err = durable.OpenToChange(root, "custody.jsonl", os.O_RDWR)
	}
	if err != nil {
		return nil, false, err
	}
	at := windows.Overlapped{OffsetHigh: 1 << 29}
	err = windows.LockFileEx(windows.Handle(f.Fd()),
		windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	if err != nil {
		f.Close()
		if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
			return nil, false, nil
		}
		return nil, false, &os.PathError{Op: "lock", Path: f.Name(), Err: err}
	}
	return func() { f.Close() }, true, nil
}

// Writable is as on other systems; [Hold] has opened the journal for writing.
func Writable(*os.Root, string) error { return nil }
