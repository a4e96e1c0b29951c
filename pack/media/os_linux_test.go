package media

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

func TestFileLimit(t *testing.T) {
	dir := t.TempDir()
	medium := folder(t, dir)
	old := fsType
	defer func() { fsType = old }()
	// Numbers of statfs(2). FAT: 4,294,967,295 bytes, standards 12.1 (from memory).
	for _, c := range []struct{ typ, limit int64 }{{0x4d44, 4294967295}, {0x2011bab0, 0}, {0xef53, 0},
		{0x65735546, 0}} {
		fsType = func(*os.Root) (int64, error) { return c.typ, nil }
		if got, err := medium.FileLimit(); got != c.limit || err != nil {
			t.Errorf("type %#x: %d, %v", c.typ, got, err)
		}
	}
	fsType = old
	if got, err := medium.FileLimit(); got != 0 || err != nil {
		t.Errorf("this folder: %d, %v", got, err)
	}
	if n, err := medium.Free(); n <= 0 || err != nil {
		t.Error(n, err)
	}
	if _, err := (OS{}).Open(filepath.Join(dir, "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	medium.Close()
	if _, err := medium.FileLimit(); !errors.Is(err, fs.ErrClosed) {
		t.Error(err)
	}
	if _, err := medium.Free(); !errors.Is(err, fs.ErrClosed) {
		t.Error(err)
	}
}

// folder opens a folder, until the test ends.
func folder(t *testing.T, dir string) Folder {
	t.Helper()
	d, err := OS{}.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

func TestTypeOfDevice(t *testing.T) {
	// The first line is the example of proc(5).
	info := []byte("36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue\n" +
		"40 35 0:52 / /media/STICK\\040ONE rw,nosuid - fuse.fusefat /dev/sdb1 rw,user_id=0\n" +
		"41 35 0:53 / /media/b rw,nosuid shared:2 master:3 - fuseblk /dev/sdc1 rw\n" +
		"damaged\n")
	for _, c := range []struct {
		major, minor uint32
		want         string
	}{{98, 0, "ext3"}, {0, 52, "fuse.fusefat"}, {0, 53, "fuseblk"}, {0, 5, ""}, {9, 8, ""}} {
		if got := typeOfDevice(info, c.major, c.minor); got != c.want {
			t.Errorf("%d:%d: %q", c.major, c.minor, got)
		}
	}
	if got := mountedAs(folder(t, "/proc").Root()); got != "proc" {
		t.Errorf("/proc is %q", got)
	}
}

func TestSync(t *testing.T) {
	for _, dir := range []string{t.TempDir(), "/proc/self"} { // which has no fsync: EINVAL
		if err := folder(t, dir).Sync(); err != nil {
			t.Error(err)
		}
	}
}
