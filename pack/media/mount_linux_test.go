package media_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"outbreath/pack/media"
)

// mount mounts a file system of its own for a test, which is skipped where that
// is not permitted.
func mount(t *testing.T, source, kind, options string) string {
	t.Helper()
	dir := t.TempDir()
	if err := unix.Mount(source, dir, kind, 0, options); err != nil {
		t.Skipf("cannot mount a %s here: %v", kind, err)
	}
	t.Cleanup(func() { unix.Unmount(dir, unix.MNT_DETACH) })
	return dir
}

func TestFullMedium(t *testing.T) {
	dir := mount(t, "tmpfs", "tmpfs", "size=4m")
	free, err := opened(t, media.OS{}, dir).Free()
	if err != nil || free > 4<<20 || free < 3<<20 {
		t.Errorf("%d bytes free of 4 MiB, %v", free, err)
	}
	if err := media.WriteFile(opened(t, media.OS{}, dir), "small", make([]byte, 1<<20)); err != nil {
		t.Fatal(err)
	}
	if now, _ := opened(t, media.OS{}, dir).Free(); free-now < 1<<20 {
		t.Errorf("%d bytes free, then %d", free, now)
	}
	err = media.WriteFile(opened(t, media.OS{}, dir), "large", make([]byte, 5<<20))
	if kind, _ := media.Explain(err); !errors.Is(err, unix.ENOSPC) || kind != media.Full {
		t.Errorf("%v is explained as %q", err, kind)
	}
	p := media.NewParts(opened(t, media.OS{}, dir), "x", 1<<20)
	_, err = p.Write(make([]byte, 5<<20))
	if !errors.Is(err, unix.ENOSPC) {
		t.Errorf("Parts: %v", err)
	}
	if err := p.Abort(); err != nil {
		t.Error(err)
	}
	if left := names(t, dir); len(left) != 1 {
		t.Errorf("left %q", left)
	}
}

func TestReadOnlyMedium(t *testing.T) {
	dir := mount(t, "tmpfs", "tmpfs", "size=1m")
	data := []byte("before")
	medium := opened(t, media.OS{}, dir)
	if err := media.WriteFile(medium, "x", data); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""); err != nil {
		t.Skip(err)
	}
	for op, do := range map[string]func() error{
		"write":  func() error { return media.WriteFile(medium, "y", data) },
		"rename": func() error { return medium.Rename("x", "y") },
		"mkdir":  func() error { _, err := medium.Mkdir("y"); return err },
		"remove": func() error { return medium.Remove("x") },
	} {
		err := do()
		if kind, _ := media.Explain(err); !errors.Is(err, unix.EROFS) || kind != media.ReadOnly {
			t.Errorf("%s: %v is explained as %q", op, err, kind)
		}
	}
	if _, err := media.ReadBack(ctx, medium, "x", sha256.Sum256(data), 6); err != nil {
		t.Error(err)
	}
}

// TestPastTheCache changes the medium itself under a file: reading it as usual
// still gives the old bytes from memory, reading it back does not.
func TestPastTheCache(t *testing.T) {
	image := filepath.Join(t.TempDir(), "image")
	if err := os.WriteFile(image, make([]byte, 8<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := exec.Command("mkfs.ext4", "-q", "-F", image).Run(); err != nil {
		t.Skip("no mkfs.ext4")
	}
	out, err := exec.Command("losetup", "-f", "--show", image).Output()
	if err != nil {
		t.Skip("no loop device")
	}
	device := strings.TrimSpace(string(out))
	t.Cleanup(func() { exec.Command("losetup", "-d", device).Run() })
	dir := mount(t, device, "ext4", "")

	data := noise(1<<20, 5)
	medium := opened(t, media.OS{}, dir)
	if err := media.WriteFile(medium, "x", data); err != nil {
		t.Fatal(err)
	}
	path, sum := filepath.Join(dir, "x"), sha256.Sum256(data)
	dropped, err := media.ReadBack(ctx, medium, "x", sum, 1<<20)
	if !dropped || err != nil {
		t.Fatal(dropped, err)
	}
	if b, err := os.ReadFile(path); err != nil || !bytes.Equal(b, data) { // now it is in memory
		t.Fatal(err)
	}

	disk, err := os.ReadFile(image)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(disk, data[512<<10:512<<10+4096])
	if at < 0 {
		t.Skip("the file is not on the image as it is")
	}
	f, err := os.OpenFile(image, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte{disk[at+9] ^ 1}, int64(at+9)); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(path); !bytes.Equal(b, data) {
		t.Log("this system saw the change without help")
	}
	if _, err := media.ReadBack(ctx, medium, "x", sum, 1<<20); !errors.As(err, new(*media.MismatchError)) {
		t.Errorf("the change on the medium was not noticed: %v", err)
	}
}
