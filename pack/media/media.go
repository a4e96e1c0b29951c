// Package media writes files to a removable medium so that they are really
// there: limits first, synced, read back past the cache.
//
// All file operations go through an [FS], which is [OS] outside of tests, and the
// [Folder] that it opens. Ask [Folder.FileLimit] and [Folder.Free] first, write with
// [NewParts] and [WriteFile], sync with [Folder.Sync], then [ReadBack] every file. Nothing here
// replaces an existing file, and an operation that failed leaves no file of the
// name it was to make unless removing it failed too.
//
// That a rename is all or nothing even when power fails is no promise of FAT or
// exFAT, which keep no journal: whoever writes must end with a file that proves
// the others.
package media

import (
	"io"
	"os"
)

// An FS is the file system of a medium as this package uses it. mediatest has
// one that fails on demand. Errors are *fs.PathError, *os.LinkError or *durable.Refusal.
type FS interface {
	Open(dir string) (Folder, error) // a folder on the medium, as a person named it
}

// A Folder is an open folder of a medium. It stays the same one whoever renames what,
// and the names are of what lies in it: no path, and no link is followed.
type Folder interface {
	Root() *os.Root                    // the folder itself, to look at, to hold or to take away
	Mkdir(name string) (Folder, error) // makes it, mode 0755, and opens it; must not exist (fs.ErrExist)
	Create(name string) (File, error)  // for writing, mode 0644; must not exist (fs.ErrExist)
	Open(name string) (File, error)    // for reading; plain files only
	Rename(from, to string) error      // file or folder; refuses to replace (fs.ErrExist)
	Remove(name string) error          // a file or an empty folder
	Sync() error                       // makes the names in it durable
	FileLimit() (int64, error)         // bytes of the largest file; 0: no limit that matters
	Free() (int64, error)              // bytes this user may still write; -1: unknown
	Close() error
}

// A File is an open file of an FS.
type File interface {
	io.ReadWriteCloser
	io.ReaderAt
	Sync() error
	WriteBack(off, n int64) error // asks for early write-back of a range; does not wait
	DropCache() bool              // drops what memory holds of the file; false: cannot
}

// FATLimit is the largest file of FAT16 and FAT32, 2^32 - 1 bytes. Source: from
// memory for the last byte; Microsoft's comparison of file systems says 4 GiB.
const FATLimit = 1<<32 - 1
