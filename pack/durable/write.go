package durable

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Replace gives name the bytes data in the given mode, whole or not at all. What had the name
// before is replaced, and not followed if it was a link.
func Replace(root *os.Root, name string, data []byte, mode fs.FileMode) error {
	s, err := Stage(root, name, data, mode)
	if err != nil {
		return err
	}
	return s.Commit()
}

// WriteNew is Replace for a name that must be free; if it is not, the error is fs.ErrExist.
func WriteNew(root *os.Root, name string, data []byte, mode fs.FileMode) error {
	s, err := Stage(root, name, data, mode)
	if err != nil {
		return err
	}
	return s.CommitNew()
}

// A Staged file is whole, under a random name beside its own. The folder's handle must
// stay open until it is committed or discarded.
type Staged struct {
	root       *os.Root
	name, temp string
	info       fs.FileInfo // of the file that was written
}

// Stage writes data to a new file, syncs it and reads it back.
func Stage(root *os.Root, name string, data []byte, mode fs.FileMode) (s *Staged, err error) {
	s = &Staged{root: root, name: name, temp: tempPrefix(name) + randomHex()}
	f, err := Create(root, s.temp, 0)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err = errors.Join(err, f.Close()); err != nil {
			err, s = errors.Join(err, root.Remove(s.temp)), nil
		}
	}()
	if mode &^= 0o600; mode != 0 {
		// On a disk that keeps no modes, or for a file that others merely
		// cannot read, nothing is lost.
		_ = f.Chmod(mode | 0o600)
	}
	n, err := f.Write(data)
	if err == nil && n != len(data) {
		err = io.ErrShortWrite
	}
	if err == nil {
		err = f.Sync()
	}
	if err == nil {
		err = readsBack(f, filepath.Join(root.Name(), name), data)
	}
	if err == nil {
		s.info, err = f.Stat()
	}
	return s, err
}

func readsBack(f *os.File, path string, data []byte) error {
	back := make([]byte, len(data)+1)
	n, err := f.ReadAt(back, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if !bytes.Equal(back[:n], data) {
		return fmt.Errorf("%s reads back otherwise than it was written: this disk cannot be trusted; use another one", path)
	}
	return nil
}

// Commit gives the file its name, durably, in the place of what had it.
func (s *Staged) Commit() error {
	return s.commit(func() error { return s.root.Rename(s.temp, s.name) })
}

// CommitNew gives the file its name if that is free, else the error is fs.ErrExist.
func (s *Staged) CommitNew() error {
	return s.commit(func() error {
		// A second name cannot take the place of anything, as a rename can.
		err := s.root.Link(s.temp, s.name)
		if err == nil {
			return s.root.Remove(s.temp)
		}
		if errors.Is(err, fs.ErrExist) {
			return err
		}
		// FAT and exFAT have no second names: a look must do.
		if _, err := s.root.Lstat(s.name); !errors.Is(err, fs.ErrNotExist) {
			if err == nil {
				err = &fs.PathError{Op: "create", Path: filepath.Join(s.root.Name(), s.name), Err: fs.ErrExist}
			}
			return err
		}
		return s.root.Rename(s.temp, s.name)
	})
}

func (s *Staged) commit(name func() error) error {
	if err := name(); err != nil {
		return errors.Join(err, s.root.Remove(s.temp))
	}
	now, err := s.root.Lstat(s.name)
	if err == nil && (!os.SameFile(now, s.info) || !now.Mode().IsRegular() || !now.ModTime().Equal(s.info.ModTime())) {
		err = refusal(s.root, s.name, "", "was exchanged while it was written; find out who else works in this folder, then run the command again")
	}
	return errors.Join(err, SyncFolder(s.root))
}

// Discard removes the file; nil is none.
func (s *Staged) Discard() {
	if s != nil {
		s.root.Remove(s.temp)
	}
}

// NewFolder makes a folder in root that only this user can enter, under a random name that
// begins with prefix, and opens it. One that somebody put in its place meanwhile
// is refused.
func NewFolder(root *os.Root, prefix string) (sub *os.Root, name string, err error) {
	name = prefix + randomHex()
	if err := root.Mkdir(name, 0o700); err != nil {
		return nil, "", err
	}
	sub, err = Folder(root, name)
	if err != nil {
		return nil, "", err
	}
	ours := false
	info, err := sub.Stat(".")
	if err == nil {
		ours, err = own(root, info)
	}
	if err == nil && !ours {
		err = refusal(root, name, "", "was exchanged while it was made; find out who else works in this folder, then run the command again")
	}
	if err != nil {
		sub.Close()
		return nil, "", err
	}
	return sub, name, nil
}

// Sweep removes what runs that were killed left behind on their way to name. Call
// it only where nobody else writes that name at the same time.
func Sweep(root *os.Root, name string) error {
	entries, err := ReadDir(root, ".")
	if err != nil {
		return err
	}
	for _, e := range entries {
		random, ours := strings.CutPrefix(e.Name(), tempPrefix(name))
		if !ours || len(random) != 2*randomBytes || !e.Type().IsRegular() {
			continue
		}
		if err := root.Remove(e.Name()); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

const randomBytes = 8

// tempPrefix begins the names of the files that become name; the name itself, which
// may be long, does not stand in it.
func tempPrefix(name string) string {
	sum := sha256.Sum256([]byte(name))
	return ".outbreath-new-" + hex.EncodeToString(sum[:4]) + "-"
}

func randomHex() string {
	b := make([]byte, randomBytes)
	rand.Read(b)
	return hex.EncodeToString(b)
}

func sortEntries(entries []fs.DirEntry) {
	slices.SortFunc(entries, func(a, b fs.DirEntry) int { return strings.Compare(a.Name(), b.Name()) })
}
