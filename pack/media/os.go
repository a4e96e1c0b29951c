package media

import (
	"errors"
	"io/fs"
	"os"

	"outbreath/pack/durable"
)

// OS is the operating system's file system.
type OS struct{}

type osFile struct{ *os.File }

func (OS) Mkdir(path string) error { return os.Mkdir(path, 0o755) }

func (OS) Create(path string) (File, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, err
	}
	dropCache(f) // on macOS: what is written does not stay in memory; elsewhere there is nothing yet
	return osFile{f}, nil
}

func (OS) Open(path string) (File, error) {
	root, name, err := durable.At(path)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	f, err := durable.Open(root, name)
	if err != nil {
		return nil, err
	}
	return osFile{f}, nil
}

func (OS) Rename(from, to string) error { return renameNew(from, to) }
func (OS) Remove(path string) error     { return os.Remove(path) }

// SyncDir syncs a folder. Where the system or the file system offers no such
// thing, as Windows and some FUSE file systems, it does nothing.
func (OS) SyncDir(dir string) error {
	root, err := durable.OpenFolder(dir)
	if err != nil {
		return err
	}
	return errors.Join(durable.SyncFolder(root), root.Close())
}

func (OS) FileLimit(dir string) (int64, error) { return fileLimit(dir) }
func (OS) Free(dir string) (int64, error)      { return free(dir) }

func (f osFile) WriteBack(off, n int64) error {
	if err := writeBack(f.File, off, n); err != nil && !notOffered(err) {
		return &fs.PathError{Op: "write back", Path: f.Name(), Err: err}
	}
	return nil
}

func (f osFile) DropCache() bool { return dropCache(f.File) }

// lstatRename renames where the system cannot refuse to replace by itself. The
// moment between look and rename is open to another program, not to another of
// ours: shipments are numbered under a lock.
func lstatRename(from, to string) error {
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = fs.ErrExist
		}
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	return os.Rename(from, to)
}
