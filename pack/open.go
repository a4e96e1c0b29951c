package pack

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"

	"outbreath/pack/media"
)

// A staging is a folder beside the one to open into, which takes the bag until
// everything has been found good. Nobody but its owner can read it.
type staging struct {
	into, dir string
	root      *os.Root
	made      map[string]bool // folders in it
}

// newStaging makes the folder. into must not exist. What a killed run left
// behind on its way to the same folder is removed.
func newStaging(into string) (*staging, error) {
	into = filepath.Clean(into)
	if err := absent(into); err != nil {
		return nil, err
	}
	parent, base := filepath.Split(into)
	if parent == "" {
		parent = "."
	}
	sum := sha256.Sum256([]byte(base))
	prefix := ".outbreath-open-" + hex.EncodeToString(sum[:6]) + "-"
	entries, err := os.ReadDir(parent)
	if err != nil {
		return nil, mediaError(parent, err)
	}
	for _, e := range entries {
		if e.IsDir() && strings.HasPrefix(e.Name(), prefix) {
			if err := os.RemoveAll(filepath.Join(parent, e.Name())); err != nil {
				return nil, mediaError(parent, err)
			}
		}
	}
	random := make([]byte, 8)
	rand.Read(random)
	s := &staging{into: into, dir: filepath.Join(parent, prefix+hex.EncodeToString(random)), made: make(map[string]bool)}
	if err := os.Mkdir(s.dir, 0o700); err != nil {
		return nil, mediaError(parent, err)
	}
	if s.root, err = os.OpenRoot(s.dir); err != nil {
		os.Remove(s.dir)
		return nil, mediaError(parent, err)
	}
	return s, nil
}

// create returns a new file at path, which is checked once more not to lead
// out of the folder.
func (s *staging) create(name string) (io.WriteCloser, error) {
	if dir := path.Dir(name); dir != "." && !s.made[dir] {
		if err := s.root.MkdirAll(filepath.FromSlash(dir), 0o700); err != nil {
			return nil, mediaError(s.into, err)
		}
		for ; dir != "."; dir = path.Dir(dir) {
			s.made[dir] = true
		}
	}
	f, err := s.root.OpenFile(filepath.FromSlash(name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, mediaError(s.into, err)
	}
	return &stagedFile{f, s.into}, nil
}

// commit makes everything durable and gives the folder its name.
func (s *staging) commit() error {
	fsys := media.OS{}
	err := s.root.Close()
	for dir := range s.made {
		if err == nil {
			err = fsys.SyncDir(filepath.Join(s.dir, filepath.FromSlash(dir)))
		}
	}
	if err == nil {
		err = fsys.SyncDir(s.dir)
	}
	if err == nil {
		err = absent(s.into)
	}
	if err == nil {
		err = fsys.Rename(s.dir, s.into)
	}
	if err == nil {
		err = fsys.SyncDir(filepath.Dir(s.into))
	}
	if err != nil {
		return mediaError(s.into, err)
	}
	return nil
}

// remove takes everything away. After commit it finds nothing.
func (s *staging) remove() {
	s.root.Close()
	os.RemoveAll(s.dir)
}

// A stagedFile is synced when it is closed.
type stagedFile struct {
	*os.File
	into string
}

func (f *stagedFile) Write(b []byte) (int, error) {
	n, err := f.File.Write(b)
	if err != nil {
		err = mediaError(f.into, err)
	}
	return n, err
}

func (f *stagedFile) Close() error {
	err := f.File.Sync()
	if e := f.File.Close(); err == nil {
		err = e
	}
	if err != nil {
		return mediaError(f.into, err)
	}
	return nil
}
