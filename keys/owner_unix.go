//go:build unix

package keys

import (
	"io/fs"
	"os"
	"syscall"
)

// openFlags prevent a link that appeared since the check from being followed, and a pipe
// from blocking.
const openFlags = syscall.O_NOFOLLOW | syscall.O_NONBLOCK

// anothers reports whether the file belongs to another user of this computer, who
// could change it or its permissions.
func anothers(info fs.FileInfo) bool {
	s, ok := info.Sys().(*syscall.Stat_t)
	return ok && int(s.Uid) != os.Geteuid()
}
