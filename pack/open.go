package pack

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"syscall"

	"outbreath/pack/durable"
	"outbreath/pack/media"
)

// A staging is a folder next to the one to open into, which takes the bag until
// everything has been found good. Nobody but its owner can read it.
type staging struct {
	into  string
	above *os.Root // the folder of into
	name  string   // in above, until it is named
	named bool
	root  *os.Root        // the folder itself
	next  int64           // bytes of the file that is created next
	made  map[string]bool // folders in it

	written chan *os.File // to be synced and closed
	syncing sync.WaitGroup
	once    sync.Once
	failed  firstError
}

// syncers is how many files are synced at once: for many small files a sync is
// mostly waiting, and a file system can answer several in one go.
const syncers = 16

// askSpace is the size of a file, in bytes, from which space is checked for it alone.
const askSpace = 1 << 20

// newStaging makes the folder. into must not exist. What a killed run left
// behind on its way to the same folder is removed.
func newStaging(into string) (*staging, error) {
	into = filepath.Clean(into)
	parent, base := filepath.Dir(into), filepath.Base(into)
	sum := sha256.Sum256([]byte(base))
	prefix := ".outbreath-open-" + hex.EncodeToString(sum[:6]) + "-"
	s := &staging{into: into, made: make(map[string]bool), written: make(chan *os.File)}
	var err error
	if s.above, err = durable.OpenFolder(parent); err != nil {
		return nil, intoError(parent, err)
	}
	if err = absent(s.above, base); err != nil {
		s.above.Close()
		return nil, err
	}
	if err = clearOut(s.above, prefix); err == nil {
		s.root, s.name, err = durable.NewFolder(s.above, prefix)
	}
	if err != nil {
		s.above.Close()
		return nil, intoError(parent, err)
	}
	for range syncers {
		s.syncing.Go(func() {
			for f := range s.written {
				s.failed.set(f.Sync())
				s.failed.set(f.Close())
			}
		})
	}
	return s, nil
}

// clearOut removes the folders in root whose names begin with prefix.
func clearOut(root *os.Root, prefix string) error {
	entries, err := durable.ReadDir(root, ".")
	for _, e := range entries {
		if err == nil && e.IsDir() && strings.HasPrefix(e.Name(), prefix) {
			err = removeIn(root, e.Name())
		}
	}
	return err
}

func removeIn(root *os.Root, name string) error {
	stale, err := durable.Folder(root, name)
	if err != nil {
		return err
	}
	return durable.RemoveFolder(root, stale, name)
}

// checkSpace refuses what needs more bytes than the disk has, before it is filled.
func (s *staging) checkSpace(need int64) error {
	free, err := media.Free(s.above)
	if err != nil || free < 0 || free >= need {
		return nil // or the writing finds out
	}
	return &MediaError{Path: filepath.Clean(s.above.Name()), Fault: DiskFull, Err: syscall.ENOSPC,
		what: fmt.Sprintf("the disk is too small: %d bytes are free, and at least %d are needed", free, need)}
}

// intoError is the failure of the disk that is unpacked onto.
func intoError(path string, err error) error {
	if explained(err) {
		return err
	}
	if isFull(err) {
		return &MediaError{Path: path, Fault: DiskFull, Err: err, what: "the disk that is unpacked onto is full"}
	}
	return &MediaError{Path: path, Fault: DiskFailed, Err: err}
}

// header takes the size alone: times and owners are those of the folder's owner.
func (s *staging) header(h *[tarBlock]byte) {
	_, s.next, _ = parseTarHeader(h) // of a block that was checked already
}

// create returns a new file at path, which is checked once more not to lead
// out of the folder.
func (s *staging) create(name string) (io.WriteCloser, error) {
	if dir := path.Dir(name); dir != "." && !s.made[dir] {
		if err := s.root.MkdirAll(filepath.FromSlash(dir), 0o700); err != nil {
			return nil, intoError(s.into, durable.Plain(s.root, err))
		}
		for ; dir != "."; dir = path.Dir(dir) {
			s.made[dir] = true
		}
	}
	if s.next > askSpace {
		if err := s.checkSpace(s.next); err != nil {
			return nil, err
		}
	}
	f, err := durable.Create(s.root, filepath.FromSlash(name), 0)
	if err != nil {
		return nil, intoError(s.into, err)
	}
	return &stagedFile{f, s}, nil
}

// commit makes everything durable and gives the folder its name.
func (s *staging) commit() error {
	s.wait()
	err := s.failed.get()
	for dir := range s.made {
		if err == nil {
			err = syncIn(s.root, dir)
		}
	}
	if err == nil {
		err = durable.SyncFolder(s.root)
	}
	if err == nil {
		err = durable.NameFolder(s.above, s.root, s.name, filepath.Base(s.into), func(from, to string) error {
			return durable.Rename(s.above, from, to)
		})
	}
	if errors.Is(err, fs.ErrExist) {
		return &ExistsError{Folder: s.into}
	}
	if err == nil {
		s.named = true
	}
	if err == nil {
		err = durable.SyncFolder(s.above)
	}
	if err != nil {
		return intoError(s.into, err)
	}
	return nil
}

func syncIn(root *os.Root, dir string) error {
	sub, err := durable.Folder(root, filepath.FromSlash(dir))
	if err != nil {
		return err
	}
	defer sub.Close()
	return durable.SyncFolder(sub)
}

// wait ends the syncing.
func (s *staging) wait() {
	s.once.Do(func() { close(s.written) })
	s.syncing.Wait()
}

// remove takes everything away that has not got its name.
func (s *staging) remove() {
	s.wait()
	if !s.named {
		durable.RemoveFolder(s.above, s.root, s.name)
	}
	s.root.Close()
	s.above.Close()
}

// A stagedFile is handed on to be synced when it is closed.
type stagedFile struct {
	f *os.File
	s *staging
}

func (f *stagedFile) Write(b []byte) (int, error) {
	n, err := f.f.Write(b)
	if err != nil {
		err = intoError(f.s.into, err)
	}
	return n, err
}

// Close returns what has failed so far, of this file or of one before; commit
// returns the rest.
func (f *stagedFile) Close() error {
	f.s.written <- f.f
	if err := f.s.failed.get(); err != nil {
		return intoError(f.s.into, err)
	}
	return nil
}

// A firstError keeps the first error that is set.
type firstError struct {
	mu  sync.Mutex
	err error
}

func (e *firstError) set(err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.err == nil {
		e.err = err
	}
}

func (e *firstError) get() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.err
}
