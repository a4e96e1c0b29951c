//go:build unix

package durable

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func opened(t *testing.T, dir string) *os.Root {
	t.Helper()
	root, err := OpenFolder(dir)
	must(t, err)
	t.Cleanup(func() { root.Close() })
	return root
}

func TestRenameRefuses(t *testing.T) {
	for what, rename := range map[string]func(root *os.Root, from, to string) error{"system": renameNew,
		"look first": lookAndRename} {
		dir := t.TempDir()
		root := opened(t, dir)
		for _, n := range []string{"a", "b"} {
			must(t, os.WriteFile(filepath.Join(dir, n), []byte(n), 0o600))
			must(t, os.Mkdir(filepath.Join(dir, n+"dir"), 0o700))
		}
		must(t, os.Symlink("nowhere", filepath.Join(dir, "link")))
		for _, c := range [][2]string{{"a", "b"}, {"adir", "bdir"}, {"a", "link"}, {"a", "bdir"}} {
			if err := rename(root, c[0], c[1]); !errors.Is(err, fs.ErrExist) {
				t.Errorf("%s: %s to %s: %v", what, c[0], c[1], err)
			}
		}
		if b, _ := os.ReadFile(filepath.Join(dir, "b")); string(b) != "b" {
			t.Errorf("%s: replaced", what)
		}
		must(t, rename(root, "a", "c"))
		must(t, rename(root, "adir", "cdir"))
		if err := rename(root, "a", "d"); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// made makes a folder "temp" with a file and a folder in it, and beside it what an
// attacker puts in its place.
func made(t *testing.T, put func(name string)) (root, sub *os.Root, dir string) {
	t.Helper()
	dir = t.TempDir()
	root = opened(t, dir)
	sub, err := MakeFolder(root, "temp", 0o755)
	must(t, err)
	t.Cleanup(func() { sub.Close() })
	must(t, os.MkdirAll(filepath.Join(dir, "temp/in"), 0o755))
	must(t, os.WriteFile(filepath.Join(dir, "temp/in/file"), nil, 0o644))
	if put != nil {
		must(t, os.Rename(filepath.Join(dir, "temp"), filepath.Join(dir, "moved")))
		put(filepath.Join(dir, "temp"))
	}
	return root, sub, dir
}

func exists(name string) bool {
	_, err := os.Lstat(name)
	return err == nil
}

// TestExchangedFolder: what was put in the place of a folder of ours gets no final
// name and is not removed; what is in ours is.
func TestExchangedFolder(t *testing.T) {
	decoy := t.TempDir()
	must(t, os.WriteFile(filepath.Join(decoy, "file"), nil, 0o644))
	for what, put := range map[string]func(name string){
		"nothing": nil,
		"a link":  func(name string) { must(t, os.Symlink(decoy, name)) },
		"a folder": func(name string) {
			must(t, os.Mkdir(name, 0o755))
			must(t, os.WriteFile(filepath.Join(name, "file"), nil, 0o644))
		},
	} {
		t.Run(what, func(t *testing.T) {
			root, sub, dir := made(t, put)
			err := NameFolder(root, sub, "temp", "final", func(from, to string) error { return Rename(root, from, to) })
			if (err == nil) != (put == nil) || exists(filepath.Join(dir, "final")) != (put == nil) {
				t.Errorf("named: %v", err)
			}
			if err != nil && (!errors.As(err, new(*Refusal)) ||
				!strings.Contains(err.Error(), "find out who else works in "+dir)) {
				t.Errorf("the error is %v", err)
			}
			root, sub, dir = made(t, put)
			err = RemoveFolder(root, sub, "temp")
			if (err == nil) != (put == nil) || exists(filepath.Join(dir, "temp")) != (put != nil) ||
				exists(filepath.Join(dir, "moved/in")) {
				t.Errorf("removed: %v", err)
			}
			if !exists(filepath.Join(decoy, "file")) || what == "a folder" && !exists(filepath.Join(dir, "temp/file")) {
				t.Error("what lay there instead was removed")
			}
		})
	}
}

// TestRemoveClosedFolder: on Windows a folder is closed to be renamed, and removed all
// the same when something fails afterwards.
func TestRemoveClosedFolder(t *testing.T) {
	root, sub, dir := made(t, nil)
	sub.Close()
	if err := RemoveFolder(root, sub, "temp"); err != nil || exists(filepath.Join(dir, "temp")) {
		t.Error(err)
	}
}

// TestPlainErrors: what fails is told in words, with the path as it was given.
func TestPlainErrors(t *testing.T) {
	t.Chdir(t.TempDir())
	must(t, os.MkdirAll("disk/full/x", 0o755))
	must(t, os.WriteFile("disk/file", nil, 0o644))
	root := opened(t, "disk")
	sub, err := Folder(root, "full")
	must(t, err)
	defer sub.Close()
	file, err := Create(sub, "closed", 0)
	must(t, err)
	must(t, file.Close())
	_, written := file.Write([]byte("x"))
	second := func(_ any, err error) error { return err }
	for want, err := range map[string]error{
		"look at disk/none: ":          second(Open(root, "none")),
		"look at disk/full/none: ":     second(Open(sub, "none")),
		"look at disk/none/x: ":        second(Lstat(root, "none/x")),
		"create disk/file: ":           second(Create(root, "file", 0)),
		"create disk/full: ":           second(MakeFolder(root, "full", 0o700)),
		"create disk/full/none/x: ":    second(CreateShared(sub, "none/x")),
		"remove disk/full: ":           Remove(root, "full"),
		"rename disk/file disk/full: ": Rename(root, "file", "full"),
		"rename disk/none disk/new: ":  Rename(root, "none", "new"),
		"rename disk/none disk/also: ": Plain(root, lookAndRename(root, "none", "also")),
		"create disk/file disk/full: ": Plain(root, root.Link("file", "full")),
		"open nowhere: ":               second(OpenFolder("nowhere")),
		"write disk/full/closed: ":     Plain(sub, written),
		"open disk/none: ":             Plain(root, second(root.OpenFile("none", os.O_RDONLY, 0))),
		"remove disk/full: inv":        Plain(root, root.RemoveAll("full/.")),
	} {
		if err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q, want %q", err, want)
		}
	}
}
