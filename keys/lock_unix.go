//go:build unix && !solaris && !aix

package keys

import (
	"errors"
	"os"
	"syscall"
	"time"
)

// lock locks the folder for one writer. It does not wait: two key ceremonies on the same
// folder at once are a mistake that its people should notice. On a file system without
// locks it does nothing.
func (f *Folder) lock() (unlock func(), err error) {
	d, err := os.Open(f.dir)
	if err != nil {
		return nil, ioFault(f.dir, "open the key folder", err)
	}
	err = syscall.Flock(int(d.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		d.Close()
		return nil, &Error{Fault: BusyFolder, Path: f.dir, cause: ErrBusy,
			Message: "another command is changing this key folder"}
	}
	// Closing alone would leave the lock for a moment with a program that is being started,
	// which has a copy of every open file until it begins.
	return func() {
		syscall.Flock(int(d.Fd()), syscall.LOCK_UN)
		d.Close()
	}, nil
}

// await is lock for brief work that every command does, such as changing a state: it waits
// up to 30 seconds for another command to finish.
func (f *Folder) await() (unlock func(), err error) {
	for until := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if unlock, err = f.lock(); !errors.Is(err, ErrBusy) || time.Now().After(until) {
			return unlock, err
		}
	}
}
