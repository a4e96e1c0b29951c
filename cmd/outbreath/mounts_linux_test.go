package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"outbreath/schema/demo"
)

// These tests seal onto real file systems that fail. They need root, to mount.

// asRoot skips without the right to mount; as root in CI a missing program fails.
func asRoot(t *testing.T, programs ...string) {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("not root: cannot mount")
	}
	for _, p := range programs {
		outside(t, p)
	}
}

// sh runs a program that must succeed and returns what it prints.
func sh(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return strings.TrimSpace(string(out))
}

// mounted mounts what mount's arguments say, or skips where that is not permitted.
func mounted(t *testing.T, args ...string) string {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("mount", append(args, dir)...).CombinedOutput(); err != nil {
		t.Skipf("cannot mount here: %v: %s", err, out)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, 2) }) // MNT_DETACH
	return dir
}

// image makes an empty file for a file system to be made in.
func image(t *testing.T, dir string, size int64) string {
	t.Helper()
	name := filepath.Join(dir, "image")
	write(t, name, nil)
	if err := os.Truncate(name, size); err != nil {
		t.Fatal(err)
	}
	return name
}

// failsOn seals onto a medium that fails: status 4, the words, no shipment,
// the collection as before; then a good medium takes the next seal.
func (j *job) failsOn(t *testing.T, medium string, words ...string) {
	t.Helper()
	before := digest(t, j.collection)
	status, out, errOut := runHere("seal", "--new-number", j.collection, "--to", medium, "--keys", j.site)
	if status != exitIO {
		t.Fatalf("exit status %d\n%s%s", status, out, errOut)
	}
	for _, w := range words {
		if !strings.Contains(errOut, w) {
			t.Errorf("%q is not said:\n%s", w, errOut)
		}
	}
	entries, err := os.ReadDir(medium)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), demo.Site) || strings.HasPrefix(e.Name(), ".outbreath") {
			t.Errorf("%s is left on the medium", e.Name())
		}
	}
	if digest(t, j.collection) != before {
		t.Error("the collection changed")
	}
	j.seal(t)
	sealed, err := filepath.Glob(filepath.Join(j.media, demo.Site+"-*"))
	if err != nil || len(sealed) != 1 {
		t.Fatal(sealed, err)
	}
	must(t, "verify", sealed[0], "--keys", j.lab)
}

// TestSmallMedium: a shipment that cannot fit is refused before anything is
// written, with figures.
func TestSmallMedium(t *testing.T) {
	asRoot(t, "mount")
	dir := mounted(t, "-t", "tmpfs", "-o", "size=64k", "tmpfs")
	j := newJob(t, demo.Options{Seed: 2, Subjects: 3, Sessions: 4, RecordingSeconds: 240, SampleHz: 50})
	j.failsOn(t, dir, "the medium is full: 65536 bytes were free, the shipment needs about",
		"to do: use an empty or a larger medium")
}

// TestOpenOntoSmallDisk: what does not fit is not unpacked, and the advice is about the
// disk; a recording alone that is larger than the room is not begun.
func TestOpenOntoSmallDisk(t *testing.T) {
	asRoot(t, "mount")
	j := newJob(t, demo.Options{Seed: 2, Subjects: 3, Sessions: 4, RecordingSeconds: 700, SampleHz: 100})
	j.seal(t)
	archive, err := os.Stat(filepath.Join(j.shipment, filepath.Base(j.shipment)+".tar.zst.age"))
	if err != nil {
		t.Fatal(err)
	}
	for _, size := range []string{"16k", fmt.Sprint(archive.Size() + 200<<10)} {
		dir := mounted(t, "-t", "tmpfs", "-o", "size="+size, "tmpfs")
		status, out, errOut := runHere("open", j.shipment, "--into", filepath.Join(dir, "opened"), "--keys", j.lab)
		if status != exitIO {
			t.Fatalf("%s: exit status %d\n%s%s", size, status, out, errOut)
		}
		if !strings.Contains(errOut, "the disk is too small: ") ||
			!strings.Contains(errOut, "name a folder on a larger one with --into") ||
			strings.Contains(errOut, "larger medium") {
			t.Errorf("%s: %s", size, errOut)
		}
		if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
			t.Errorf("%s: %v was left, %v", size, left, err)
		}
	}
}

// TestFullWhileWriting: room that goes away is told by the write.
func TestFullWhileWriting(t *testing.T) {
	asRoot(t, "mount")
	options := demo.Options{Seed: 2, Subjects: 3, Sessions: 4, RecordingSeconds: 240, SampleHz: 50}
	twin := newJob(t, options) // another site's, to know the size
	var sealed struct{ Parts []struct{ Bytes int64 } }
	if err := json.Unmarshal([]byte(must(t, "seal", twin.collection, "--to", twin.media, "--keys", twin.site,
		"--json")), &sealed); err != nil {
		t.Fatal(err)
	}
	j := newJob(t, options)
	dir := mounted(t, "-t", "tmpfs", "-o", fmt.Sprintf("size=%d", sealed.Parts[0].Bytes*8/10), "tmpfs")
	j.failsOn(t, dir, "the medium is full", "bytes were free, the shipment needs about")
}

// TestFullOnSync: ext4 in an image that lies on a small tmpfs takes the writes,
// and only the sync tells that there is no room.
func TestFullOnSync(t *testing.T) {
	asRoot(t, "mount", "mkfs.ext4", "losetup")
	small := mounted(t, "-t", "tmpfs", "-o", "size=2m", "tmpfs")
	img := image(t, small, 64<<20)
	sh(t, "mkfs.ext4", "-q", "-F", "-O", "^has_journal", img)
	dir := mounted(t, "-o", "loop", img)
	j := newJob(t, demo.Options{Seed: 2, Subjects: 6, Sessions: 16, RecordingSeconds: 300, SampleHz: 100})
	j.failsOn(t, dir, "outbreath: error: "+dir, "outbreath: to do: ")
}

// TestReadOnlyMedium: a write-protected stick.
func TestReadOnlyMedium(t *testing.T) {
	asRoot(t, "mount", "mkfs.ext4", "losetup")
	img := image(t, t.TempDir(), 8<<20)
	sh(t, "mkfs.ext4", "-q", "-F", img)
	dir := mounted(t, "-o", "loop,ro", img)
	j := newJob(t, smallDemo)
	j.failsOn(t, dir, "write-protected", "look for a write-protect switch")
}

// TestBadSectors: blocks of the medium that cannot be read any more.
func TestBadSectors(t *testing.T) {
	asRoot(t, "mount", "mkfs.ext4", "losetup")
	img := image(t, t.TempDir(), 32<<20)
	sh(t, "mkfs.ext4", "-q", "-F", "-O", "^has_journal", img)
	dir := mounted(t, "-o", "loop", img)
	j := newJob(t, demo.Options{Seed: 2, Subjects: 3, Sessions: 8, RecordingSeconds: 300, SampleHz: 100})
	must(t, "seal", "--new-number", j.collection, "--to", dir, "--keys", j.site)
	parts, err := filepath.Glob(filepath.Join(dir, "*", "*.age"))
	if err != nil || len(parts) != 1 {
		t.Fatal(parts, err)
	}
	// the archive's blocks are lost: the image ends before them
	first, err := firstBlock(t, parts[0])
	if err != nil {
		t.Skipf("the place of a file on the medium cannot be asked: %v", err)
	}
	syscall.Sync()
	if err := os.Truncate(img, first); err != nil {
		t.Fatal(err)
	}
	write(t, "/proc/sys/vm/drop_caches", []byte("3"))
	status, out, errOut := runHere("verify", filepath.Dir(parts[0]), "--keys", j.lab)
	if status != exitIO || strings.Contains(out, ": accepted") {
		t.Errorf("exit status %d\n%s%s", status, out, errOut)
	}
	if !strings.Contains(out+errOut, "worn out or damaged") {
		t.Errorf("not said:\n%s%s", out, errOut)
	}
}

// firstBlock returns the place of a file's first byte on its file system, from
// filefrag of e2fsprogs.
func firstBlock(t *testing.T, name string) (int64, error) {
	t.Helper()
	out, err := exec.Command("filefrag", "-b1024", "-e", name).Output()
	if err != nil {
		return 0, err
	}
	for line := range strings.Lines(string(out)) {
		f := strings.FieldsFunc(line, func(r rune) bool { return r == ' ' || r == ':' || r == '.' })
		if len(f) > 3 && f[0] == "0" {
			n, err := strconv.ParseInt(f[3], 10, 64)
			return n * 1024, err
		}
	}
	return 0, fmt.Errorf("filefrag says nothing of a first extent")
}

// TestExFAT: a real exFAT file system takes a shipment; a full one is refused
// before anything is written.
func TestExFAT(t *testing.T) {
	asRoot(t, "losetup", "mkfs.exfat", "mount.exfat-fuse", "fsck.exfat")
	if _, err := os.Stat("/dev/fuse"); err != nil {
		t.Skip("no FUSE here")
	}
	img := image(t, t.TempDir(), 16<<20)
	sh(t, "mkfs.exfat", img)
	loop := sh(t, "losetup", "-f", "--show", img)
	t.Cleanup(func() { _ = exec.Command("losetup", "-d", loop).Run() })
	dir := t.TempDir()
	if out, err := exec.Command("mount.exfat-fuse", loop, dir).CombinedOutput(); err != nil {
		t.Skipf("cannot mount exFAT here: %v: %s", err, out)
	}
	gone := false
	umount := func() {
		if !gone {
			_ = exec.Command("umount", dir).Run()
			gone = true
		}
	}
	t.Cleanup(umount)

	j := newJob(t, smallDemo)
	must(t, "seal", "--new-number", j.collection, "--to", dir, "--keys", j.site)
	must(t, "verify", filepath.Join(dir, demo.Site+"-0001"), "--keys", j.lab)

	fill(t, filepath.Join(dir, "other-things"))
	status, _, errOut := runHere("seal", "--new-number", j.collection, "--to", dir, "--keys", j.site)
	if status != exitIO || !strings.Contains(errOut, "the medium is full:") ||
		!strings.Contains(errOut, "the shipment needs about") {
		t.Errorf("exit status %d\n%s", status, errOut)
	}
	if log := string(files(t, j.collection)[custodyFile]); strings.Contains(log, demo.Site+"-0002") {
		t.Error("a seal was recorded")
	}
	must(t, "verify", filepath.Join(dir, demo.Site+"-0001"), "--keys", j.lab)
	umount()
	sh(t, "fsck.exfat", "-n", loop)
}

// fill writes zeros until there is no room.
func fill(t *testing.T, name string) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for size := 1 << 20; size >= 512; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 2
		}
	}
}

// TestFATNames copies shipments into a FAT image with mtools, lets fsck.vfat
// judge it, and verifies what comes out again.
func TestFATNames(t *testing.T) {
	for _, p := range []string{"mkfs.vfat", "mcopy", "mdir", "fsck.vfat"} {
		outside(t, p)
	}
	j := newJob(t, smallDemo)
	must(t, "seal", "--new-number", j.collection, "--to", j.media, "--keys", j.site)
	must(t, "seal", "--new-number", j.collection, "--to", j.media, "--keys", j.site, "--part-size", "4000")
	img := image(t, j.dir, 64<<20)
	sh(t, "mkfs.vfat", "-F", "32", "-s", "1", img)
	sealed := files(t, j.media)
	for _, number := range []string{"-0001", "-0002"} {
		sh(t, "mcopy", "-s", "-i", img, filepath.Join(j.media, demo.Site+number), "::")
	}
	sh(t, "fsck.vfat", "-n", img)
	back := j.at("back")
	if err := os.Mkdir(back, 0o755); err != nil {
		t.Fatal(err)
	}
	sh(t, "mcopy", "-s", "-i", img, "::"+demo.Site+"-0001", "::"+demo.Site+"-0002", back)
	got := files(t, back)
	for _, name := range sortedKeys(sealed) {
		if string(got[name]) != string(sealed[name]) {
			t.Errorf("%s did not survive", name)
		}
	}
	if len(got) != len(sealed) || len(got) < 12 {
		t.Errorf("%d files, %d came back", len(sealed), len(got))
	}
	for _, number := range []string{"-0001", "-0002"} {
		must(t, "verify", filepath.Join(back, demo.Site+number), "--keys", j.lab)
	}
}
