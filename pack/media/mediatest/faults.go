// Package mediatest has a medium that counts what is asked of it and fails when
// asked to, for tests.
package mediatest

import (
	"fmt"
	"path/filepath"
	"sync"
	"syscall"

	"outbreath/pack/media"
)

// A Call is one thing asked of a medium.
type Call struct {
	// "mkdir", "create", "open", "rename", "remove", "syncdir", "write", "writeback", "sync", "read", "close"
	Op    string
	Path  string // of a rename, the new name
	N     int    // from 1, over all calls of that Op
	Bytes int64  // of a write, its length
	Total int64  // written to all files before this call
}

// Faults is a media.FS over another one. Its Calls may be looked at when nothing
// is running.
type Faults struct {
	FS media.FS // media.OS{} as a rule

	// Fail decides about a call before it is passed on; nil lets all pass. A
	// *Partial error lets a write take only its first bytes. A failed close
	// closes all the same.
	Fail func(Call) error

	// Damage, if not nil, may change bytes that were read.
	Damage func(path string, offset int64, b []byte)

	// Limit and Room, if not zero, replace FileLimit and Free.
	Limit, Room int64

	mu    sync.Mutex
	Calls []Call
	n     map[string]int
	total int64
}

// Partial is a write that took its first Wrote bytes and then failed with Err;
// nil for a medium that says nothing.
type Partial struct {
	Wrote int
	Err   error
}

func (p *Partial) Error() string { return fmt.Sprintf("after %d bytes: %v", p.Wrote, p.Err) }

// Nth fails the nth call of op (from 1).
func Nth(op string, n int, err error) func(Call) error {
	return func(c Call) error {
		if c.Op == op && c.N == n {
			return err
		}
		return nil
	}
}

// FullAt is a medium with room for n bytes: the write that would go beyond them
// takes what fits, and all further ones nothing (ENOSPC).
func FullAt(n int64) func(Call) error {
	return func(c Call) error {
		if c.Op != "write" || c.Total+c.Bytes <= n {
			return nil
		}
		return &Partial{int(max(0, n-c.Total)), syscall.ENOSPC}
	}
}

// Count returns how often op was asked for.
func (m *Faults) Count(op string) int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.n[op]
}

func (m *Faults) ask(op, path string, bytes int) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.n == nil {
		m.n = make(map[string]int)
	}
	m.n[op]++
	c := Call{op, path, m.n[op], int64(bytes), m.total}
	m.Calls = append(m.Calls, c)
	if m.Fail == nil {
		return nil
	}
	return m.Fail(c)
}

// Open is not counted: a medium that cannot be opened is no medium.
func (m *Faults) Open(dir string) (media.Folder, error) {
	under, err := m.FS.Open(dir)
	if err != nil {
		return nil, err
	}
	return &folder{under, m}, nil
}

type folder struct {
	media.Folder
	m *Faults
}

func (d *folder) path(name string) string { return filepath.Join(d.Root().Name(), name) }

func (d *folder) Mkdir(name string) (media.Folder, error) {
	if err := d.m.ask("mkdir", d.path(name), 0); err != nil {
		return nil, err
	}
	sub, err := d.Folder.Mkdir(name)
	if err != nil {
		return nil, err
	}
	return &folder{sub, d.m}, nil
}

func (d *folder) Create(name string) (media.File, error) {
	return d.file("create", name, d.Folder.Create)
}

func (d *folder) Open(name string) (media.File, error) {
	return d.file("open", name, d.Folder.Open)
}

func (d *folder) file(op, name string, open func(string) (media.File, error)) (media.File, error) {
	if err := d.m.ask(op, d.path(name), 0); err != nil {
		return nil, err
	}
	f, err := open(name)
	if err != nil {
		return nil, err
	}
	return &file{File: f, m: d.m, path: d.path(name)}, nil
}

func (d *folder) Rename(from, to string) error {
	if err := d.m.ask("rename", d.path(to), 0); err != nil {
		return err
	}
	return d.Folder.Rename(from, to)
}

func (d *folder) Remove(name string) error {
	if err := d.m.ask("remove", d.path(name), 0); err != nil {
		return err
	}
	return d.Folder.Remove(name)
}

func (d *folder) Sync() error {
	if err := d.m.ask("syncdir", d.path(""), 0); err != nil {
		return err
	}
	return d.Folder.Sync()
}

func (d *folder) FileLimit() (int64, error) {
	if d.m.Limit != 0 {
		return d.m.Limit, nil
	}
	return d.Folder.FileLimit()
}

func (d *folder) Free() (int64, error) {
	if d.m.Room != 0 {
		return d.m.Room, nil
	}
	return d.Folder.Free()
}

type file struct {
	media.File
	m      *Faults
	path   string
	offset int64 // of the next read
}

func (f *file) Write(b []byte) (n int, err error) {
	err = f.m.ask("write", f.path, len(b))
	p, partial := err.(*Partial)
	switch {
	case partial:
		if n, err = f.File.Write(b[:min(p.Wrote, len(b))]); err == nil {
			err = p.Err
		}
	case err == nil:
		n, err = f.File.Write(b)
	}
	f.m.mu.Lock()
	f.m.total += int64(n)
	f.m.mu.Unlock()
	return n, err
}

func (f *file) Read(b []byte) (int, error) {
	if err := f.m.ask("read", f.path, 0); err != nil {
		return 0, err
	}
	n, err := f.File.Read(b)
	if f.m.Damage != nil {
		f.m.Damage(f.path, f.offset, b[:n])
	}
	f.offset += int64(n)
	return n, err
}

func (f *file) ReadAt(b []byte, off int64) (int, error) {
	if err := f.m.ask("read", f.path, 0); err != nil {
		return 0, err
	}
	n, err := f.File.ReadAt(b, off)
	if f.m.Damage != nil {
		f.m.Damage(f.path, off, b[:n])
	}
	return n, err
}

func (f *file) WriteBack(off, n int64) error {
	if err := f.m.ask("writeback", f.path, 0); err != nil {
		return err
	}
	return f.File.WriteBack(off, n)
}

func (f *file) Sync() error {
	if err := f.m.ask("sync", f.path, 0); err != nil {
		return err
	}
	return f.File.Sync()
}

func (f *file) Close() error {
	asked := f.m.ask("close", f.path, 0)
	err := f.File.Close()
	if asked != nil {
		return asked
	}
	return err
}
