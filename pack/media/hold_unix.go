//go:build unix && !solaris && !aix

package media

import (
	"os"

	"golang.org/x/sys/unix"

	"outbreath/pack/durable"
)

// Hold marks a folder as in use by this process until release is called or the
// process ends, however it ends. held is false when another process holds it.
// A file system without locks holds nothing and says true.
func Hold(root *os.Root) (release func(), held bool, err error) {
	f, err := root.Open(".")
	if err != nil {
		return nil, false, durable.Plain(root, err)
	}
	if unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) == unix.EWOULDBLOCK {
		f.Close()
		return nil, false, nil
	}
	// Closing alone would leave the lock for a moment with a program that is being started,
	// which has a copy of every open file until it begins.
	return func() {
		unix.Flock(int(f.Fd()), unix.LOCK_UN)
		f.Close()
	}, true, nil
}
