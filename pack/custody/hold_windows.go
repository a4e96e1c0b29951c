package custody

import (
	"errors"
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// Hold is as on other systems. Folders cannot be locked here: it locks a byte
// of custody.jsonl that no journal reaches, another one than lock does, and
// makes the file if need be.
func Hold(dir string) (release func(), held bool, err error) {
	f, err := os.OpenFile(filepath.Join(dir, "custody.jsonl"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, false, err
	}
	at := windows.Overlapped{OffsetHigh: 1 << 29}
	err = windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
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
func Writable(string) error { return nil }
