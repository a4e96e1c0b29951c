package custody

import (
	"os"

	"golang.org/x/sys/windows"
)

// lock waits for the file: alone to write, with other readers to read. Locks of
// Windows keep others from the bytes they cover, so one byte is locked that no
// journal reaches. Closing the file gives it back.
func lock(f *os.File, alone bool) error {
	var how uint32
	if alone {
		how = windows.LOCKFILE_EXCLUSIVE_LOCK
	}
	at := windows.Overlapped{OffsetHigh: 1 << 30}
	if err := windows.LockFileEx(windows.Handle(f.Fd()), how, 0, 1, 0, &at); err != nil {
		return &os.PathError{Op: "lock", Path: f.Name(), Err: err}
	}
	return nil
}
