// Package media writes files to a removable medium so that they are really
// there: limits first, synced, read back past the cache.
//
// All file operations go through an [FS], which is [OS] outside of tests.
// Callers need [NewParts] or [WriteFile], and [ReadBack].
package media

import (
	"context"
	"io"
)

// An FS is the file system of a medium as this package uses it. mediatest has
// one that fails on demand.
type FS interface {
	Mkdir(path string) error             // mode 0755; must not exist
	Create(path string) (File, error)    // for writing, mode 0644; must not exist
	Open(path string) (File, error)      // for reading
	Rename(from, to string) error        // file or folder; refuses to replace (fs.ErrExist)
	Remove(path string) error            // a file or an empty folder
	SyncDir(dir string) error            // makes names in dir durable
	FileLimit(dir string) (int64, error) // bytes of the largest file; 0: no limit that matters
	Free(dir string) (int64, error)      // bytes available
}

// A File is an open file of an FS.
type File interface {
	io.ReadWriteCloser
	Sync() error
	WriteBack(off, n int64) error // asks for early write-back of a range; does not wait
	DropCache() bool              // drops what memory holds of the file; false: cannot
}

// OS is the operating system's file system.
type OS struct{}

// A Part is one file that Parts wrote.
type Part struct {
	Name   string // in the folder
	Bytes  int64
	SHA256 [32]byte
}

// Parts writes one stream as a file or, where a limit asks for it, several.
type Parts struct{}

// NewParts returns a writer of base, or of base.001, base.002 ... in dir, none
// longer than limit bytes (0: no limit).
func NewParts(fsys FS, dir, base string, limit int64) *Parts { panic("todo") }

func (p *Parts) Write(b []byte) (int, error) { panic("todo") }

// Finish syncs the last part and gives a single one the name base.
func (p *Parts) Finish() ([]Part, error) { panic("todo") }

// Abort closes and removes what was written; after Finish it does nothing.
func (p *Parts) Abort() error { panic("todo") }

// WriteFile writes a new file, synced. A failed one is removed.
func WriteFile(fsys FS, dir, name string, data []byte) error { panic("todo") }

// ReadBack reads a synced file from the medium and compares it. dropped tells
// whether the operating system's cache of it could be dropped first; if not,
// the bytes may have come from memory. Other bytes are a *MismatchError.
func ReadBack(ctx context.Context, fsys FS, path string, want [32]byte, size int64) (dropped bool, err error) {
	panic("todo")
}

// A MismatchError says that a file gave other bytes than were written to it.
type MismatchError struct{ Path string }

func (e *MismatchError) Error() string { panic("todo") }

// PortableName says whether every system can hold a file of that name.
func PortableName(name string) error { panic("todo") }

// Explain says in words what a failed file operation means and what to do, for
// the failures that media have; "" and "" for any other.
func Explain(err error) (what, do string) { panic("todo") }

func (OS) Mkdir(path string) error             { panic("todo") }
func (OS) Create(path string) (File, error)    { panic("todo") }
func (OS) Open(path string) (File, error)      { panic("todo") }
func (OS) Rename(from, to string) error        { panic("todo") }
func (OS) Remove(path string) error            { panic("todo") }
func (OS) SyncDir(dir string) error            { panic("todo") }
func (OS) FileLimit(dir string) (int64, error) { panic("todo") }
func (OS) Free(dir string) (int64, error)      { panic("todo") }
