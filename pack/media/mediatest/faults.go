// Package mediatest has a medium that counts what is asked of it and fails when
// told to, for tests.
package mediatest

import (
	"fmt"
	"sync"
	"syscall"

	"outbreath/pack/media"
)

// A Call is one thing asked of a medium.
type Call struct {
	Op    string // "mkdir", "create", "open", "rename", "remove", "syncdir", "write", "writeback", "sync", "read", "close"
	Path  string // of a rename, the new name
	N     int    // from 1, over all calls of that Op
	Bytes int64  // of a write, its length
	Total int64  // written to all files before this call
}

// Faults is a media.FS over another one. Its Calls may be looked at when nothing
// is running.
type Faults struct {
	media.FS // media.OS{} as a rule

	// Fail decides about a call before it is passed on; nil lets all pass. A
	// *Partial error lets a write take only its first bytes. A failed close
	// closes all the same.
	Fail func(Call) error

	// Damage, if not nil, may change bytes that were read.
	Damage func(path string, offset int64, b []byte)

	// Limit and Room, if not zero, stand for FileLimit and Free.
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

func (m *Faults) Mkdir(path string) error {
	if err := m.ask("mkdir", path, 0); err != nil {
		return err
	}
	return m.FS.Mkdir(path)
}

func (m *Faults) Create(path string) (media.File, error) {
	return m.file("create", path, m.FS.Create)
}

func (m *Faults) Open(path string) (media.File, error) {
	return m.file("open", path, m.FS.Open)
}

func (m *Faults) file(op, path string, open func(string) (media.File, error)) (media.File, error) {
	if err := m.ask(op, path, 0); err != nil {
		return nil, err
	}
	f, err := open(path)
	if err != nil {
		return nil, err
	}
	return &file{File: f, m: m, path: path}, nil
}

func (m *Faults) Rename(from, to string) error {
	if err := m.ask("rename", to, 0); err != nil {
		return err
	}
	return m.FS.Rename(from, to)
}

func (m *Faults) Remove(path string) error {
	if err := m.ask("remove", path, 0); err != nil {
		return err
	}
	return m.FS.Remove(path)
}

func (m *Faults) SyncDir(dir string) error {
	if err := m.ask("syncdir", dir, 0); err != nil {
		return err
	}
	return m.FS.SyncDir(dir)
}

func (m *Faults) FileLimit(dir string) (int64, error) {
	if m.Limit != 0 {
		return m.Limit, nil
	}
	return m.FS.FileLimit(dir)
}

func (m *Faults) Free(dir string) (int64, error) {
	if m.Room != 0 {
		return m.Room, nil
	}
	return m.FS.Free(dir)
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
