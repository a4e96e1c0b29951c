//go:build unix

package durable

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"outbreath/schema/costtest"
)

// planted are the things that may lie under a name instead of a plain file.
var planted = map[string]func(t *testing.T, path, decoy string){
	"a link out of the folder":   func(t *testing.T, path, decoy string) { must(t, os.Symlink(decoy, path)) },
	"a link within the folder":   func(t *testing.T, path, _ string) { must(t, os.Symlink("neighbour", path)) },
	"a link to nothing":          func(t *testing.T, path, _ string) { must(t, os.Symlink("nothing", path)) },
	"a link to a named pipe":     func(t *testing.T, path, _ string) { must(t, os.Symlink("pipe", path)) },
	"a named pipe":               func(t *testing.T, path, _ string) { must(t, syscall.Mkfifo(path, 0o666)) },
	"a folder":                   func(t *testing.T, path, _ string) { must(t, os.Mkdir(path, 0o755)) },
	"a folder with a file in it": func(t *testing.T, path, _ string) { must(t, os.MkdirAll(path+"/x", 0o755)) },
	"a socket": func(t *testing.T, path, _ string) {
		l, err := net.Listen("unix", path)
		must(t, err)
		t.Cleanup(func() { l.Close() })
	},
	"a device": func(t *testing.T, path, _ string) {
		if err := syscall.Mknod(path, syscall.S_IFCHR|0o666, 1<<8|5); err != nil { // 1:5, /dev/zero
			t.Skip("only root makes devices")
		}
	},
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// place makes a folder with a neighbour and a pipe, a decoy outside, and returns both.
func place(t *testing.T) (root *os.Root, dir, decoy string) {
	t.Helper()
	// A socket's path has 107 bytes at most, unix(7).
	top, err := os.MkdirTemp("", "d")
	must(t, err)
	t.Cleanup(func() { os.RemoveAll(top) })
	dir, decoy = filepath.Join(top, "in"), filepath.Join(top, "decoy")
	must(t, os.Mkdir(dir, 0o755))
	must(t, os.WriteFile(decoy, []byte("outside"), 0o640))
	must(t, os.WriteFile(filepath.Join(dir, "neighbour"), []byte("inside"), 0o640))
	must(t, syscall.Mkfifo(filepath.Join(dir, "pipe"), 0o666))
	root, err = OpenFolder(dir)
	must(t, err)
	t.Cleanup(func() { root.Close() })
	return root, dir, decoy
}

func untouched(t *testing.T, dir, decoy string) {
	t.Helper()
	for path, want := range map[string]string{decoy: "outside", filepath.Join(dir, "neighbour"): "inside"} {
		info, err := os.Lstat(path)
		must(t, err)
		if data, _ := os.ReadFile(path); string(data) != want || info.Mode() != 0o640 {
			t.Fatalf("%s was changed: %q, %v", path, data, info.Mode())
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, ".outbreath-*"))
	must(t, err)
	if len(left) > 0 {
		t.Fatalf("temporary files are left: %v", left)
	}
}

func TestOnlyPlainFilesAreOpened(t *testing.T) {
	for what, plant := range planted {
		t.Run(what, func(t *testing.T) {
			root, dir, decoy := place(t)
			plant(t, filepath.Join(dir, "name"), decoy)
			for call, do := range map[string]func() error{
				"Read": func() error { _, err := Read(root, "name", 100); return err },
				"Open": func() error { _, err := Open(root, "name"); return err },
				"OpenToChange": func() error {
					_, err := OpenToChange(root, "name",
						os.O_RDWR|os.O_APPEND)
					return err
				},
			} {
				costtest.Ends(t, call, func() {
					if err := do(); !errors.As(err, new(*Refusal)) ||
						!strings.Contains(err.Error(), filepath.Join(dir, "name")+": is a") {
						t.Errorf("%s: %v", call, err)
					}
				})
			}
			costtest.Ends(t, "Create", func() {
				if _, err := Create(root, "name", 0); !errors.Is(err, fs.ErrExist) {
					t.Errorf("Create: %v", err)
				}
			})
			costtest.Ends(t, "WriteNew", func() {
				if err := WriteNew(root, "name", []byte("new"), 0o644); !errors.Is(err, fs.ErrExist) {
					t.Errorf("WriteNew: %v", err)
				}
			})
			costtest.Ends(t, "Replace", func() {
				err := Replace(root, "name", []byte("new"), 0o600)
				if folder := strings.HasPrefix(what, "a folder"); folder != (err != nil) {
					t.Errorf("Replace: %v", err)
				}
				if err != nil {
					return
				}
				info, err := os.Lstat(filepath.Join(dir, "name"))
				must(t, err)
				if data, err := os.ReadFile(filepath.Join(dir, "name")); string(data) != "new" || err != nil ||
					info.Mode() != 0o600 {
					t.Errorf("Replace left %q, %v, %v", data, info.Mode(), err)
				}
			})
			untouched(t, dir, decoy)
		})
	}
}

func TestReadDirAndFolderDoNotWait(t *testing.T) {
	root, dir, decoy := place(t)
	must(t, os.Symlink("..", filepath.Join(dir, "up")))
	for _, name := range []string{"pipe", "neighbour", "up"} {
		costtest.Ends(t, "ReadDir", func() {
			if _, err := ReadDir(root, name); err == nil {
				t.Errorf("%s was listed as a folder", name)
			}
		})
		if name == "up" {
			continue // a person may name a folder by a link to it
		}
		costtest.Ends(t, "OpenFolder", func() {
			if _, err := OpenFolder(filepath.Join(dir, name)); err == nil {
				t.Errorf("%s was opened as a folder", name)
			}
		})
	}
	if entries, err := ReadDir(root, "."); err != nil || len(entries) != 3 || entries[0].Name() != "neighbour" {
		t.Errorf("%v, %v", entries, err)
	}
	untouched(t, dir, decoy)
}

// TestHardLink: a second name may be read, is never written through, and is parted by
// Replace.
func TestHardLink(t *testing.T) {
	root, dir, decoy := place(t)
	must(t, os.Link(decoy, filepath.Join(dir, "name")))
	if data, err := Read(root, "name", 100); string(data) != "outside" || err != nil {
		t.Fatalf("%q, %v", data, err)
	}
	if _, err := OpenToChange(root, "name", os.O_RDWR|os.O_APPEND); !errors.As(err, new(*Refusal)) ||
		!strings.Contains(err.Error(), "second name") {
		t.Fatal(err)
	}
	must(t, Replace(root, "name", []byte("new"), 0o600))
	untouched(t, dir, decoy)
	f, err := OpenToChange(root, "name", os.O_WRONLY|os.O_APPEND)
	must(t, err)
	must(t, f.Close())
}

func TestReadBound(t *testing.T) {
	root, dir, _ := place(t)
	if data, err := Read(root, "neighbour", 6); string(data) != "inside" || err != nil {
		t.Fatalf("%q, %v", data, err)
	}
	if _, err := Read(root, "neighbour", 5); !errors.As(err, new(*TooLargeError)) {
		t.Fatal(err)
	}
	if _, err := Read(root, "none", 5); !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	for _, name := range []string{"../decoy", filepath.Join(dir, "neighbour")} {
		if _, err := Read(root, name, 100); err == nil {
			t.Errorf("%s was read", name)
		}
	}
}

func TestStage(t *testing.T) {
	root, dir, decoy := place(t)
	s, err := Stage(root, "page", []byte("one"), 0o644)
	must(t, err)
	s.Discard()
	untouched(t, dir, decoy)
	s, err = Stage(root, "page", []byte("one"), 0o644)
	must(t, err)
	must(t, s.CommitNew())
	s.Discard()
	info, err := os.Stat(filepath.Join(dir, "page"))
	must(t, err)
	if n := info.Sys().(*syscall.Stat_t).Nlink; info.Mode() != 0o644 || n != 1 {
		t.Fatalf("%v, %d names", info.Mode(), n)
	}
	// What somebody puts in the place of the staged file is told.
	s, err = Stage(root, "page", []byte("two"), 0o644)
	must(t, err)
	must(t, os.Remove(filepath.Join(dir, s.temp)))
	must(t, os.Symlink(decoy, filepath.Join(dir, s.temp)))
	if err := s.Commit(); !errors.As(err, new(*Refusal)) {
		t.Fatal(err)
	}
	must(t, os.Remove(filepath.Join(dir, "page")))
	// What a killed run left is swept, and nothing else.
	s, err = Stage(root, "page", []byte("three"), 0o644)
	must(t, err)
	other, err := Stage(root, "other", []byte("four"), 0o644)
	must(t, err)
	must(t, Sweep(root, "page"))
	if _, err := root.Lstat(s.temp); !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	must(t, other.Commit())
	untouched(t, dir, decoy)
}

// TestRace lets somebody exchange the name as fast as it goes, for a link to a file
// outside and back, while it is read and written here.
func TestRace(t *testing.T) {
	root, dir, decoy := place(t)
	own := filepath.Join(dir, "own")
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
			}
			side := filepath.Join(dir, fmt.Sprint("side", i%2))
			os.Remove(side)
			switch i % 4 {
			case 0:
				os.Symlink(decoy, side)
			case 1:
				os.Symlink("neighbour", side)
			case 2:
				syscall.Mkfifo(side, 0o666)
			default:
				os.WriteFile(side, []byte("own"), 0o600)
			}
			os.Rename(side, own)
		}
	}()
	read, refused := 0, 0
	costtest.Ends(t, "the race", func() {
		for end := time.Now().Add(2 * time.Second); time.Now().Before(end) || read == 0 || refused == 0; {
			data, err := Read(root, "own", 100)
			switch {
			case err != nil:
				refused++
			case bytes.Equal(data, []byte("own")), bytes.Equal(data, []byte("new")), len(data) == 0:
				read++
			default:
				t.Errorf("read %q through a link", data)
			}
			if f, err := OpenToChange(root, "own", os.O_WRONLY|os.O_APPEND); err == nil {
				f.WriteString("")
				f.Close()
			}
			Replace(root, "own", []byte("new"), 0o600)
		}
	})
	close(stop)
	<-stopped
	t.Logf("%d read, %d refused", read, refused)
	untouched(t, dir, decoy)
}
