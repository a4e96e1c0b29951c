package durable

import (
	"os"

	"golang.org/x/sys/unix"
)

func renameNew(root *os.Root, from, to string) error {
	d, err := root.OpenFile(".", os.O_RDONLY|onlyFolder, 0)
	if err != nil {
		return err
	}
	defer d.Close()
	fd := int(d.Fd())
	err = unix.Renameat2(fd, from, fd, to, unix.RENAME_NOREPLACE)
	switch {
	case err == nil:
		return nil
	case notOffered(err): // exFAT through FUSE: EINVAL
		return lookAndRename(root, from, to)
	}
	return &os.LinkError{Op: "renameat2", Old: from, New: to, Err: err}
}
