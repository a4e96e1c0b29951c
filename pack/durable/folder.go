package durable

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// Lstat returns what has a name in root, and follows no link.
func Lstat(root *os.Root, name string) (fs.FileInfo, error) {
	info, err := root.Lstat(name)
	return info, Plain(root, err)
}

// Remove removes a file or an empty folder in root.
func Remove(root *os.Root, name string) error { return Plain(root, root.Remove(name)) }

// Rename gives a file or folder in root another name there, which must be free; if it
// is not, the error is fs.ErrExist.
func Rename(root *os.Root, from, to string) error { return Plain(root, renameNew(root, from, to)) }

// lookAndRename renames where the system cannot refuse to replace by itself. The moment
// between look and rename is open to another program.
func lookAndRename(root *os.Root, from, to string) error {
	if _, err := root.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = fs.ErrExist
		}
		return &os.LinkError{Op: "renameat", Old: from, New: to, Err: err}
	}
	return root.Rename(from, to)
}

// MakeFolder makes the folder called name in root, which must not be there, and opens
// it. One that somebody put in its place meanwhile is refused.
func MakeFolder(root *os.Root, name string, mode fs.FileMode) (sub *os.Root, err error) {
	if err := root.Mkdir(name, mode); err != nil {
		return nil, Plain(root, err)
	}
	sub, err = Folder(root, name)
	if err != nil {
		return nil, err
	}
	ours := false
	info, err := sub.Stat(".")
	if err == nil {
		ours, err = own(root, info)
	}
	if err == nil && !ours {
		err = exchanged(root, name, "made")
	}
	if err != nil {
		sub.Close()
		return nil, Plain(sub, err)
	}
	return sub, nil
}

// NewFolder makes and opens a folder in root that only this user can enter, under a
// random name that begins with prefix.
func NewFolder(root *os.Root, prefix string) (sub *os.Root, name string, err error) {
	name = prefix + randomHex()
	sub, err = MakeFolder(root, name, 0o700)
	return sub, name, err
}

// NameFolder gives sub, which root has as from, the name to by means of rename, which
// must not replace. If something else had been put in the place of sub, that
// does not keep the name, and the error is a *[Refusal]. On Windows, which renames no
// open folder, sub is closed.
func NameFolder(root, sub *os.Root, from, to string, rename func(from, to string) error) error {
	ours, err := sub.Stat(".")
	if err != nil {
		return Plain(sub, err)
	}
	if runtime.GOOS == "windows" {
		sub.Close()
	}
	if err := rename(from, to); err != nil {
		return err
	}
	now, err := root.Lstat(to)
	if err == nil && !os.SameFile(ours, now) {
		return errors.Join(exchanged(root, from, "written"), Rename(root, to, from))
	}
	return Plain(root, err)
}

// RemoveFolder removes sub, which root has under name, with all that is in it, and
// closes it. Its files are reached through sub, so that another folder that was put
// in its place keeps its own, and its name.
func RemoveFolder(root, sub *os.Root, name string) error {
	ours, err := sub.Stat(".")
	if errors.Is(err, os.ErrClosed) { // by NameFolder
		if sub, err = Folder(root, name); err == nil {
			ours, err = sub.Stat(".")
		}
	}
	if err != nil {
		return Plain(root, err)
	}
	entries, err := ReadDir(sub, ".")
	for _, e := range entries {
		err = errors.Join(err, Plain(sub, sub.RemoveAll(e.Name())))
	}
	sub.Close() // Windows removes no folder that is open
	now, lost := root.Lstat(name)
	if lost == nil && !os.SameFile(ours, now) {
		lost = exchanged(root, name, "written")
	}
	if lost != nil {
		return errors.Join(err, Plain(root, lost))
	}
	return errors.Join(err, Remove(root, name))
}

// exchanged says that something else was put in the place of a name.
func exchanged(root *os.Root, name, while string) error {
	return refusal(root, name, "", "was exchanged while it was "+while+"; find out who else works in "+
		filepath.Clean(root.Name())+", then run the command again")
}
