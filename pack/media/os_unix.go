//go:build unix

package media

import (
	"errors"

	"golang.org/x/sys/unix"
)

// notOffered reports whether err means "this file system does not do that".
func notOffered(err error) bool {
	return errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.ENOSYS)
}
