package media

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"

	"outbreath/pack/durable"
)

// fsType returns the type of the file system that holds root, as statfs(2)
// numbers them. Tests replace it to imitate a FAT stick.
var fsType = func(root *os.Root) (int64, error) {
	st, err := statfs(root)
	return int64(st.Type), err
}

func statfs(root *os.Root) (st unix.Statfs_t, err error) {
	d, err := root.Open(".")
	if err != nil {
		return st, durable.Plain(root, err)
	}
	defer d.Close()
	for {
		if err = unix.Fstatfs(int(d.Fd()), &st); !errors.Is(err, unix.EINTR) {
			break
		}
	}
	if err != nil {
		err = durable.Plain(root, &fs.PathError{Op: "ask for the file system of", Path: root.Name(), Err: err})
	}
	return st, err
}

func fileLimit(root *os.Root) (int64, error) {
	typ, err := fsType(root)
	if err != nil {
		return 0, err
	}
	switch typ {
	case unix.MSDOS_SUPER_MAGIC:
		return FATLimit, nil
	case unix.FUSE_SUPER_MAGIC: // anything at all: ask for its name
		if name := mountedAs(root); strings.Contains(name, "fat") && !strings.Contains(name, "exfat") {
			return FATLimit, nil
		}
	}
	return 0, nil
}

// mountedAs returns the file system type of root as /proc/self/mountinfo names
// it, "fuse.fusefat"; "" when it cannot be known.
func mountedAs(root *os.Root) string {
	of, err := root.Stat(".")
	if err != nil {
		return ""
	}
	st, ok := of.Sys().(*syscall.Stat_t)
	if !ok {
		return ""
	}
	info, err := os.ReadFile("/proc/self/mountinfo")
	if err != nil {
		return ""
	}
	return typeOfDevice(info, unix.Major(uint64(st.Dev)), unix.Minor(uint64(st.Dev)))
}

// typeOfDevice finds a device in the text of mountinfo, proc(5): field 3 is
// major:minor, the type follows the field "-".
func typeOfDevice(info []byte, major, minor uint32) string {
	device := fmt.Sprintf("%d:%d", major, minor)
	for sc := bufio.NewScanner(bytes.NewReader(info)); sc.Scan(); {
		mount, kind, _ := strings.Cut(sc.Text(), " - ")
		if f := strings.Fields(mount); len(f) < 3 || f[2] != device {
			continue
		}
		if f := strings.Fields(kind); len(f) > 0 {
			return f[0]
		}
	}
	return ""
}

// free does not take the 0 of a FUSE file system that does not count for a full
// one: fusefat gives it always, others give no size either.
func free(root *os.Root) (int64, error) {
	st, err := statfs(root)
	if err != nil {
		return 0, err
	}
	if st.Blocks == 0 || st.Bavail == 0 && int64(st.Type) == unix.FUSE_SUPER_MAGIC &&
		mountedAs(root) == "fuse.fusefat" {
		return -1, nil
	}
	return int64(st.Bavail) * int64(st.Bsize), nil
}

// writeBack starts the writing and returns; the fsync reports what fails
// that follows.
func writeBack(f *os.File, off, n int64) error {
	return unix.SyncFileRange(int(f.Fd()), off, n, unix.SYNC_FILE_RANGE_WRITE)
}

// dropCache works on synced files only: dirty pages stay. What memory keeps by
// its own nature, as tmpfs does, it cannot drop, and does not say so.
func dropCache(f *os.File) bool {
	return unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) == nil
}
