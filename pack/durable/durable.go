// Package durable opens, reads and writes files in folders that other people may
// write to as well: a collection on a shared drive, a medium, a folder for receipts.
//
// A folder is opened once, by [OpenFolder]; from then on everything goes through
// that handle, so that it stays the same folder whoever renames what. In it only
// plain files are opened. A link is never followed; a pipe, a device or a socket
// is refused and not waited for: [Open], [Read]. What is written gets a new file
// under a random name, which is synced, read back and then renamed: [Replace],
// [WriteNew], [Stage]. So a name that leads elsewhere is replaced and never
// written through. Only a log that grows is opened to be changed in place, and it
// must have no second name: [OpenToChange].
//
// What this cannot do: whoever may write to a folder can take away or exchange
// what lies there. That is for signatures to show.
package durable

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// A Refusal reports a name of something that is not opened. Its text
// says what to do.
type Refusal struct {
	Path string
	Is   string // "a link", "a named pipe" ...; "" for a plain file
	Msg  string // from "is" on
}

func (e *Refusal) Error() string { return e.Path + ": " + e.Msg }

func refusal(root *os.Root, name, is, msg string) *Refusal {
	return &Refusal{Path: filepath.Join(root.Name(), name), Is: is, Msg: msg}
}

// Kind names what is not an ordinary file, or returns "".
func Kind(mode fs.FileMode) string {
	switch {
	case mode.IsRegular():
		return ""
	case mode&fs.ModeSymlink != 0:
		return "a link"
	case mode.IsDir():
		return "a folder"
	case mode&fs.ModeNamedPipe != 0:
		return "a named pipe"
	case mode&fs.ModeSocket != 0:
		return "a socket"
	case mode&fs.ModeDevice != 0:
		return "a device"
	}
	return "something else" // a reparse point of Windows
}

// notPlain returns a *Refusal if info is not of a plain file.
func notPlain(root *os.Root, name string, info fs.FileInfo) error {
	is := Kind(info.Mode())
	if is == "" {
		return nil
	}
	return refusal(root, name, is, "is "+is+", not an ordinary file, so it was not opened; find out who put it there, "+
		"and put the file itself in its place or move it away")
}

// OpenFolder opens a folder, whatever links lead to it: the person named it.
// Anything else of that name is refused at once, a pipe too.
func OpenFolder(dir string) (*os.Root, error) { return openFolder(dir) }

// Folder opens the folder called name in root, which must be no link.
func Folder(root *os.Root, name string) (*os.Root, error) {
	before, err := Lstat(root, name)
	if err != nil {
		return nil, err
	}
	if !before.IsDir() {
		return nil, refusal(root, name, Kind(before.Mode()), "is not a folder; put the folder itself in its place")
	}
	sub, err := root.OpenRoot(name + folderSuffix)
	if err != nil {
		return nil, Plain(root, err)
	}
	now, err := sub.Stat(".")
	if err == nil && !os.SameFile(before, now) {
		err = exchanged(root, name, "opened")
	}
	if err != nil {
		sub.Close()
		return nil, Plain(sub, err)
	}
	return sub, nil
}

// At opens the folder of a file that a person named, and returns the file's name in it.
func At(path string) (root *os.Root, name string, err error) {
	path = filepath.Clean(path)
	name = filepath.Base(path)
	if !filepath.IsLocal(name) || name == "." {
		return nil, "", &Refusal{Path: path, Msg: "is not a file name; give another one"}
	}
	root, err = OpenFolder(filepath.Dir(path))
	return root, name, err
}

// Open opens a plain file for reading. The error is a *[Refusal] for anything
// else, or one of the operating system.
func Open(root *os.Root, name string) (*os.File, error) {
	return open(root, name, os.O_RDONLY)
}

// OpenToChange opens a plain file that is there to be changed in place; flag is
// os.O_RDWR or os.O_WRONLY, and os.O_APPEND. A file with a second name (a hard link)
// is refused: it may be somebody's own file, elsewhere.
func OpenToChange(root *os.Root, name string, flag int) (*os.File, error) {
	f, err := open(root, name, flag&(os.O_RDWR|os.O_WRONLY|os.O_APPEND))
	if err != nil {
		return nil, err
	}
	n, err := links(f)
	if err == nil && n > 1 {
		err = refusal(root, name, "", secondName)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// Alone refuses what [OpenToChange] would, without opening it: for a library that opens
// the file itself. A file that is not there is fs.ErrNotExist.
func Alone(root *os.Root, name string) error {
	info, err := Lstat(root, name)
	if err != nil {
		return err
	}
	if err := notPlain(root, name, info); err != nil {
		return err
	}
	if namesOf(info) > 1 {
		return refusal(root, name, "", secondName)
	}
	return nil
}

const secondName = "has a second name elsewhere (a hard link), so nothing was written to it; find out who made it, " +
	"put a copy in its place (copy the file, remove it, give the copy its name), and run the command again"

// open opens the file that Lstat saw, and no other.
func open(root *os.Root, name string, flag int) (*os.File, error) {
	before, err := Lstat(root, name)
	if err != nil {
		return nil, err
	}
	if err := notPlain(root, name, before); err != nil {
		return nil, err
	}
	f, err := root.OpenFile(name, flag|noWait, 0)
	if err != nil {
		if now, again := root.Lstat(name); again == nil && notPlain(root, name, now) != nil {
			return nil, notPlain(root, name, now)
		}
		return nil, Plain(root, err)
	}
	now, err := f.Stat()
	if err == nil && (!now.Mode().IsRegular() || !os.SameFile(before, now)) {
		err = exchanged(root, name, "opened")
	}
	if err != nil {
		f.Close()
		return nil, Plain(root, err)
	}
	return f, nil
}

// A TooLargeError says that a file has more bytes than its reader takes.
type TooLargeError struct {
	Path  string
	Limit int64
}

func (e *TooLargeError) Error() string {
	return fmt.Sprintf("%s: longer than %d bytes; check that it is the right file", e.Path, e.Limit)
}

// Read reads a plain file of at most limit bytes. In addition to the errors of [Open],
// there is a *[TooLargeError].
func Read(root *os.Root, name string, limit int64) ([]byte, error) {
	f, err := Open(root, name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = &TooLargeError{filepath.Join(root.Name(), name), limit}
	}
	return data, Plain(root, err)
}

// ReadDir lists a folder in root, "." for root itself, through a handle: a link or
// a pipe that came in its place is not followed and not waited for.
func ReadDir(root *os.Root, name string) ([]fs.DirEntry, error) {
	if name != "." {
		info, err := Lstat(root, name)
		if err != nil {
			return nil, err
		}
		if !info.IsDir() {
			return nil, refusal(root, name, Kind(info.Mode()), "is not a folder; put the folder itself in its place")
		}
	}
	d, err := root.OpenFile(name, os.O_RDONLY|onlyFolder|noWait, 0)
	if err != nil {
		return nil, Plain(root, err)
	}
	defer d.Close()
	entries, err := d.ReadDir(-1)
	sortEntries(entries)
	return entries, Plain(root, err)
}

// Create makes a file that is not there yet, for reading and writing, in mode 0600;
// flag may add os.O_APPEND. Whatever has the name already, a link too, is fs.ErrExist.
func Create(root *os.Root, name string, flag int) (*os.File, error) {
	return create(root, name, os.O_RDWR|flag&os.O_APPEND, 0o600)
}

// CreateShared is Create for what is written only, and what others may read: mode 0644.
func CreateShared(root *os.Root, name string) (*os.File, error) {
	return create(root, name, os.O_WRONLY, 0o644)
}

func create(root *os.Root, name string, flag int, mode fs.FileMode) (*os.File, error) {
	f, err := root.OpenFile(name, flag|os.O_CREATE|os.O_EXCL, mode)
	return f, created(root, err)
}

// SyncFolder makes the names in root durable, where the system offers that.
func SyncFolder(root *os.Root) error {
	d, err := root.OpenFile(".", os.O_RDONLY|onlyFolder, 0)
	if err != nil {
		return Plain(root, err)
	}
	err = d.Sync()
	if notOffered(err) {
		err = nil
	}
	return errors.Join(Plain(root, err), d.Close())
}
