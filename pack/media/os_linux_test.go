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
	old := fsType
	defer func() { fsType = old }()
	// Numbers of statfs(2). FAT: 4,294,967,295 bytes, standards 12.1 (from memory).
	for _, c := range []struct{ typ, limit int64 }{{0x4d44, 4294967295}, {0x2011bab0, 0}, {0xef53, 0}, {0x65735546, 0}} {
		fsType = func(string) (int64, error) { return c.typ, nil }
		if got, err := (OS{}).FileLimit(dir); got != c.limit || err != nil {
			t.Errorf("type %#x: %d, %v", c.typ, got, err)
		}
	}
	fsType = old
	if got, err := (OS{}).FileLimit(dir); got != 0 || err != nil {
		t.Errorf("this folder: %d, %v", got, err)
	}
	if _, err := (OS{}).FileLimit(filepath.Join(dir, "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	if _, err := (OS{}).Free(filepath.Join(dir, "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	if n, err := (OS{}).Free(dir); n <= 0 || err != nil {
		t.Error(n, err)
	}
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
	if mountedAs("/proc") != "proc" {
		t.Errorf("/proc is %q", mountedAs("/proc"))
	}
	if got := mountedAs("/no/such/folder"); got != "" {
		t.Error(got)
	}
}

func TestRenameRefuses(t *testing.T) {
	for name, rename := range map[string]func(from, to string) error{"system": OS{}.Rename, "look first": lstatRename} {
		dir := t.TempDir()
		p := func(n string) string { return filepath.Join(dir, n) }
		for _, n := range []string{"a", "b"} {
			if err := os.WriteFile(p(n), []byte(n), 0o600); err != nil {
				t.Fatal(err)
			}
			if err := os.Mkdir(p(n+"dir"), 0o700); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.Symlink("nowhere", p("link")); err != nil {
			t.Fatal(err)
		}
		for _, c := range [][2]string{{"a", "b"}, {"adir", "bdir"}, {"a", "link"}, {"a", "bdir"}} {
			if err := rename(p(c[0]), p(c[1])); !errors.Is(err, fs.ErrExist) {
				t.Errorf("%s: %s to %s: %v", name, c[0], c[1], err)
			}
		}
		if b, _ := os.ReadFile(p("b")); string(b) != "b" {
			t.Errorf("%s: replaced", name)
		}
		if err := rename(p("a"), p("c")); err != nil {
			t.Error(err)
		}
		if err := rename(p("adir"), p("cdir")); err != nil {
			t.Error(err)
		}
		if err := rename(p("a"), p("d")); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSyncDir(t *testing.T) {
	if err := (OS{}).SyncDir(t.TempDir()); err != nil {
		t.Error(err)
	}
	if err := (OS{}).SyncDir("/proc/self"); err != nil { // has no fsync: EINVAL
		t.Error(err)
	}
	if err := (OS{}).SyncDir(filepath.Join(t.TempDir(), "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
}
