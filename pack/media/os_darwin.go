package media

import (
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

func statfs(dir string) (st unix.Statfs_t, err error) {
	if err = unix.Statfs(dir, &st); err != nil {
		err = &fs.PathError{Op: "statfs", Path: dir, Err: err}
	}
	return st, err
}

func fileLimit(dir string) (int64, error) {
	st, err := statfs(dir)
	if err == nil && unix.ByteSliceToString(st.Fstypename[:]) == "msdos" {
		return FATLimit, nil
	}
	return 0, err
}

func free(dir string) (int64, error) {
	st, err := statfs(dir)
	return int64(st.Bavail) * int64(st.Bsize), err
}

func writeBack(*os.File, int64, int64) error { return nil }

// dropCache makes reads and writes go past the cache. Pages that are in memory
// already are used all the same (from memory), so Create calls it as well.
func dropCache(f *os.File) bool {
	_, err := unix.FcntlInt(f.Fd(), unix.F_NOCACHE, 1)
	return err == nil
}

func renameNew(from, to string) error { return lstatRename(from, to) }
