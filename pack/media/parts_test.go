package media_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"

	"pgregory.net/rapid"

	"outbreath/pack/media"
	"outbreath/pack/media/mediatest"
)

func names(t testing.TB, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// noise returns n bytes that are not repeated, so that bytes in a wrong place
// show.
func noise(n int, seed uint64) []byte {
	b := make([]byte, n)
	rand.NewChaCha8([32]byte{byte(seed), byte(seed >> 8)}).Read(b)
	return b
}

// unsynced is a file system without the waiting, for tests with many files.
type (
	unsynced       struct{}
	unsyncedFolder struct{ media.Folder }
	unsyncedFile   struct{ media.File }
)

func (unsynced) Open(dir string) (media.Folder, error) {
	d, err := media.OS{}.Open(dir)
	return unsyncedFolder{d}, err
}

func (d unsyncedFolder) Mkdir(name string) (media.Folder, error) {
	sub, err := d.Folder.Mkdir(name)
	return unsyncedFolder{sub}, err
}

func (d unsyncedFolder) Create(name string) (media.File, error) {
	f, err := d.Folder.Create(name)
	return unsyncedFile{f}, err
}

func (unsyncedFolder) Sync() error { return nil }
func (unsyncedFile) Sync() error   { return nil }

// opened opens a folder, until the test ends.
func opened(t testing.TB, fsys media.FS, dir string) media.Folder {
	t.Helper()
	d, err := fsys.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

func TestPartsConcatenation(t *testing.T) {
	root := t.TempDir()
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		dir := filepath.Join(root, fmt.Sprint(n))
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		total := rapid.IntRange(0, 2000).Draw(t, "bytes")
		if rapid.IntRange(0, 19).Draw(t, "large") == 0 {
			total += 2 << 20 // more than a buffer
		}
		data := noise(total, uint64(n))
		limit := int64(rapid.IntRange(max(1, (total+998)/999), total+10).Draw(t, "limit"))
		if rapid.Bool().Draw(t, "no limit") {
			limit = 0
		}
		medium, err := unsynced{}.Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer medium.Close()
		p := media.NewParts(medium, "x.age", limit)
		for rest := data; len(rest) > 0; {
			k := rapid.IntRange(1, min(len(rest), 1<<rapid.IntRange(4, 22).Draw(t, "log"))).Draw(t, "write")
			if m, err := p.Write(rest[:k]); m != k || err != nil {
				t.Fatal(m, err)
			}
			rest = rest[k:]
		}
		parts, err := p.Finish()
		if err != nil {
			t.Fatal(err)
		}
		var all []byte
		var listed []string
		for i, q := range parts {
			b, err := os.ReadFile(filepath.Join(dir, q.Name))
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, b...)
			listed = append(listed, q.Name)
			switch {
			case limit > 0 && int64(len(b)) > limit:
				t.Fatalf("%s has %d bytes, more than %d", q.Name, len(b), limit)
			case i < len(parts)-1 && int64(len(b)) != limit:
				t.Fatalf("%s is not filled", q.Name)
			case int64(len(b)) != q.Bytes || sha256.Sum256(b) != q.SHA256:
				t.Fatalf("%s is not as told", q.Name)
			case len(parts) == 1 && q.Name != "x.age", len(parts) > 1 && q.Name != fmt.Sprintf("x.age.%03d", i+1):
				t.Fatalf("part %d of %d is called %s", i+1, len(parts), q.Name)
			case len(b) == 0 && total > 0:
				t.Fatalf("%s is empty", q.Name)
			}
		}
		if !bytes.Equal(all, data) {
			t.Fatal("the parts joined are not what was written")
		}
		if entries, _ := os.ReadDir(dir); len(entries) != len(parts) || !slices.IsSorted(listed) {
			t.Fatalf("%d files for the parts %q", len(entries), listed)
		}
		if err := p.Abort(); err != nil {
			t.Fatal(err)
		}
		if entries, _ := os.ReadDir(dir); len(entries) != len(parts) {
			t.Fatal("Abort after Finish removed something")
		}
	})
}

func TestPartsLimits(t *testing.T) {
	dir := t.TempDir()
	p := media.NewParts(opened(t, unsynced{}, dir), "x", 1)
	n, err := p.Write(make([]byte, 1001))
	if err == nil || n == 1001 || !strings.Contains(err.Error(), "999 parts") {
		t.Fatalf("1000 parts: %d, %v", n, err)
	}
	if _, again := p.Write([]byte{1}); !errors.Is(again, err) {
		t.Errorf("went on after an error: %v", again)
	}
	if _, again := p.Finish(); !errors.Is(again, err) {
		t.Errorf("finished after an error: %v", again)
	}
	if err := p.Abort(); err != nil {
		t.Error(err)
	}
	if left := names(t, dir); len(left) > 0 {
		t.Errorf("left %q", left)
	}

	p = media.NewParts(opened(t, unsynced{}, dir), "x", 1)
	if _, err := p.Write(make([]byte, 999)); err != nil {
		t.Error(err)
	}
	if parts, err := p.Finish(); err != nil || len(parts) != 999 || parts[998].Name != "x.999" {
		t.Error(len(parts), err)
	}
	if _, err := p.Write([]byte{1}); !errors.Is(err, os.ErrClosed) {
		t.Errorf("write after Finish: %v", err)
	}
	if _, err := p.Finish(); !errors.Is(err, os.ErrClosed) {
		t.Errorf("second Finish: %v", err)
	}
}

// TestNothingReplaced: what is there stays, byte for byte.
func TestNothingReplaced(t *testing.T) {
	for _, name := range []string{"x", "x.001", "x.002"} {
		dir := t.TempDir()
		old := filepath.Join(dir, name)
		if err := os.WriteFile(old, []byte("older"), 0o600); err != nil {
			t.Fatal(err)
		}
		limit := int64(0)
		if name == "x.002" {
			limit = 3
		}
		p := media.NewParts(opened(t, media.OS{}, dir), "x", limit)
		_, errW := p.Write([]byte("newer"))
		_, errF := p.Finish()
		if !errors.Is(errors.Join(errW, errF), fs.ErrExist) {
			t.Errorf("%s: %v, %v", name, errW, errF)
		}
		if err := p.Abort(); err != nil {
			t.Error(err)
		}
		if b, _ := os.ReadFile(old); string(b) != "older" || len(names(t, dir)) != 1 {
			t.Errorf("%s: %q holds %q", name, names(t, dir), b)
		}
	}
	dir := t.TempDir()
	for range 2 {
		err := media.WriteFile(opened(t, media.OS{}, dir), "y", []byte("first"))
		if b, _ := os.ReadFile(filepath.Join(dir, "y")); string(b) != "first" {
			t.Fatalf("%q, %v", b, err)
		}
	}
	if err := media.WriteFile(opened(t, media.OS{}, dir), "y", nil); !errors.Is(err, fs.ErrExist) {
		t.Error(err)
	}
	if st, err := os.Stat(filepath.Join(dir, "y")); err != nil || st.Mode().Perm()&^0o644 != 0 &&
		runtime.GOOS != "windows" {
		t.Error(st.Mode(), err)
	}
}

// job is all that is done with a medium: three parts, a file, and all read back.
func job(m *mediatest.Faults, dir string) (err error) {
	medium, err := m.Open(dir)
	if err != nil {
		return err
	}
	defer medium.Close()
	stage, err := medium.Mkdir("stage")
	if err != nil {
		return err
	}
	defer func() {
		stage.Close()
		if err != nil { // a caller's clean-up: nothing under the final name
			medium.Remove("stage")
		}
	}()
	p := media.NewParts(stage, "x", 9<<20)
	data := noise(19<<20, 1)
	if _, err = p.Write(data); err != nil {
		return errors.Join(err, p.Abort())
	}
	parts, err := p.Finish()
	if err != nil {
		return errors.Join(err, p.Abort())
	}
	undo := func(err error) error {
		for _, q := range parts {
			err = errors.Join(err, stage.Remove(q.Name))
		}
		return err
	}
	if err := media.WriteFile(stage, "sums", []byte("sums")); err != nil {
		return undo(err)
	}
	parts = append(parts, media.Part{Name: "sums", Bytes: 4, SHA256: sha256.Sum256([]byte("sums"))})
	if err := stage.Sync(); err != nil {
		return undo(err)
	}
	for _, q := range parts {
		if _, err := media.ReadBack(ctx, stage, q.Name, q.SHA256, q.Bytes); err != nil {
			return undo(err)
		}
	}
	if err := medium.Rename("stage", "final"); err != nil {
		return undo(err)
	}
	return medium.Sync()
}

func TestFaultAtEachCall(t *testing.T) {
	good := &mediatest.Faults{FS: media.OS{}}
	if err := job(good, t.TempDir()); err != nil {
		t.Fatal(err)
	}
	if n := good.Count("writeback"); n != 2 {
		t.Errorf("%d early write-backs for parts of 9, 9 and 1 MiB", n)
	}
	tried := 0
	for _, op := range []string{"mkdir", "create", "write", "writeback", "sync", "close", "syncdir", "open", "read",
		"rename"} {
		calls := good.Count(op)
		if calls == 0 {
			t.Errorf("%s never happens", op)
		}
		for n := 1; n <= calls; n++ {
			if op == "close" && n > 4 || calls > 8 && n > 2 && n < calls-1 && n%7 != 0 {
				continue // closing what was only read says nothing; of many alike some will do
			}
			tried++
			dir := t.TempDir()
			m := &mediatest.Faults{FS: unsynced{}, Fail: mediatest.Nth(op, n, syscall.EIO)}
			err := job(m, dir)
			if !errors.Is(err, syscall.EIO) {
				t.Errorf("%s %d: the error is %v", op, n, err)
			}
			left := names(t, dir)
			if last := op == "syncdir" && n == calls; !last && len(left) > 0 {
				t.Errorf("%s %d: left %q", op, n, left)
			}
		}
	}
	if tried < 20 {
		t.Errorf("only %d faults tried", tried)
	}
}

// TestDurableOrder: a file is synced before it is closed, closed before it gets
// its name, and the folder is synced last.
func TestDurableOrder(t *testing.T) {
	dir := t.TempDir()
	m := &mediatest.Faults{FS: media.OS{}}
	p := media.NewParts(opened(t, m, dir), "x", 0)
	p.Write([]byte("data"))
	if _, err := p.Finish(); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range m.Calls {
		got = append(got, c.Op)
	}
	if want := "create write sync close rename syncdir"; strings.Join(got, " ") != want {
		t.Errorf("got %q", got)
	}
}

func TestFullAt(t *testing.T) {
	data := noise(3<<20, 2)
	for _, room := range []int64{0, 1, 4096, 1<<20 - 1, 1 << 20, 1<<20 + 1, 2<<20 + 5, 3<<20 - 1, 3 << 20} {
		dir := t.TempDir()
		m := &mediatest.Faults{FS: media.OS{}, Fail: mediatest.FullAt(room)}
		p := media.NewParts(opened(t, m, dir), "x", 1<<20+7)
		_, err := p.Write(data)
		if err == nil {
			_, err = p.Finish()
		}
		if enough := room >= int64(len(data)); enough != (err == nil) || !enough && !errors.Is(err, syscall.ENOSPC) {
			t.Errorf("room for %d: %v", room, err)
		}
		if err != nil {
			if err := p.Abort(); err != nil {
				t.Error(err)
			}
			if left := names(t, dir); len(left) > 0 {
				t.Errorf("room for %d: left %q", room, left)
			}
		}
	}
}

// A medium that takes less than it is given and says nothing.
func TestSilentShortWrite(t *testing.T) {
	short := func(c mediatest.Call) error {
		if c.Op == "write" {
			return &mediatest.Partial{Wrote: 3}
		}
		return nil
	}
	dir := t.TempDir()
	if err := media.WriteFile(opened(t, &mediatest.Faults{FS: media.OS{}, Fail: short}, dir), "x",
		[]byte("abcdef")); err == nil {
		t.Error("WriteFile: no error")
	}
	p := media.NewParts(opened(t, &mediatest.Faults{FS: media.OS{}, Fail: short}, dir), "y", 0)
	p.Write([]byte("abcdef"))
	if _, err := p.Finish(); err == nil {
		t.Error("Parts: no error")
	}
	if err := p.Abort(); err != nil || len(names(t, dir)) > 0 {
		t.Error(err, names(t, dir))
	}
}

// Every error is told: the first cause, and what could not be cleaned up.
func TestErrorsJoined(t *testing.T) {
	dir := t.TempDir()
	m := &mediatest.Faults{FS: media.OS{}, Fail: func(c mediatest.Call) error {
		return map[string]error{"sync": syscall.ENOSPC, "close": syscall.EIO, "remove": syscall.EROFS}[c.Op]
	}}
	err := media.WriteFile(opened(t, m, dir), "x", []byte("a"))
	for _, want := range []error{syscall.ENOSPC, syscall.EIO, syscall.EROFS} {
		if !errors.Is(err, want) {
			t.Errorf("%v is not told in %v", want, err)
		}
	}
	p := media.NewParts(opened(t, m, dir), "y", 0)
	p.Write([]byte("a"))
	_, err = p.Finish()
	if !errors.Is(err, syscall.ENOSPC) || !errors.Is(err, syscall.EIO) {
		t.Errorf("Finish: %v", err)
	}
	if err := p.Abort(); !errors.Is(err, syscall.EROFS) {
		t.Errorf("Abort: %v", err)
	}
}
