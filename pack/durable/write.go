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

// Replace gives name the bytes data in the given mode, completely or not at all. What had the name
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

// WriteTwo is WriteNew for two files that belong together, the first before the second;
// neither is there if one cannot be written. failed is the name of that one.
func WriteTwo(root *os.Root, first string, one []byte, second string, two []byte, mode fs.FileMode) (failed string,
	err error) {
	if err := WriteNew(root, first, one, mode); err != nil {
		return first, err
	}
	if err := WriteNew(root, second, two, mode); err != nil {
		return second, errors.Join(err, Remove(root, first))
	}
	return "", nil
}

// A Staged file is complete, under a random name in the same folder. The folder's handle must
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
			err, s = errors.Join(err, Remove(root, s.temp)), nil
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
	if err = Plain(root, err); err == nil {
		err = readsBack(f, filepath.Join(root.Name(), name), data)
	}
	if err == nil {
		s.info, err = f.Stat()
	}
	return s, Plain(root, err)
}

func readsBack(f *os.File, path string, data []byte) error {
	back := make([]byte, len(data)+1)
	n, err := f.ReadAt(back, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if !bytes.Equal(back[:n], data) {
		return fmt.Errorf("%s reads back otherwise than it was written: this disk cannot be trusted; use another one",
			path)
	}
	return nil
}

// Commit gives the file its name, durably, in the place of what had it.
func (s *Staged) Commit() error {
	return s.commit(func() error { return Plain(s.root, s.root.Rename(s.temp, s.name)) })
}

// CommitNew gives the file its name if that is free, else the error is fs.ErrExist.
func (s *Staged) CommitNew() error {
	return s.commit(func() error {
		// A second name cannot take the place of anything, as a rename can.
		err := s.root.Link(s.temp, s.name)
		if err == nil {
			return Remove(s.root, s.temp)
		}
		if errors.Is(err, fs.ErrExist) {
			return Plain(s.root, err)
		}
		return Rename(s.root, s.temp, s.name) // FAT and exFAT have no second names
	})
}

func (s *Staged) commit(name func() error) error {
	if err := name(); err != nil {
		return errors.Join(err, Remove(s.root, s.temp))
	}
	now, err := Lstat(s.root, s.name)
	if err == nil && (!os.SameFile(now, s.info) || !now.Mode().IsRegular() || !now.ModTime().Equal(s.info.ModTime())) {
		err = exchanged(s.root, s.name, "written")
	}
	return errors.Join(err, SyncFolder(s.root))
}

// Discard removes the file; nil is none.
func (s *Staged) Discard() {
	if s != nil {
		s.root.Remove(s.temp)
	}
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
		if err := Remove(root, e.Name()); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

const randomBytes = 8

// tempPrefix begins the names of the files that become name; the name itself, which
// may be long, is not part of it.
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
