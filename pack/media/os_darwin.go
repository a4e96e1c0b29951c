package media

import (
	"io/fs"
	"os"

	"golang.org/x/sys/unix"

	"outbreath/pack/durable"
)

func statfs(root *os.Root) (st unix.Statfs_t, err error) {
	d, err := root.Open(".")
	if err != nil {
		return st, durable.Plain(root, err)
	}
	defer d.Close()
	if err = unix.Fstatfs(int(d.Fd()), &st); err != nil {
		err = durable.Plain(root, &fs.PathError{Op: "ask for the file system of", Path: root.Name(), Err: err})
	}
	return st, err
}

func fileLimit(root *os.Root) (int64, error) {
	st, err := statfs(root)
	if err == nil && unix.ByteSliceToString(st.Fstypename[:]) == "msdos" {
		return FATLimit, nil
	}
	return 0, err
}

func free(root *os.Root) (int64, error) {
	st, err := statfs(root)
	return int64(st.Bavail) * int64(st.Bsize), err
}

func writeBack(*os.File, int64, int64) error { return nil }

// dropCache makes reads and writes go past the cache. Pages that are in memory
// already are used all the same (from memory), so Create calls it as well.
func dropCache(f *os.File) bool {
	_, err := unix.FcntlInt(f.Fd(), unix.F_NOCACHE, 1)
	return err == nil
}
