//go:build unix

package media

import "golang.org/x/sys/unix"

// A stick pulled out is ENODEV or ENXIO; through FUSE, ENOTCONN or ECONNABORTED.
var (
	pulledOut  = []error{unix.ENOTCONN, unix.ECONNABORTED, unix.ENODEV, unix.ENXIO, unix.ESHUTDOWN}
	full       = []error{unix.ENOSPC}
	overQuota  = []error{unix.EDQUOT}
	fileTooBig = []error{unix.EFBIG}
	readOnly   = []error{unix.EROFS}
	broken     = []error{unix.EIO}
	notAllowed = []error{unix.EACCES, unix.EPERM}
)
