//go:build unix

package place

import (
	"io/fs"
	"syscall"
)

// device returns the number of the device that a file lies on.
func device(info fs.FileInfo) uint64 {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return uint64(st.Dev)
	}
	return 0
}
