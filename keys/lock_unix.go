//go:build unix && !solaris && !aix

package keys

import (
	"errors"
	"os"
	"syscall"
)

// lock holds the folder for one writer. It does not wait: a second ceremony on
// the same folder is a mistake that its people should see. A file system that has
// no locks is used without.
func (f *Folder) lock() (unlock func(), err error) {
	d, err := os.Open(f.dir)
	if err != nil {
		return nil, ioFault(f.dir, "open the key folder", err)
	}
	err = syscall.Flock(int(d.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		d.Close()
		return nil, fault(f.dir, "another command is changing this key folder; wait until it has ended, then run this one again")
	}
	return func() { d.Close() }, nil
}
