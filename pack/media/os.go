package media

import (
	"io/fs"
	"os"

	"outbreath/pack/durable"
)

// OS is the operating system's file system.
type OS struct{}

func (OS) Open(dir string) (Folder, error) {
	root, err := durable.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	return osFolder{root}, nil
}

type osFolder struct{ root *os.Root }

func (d osFolder) Root() *os.Root { return d.root }
func (d osFolder) Close() error   { return d.root.Close() }

func (d osFolder) Mkdir(name string) (Folder, error) {
	sub, err := durable.MakeFolder(d.root, name, 0o755)
	if err != nil {
		return nil, err
	}
	return osFolder{sub}, nil
}

func (d osFolder) Create(name string) (File, error) {
	f, err := durable.CreateShared(d.root, name)
	if err != nil {
		return nil, err
	}
	dropCache(f) // on macOS: what is written does not stay in memory; elsewhere there is nothing yet
	return osFile{f}, nil
}

func (d osFolder) Open(name string) (File, error) {
	f, err := durable.Open(d.root, name)
	if err != nil {
		return nil, err
	}
	return osFile{f}, nil
}

func (d osFolder) Rename(from, to string) error { return durable.Rename(d.root, from, to) }
func (d osFolder) Remove(name string) error     { return durable.Remove(d.root, name) }
func (d osFolder) Sync() error                  { return durable.SyncFolder(d.root) }
func (d osFolder) FileLimit() (int64, error)    { return fileLimit(d.root) }
func (d osFolder) Free() (int64, error)         { return Free(d.root) }

// Free returns how many bytes this user may still write to the file system of a
// folder; -1: unknown.
func Free(root *os.Root) (int64, error) { return free(root) }

// An osFile names its path in errors as the person wrote it.
type osFile struct{ *os.File }

func (f osFile) Write(b []byte) (int, error) {
	n, err := f.File.Write(b)
	return n, durable.Plain(nil, err)
}

func (f osFile) Read(b []byte) (int, error) {
	n, err := f.File.Read(b)
	return n, durable.Plain(nil, err)
}

func (f osFile) ReadAt(b []byte, off int64) (int, error) {
	n, err := f.File.ReadAt(b, off)
	return n, durable.Plain(nil, err)
}

func (f osFile) Sync() error  { return durable.Plain(nil, f.File.Sync()) }
func (f osFile) Close() error { return durable.Plain(nil, f.File.Close()) }

func (f osFile) WriteBack(off, n int64) error {
	if err := writeBack(f.File, off, n); err != nil && !notOffered(err) {
		return durable.Plain(nil, &fs.PathError{Op: "write back", Path: f.Name(), Err: err})
	}
	return nil
}

func (f osFile) DropCache() bool { return dropCache(f.File) }
