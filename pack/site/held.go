package site

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"outbreath/pack/custody"
	"outbreath/pack/durable"
)

// PackingName is the file of a collection that holds what was scanned while its box is
// being packed.
const PackingName = "packing.json"

// A Held collection is one that a seal works on: no second seal does, and every file
// that the seal reads, or could, was looked at when it began.
type Held struct {
	dir     string
	before  fileStates
	release func()
}

// A SealAtWorkError says that another seal is at work on the collection.
type SealAtWorkError struct{ Dir string } // as it was named

func (e *SealAtWorkError) Error() string {
	return "another seal is at work on " + durable.Quote(e.Dir) + " at this moment"
}

// A SourceChangedError says that a file of the collection changed while it was being
// sealed. Nothing was sealed.
type SourceChangedError struct {
	File string // slash-separated, relative to the collection
	How  string // "changed", "added" or "removed"
}

func (e *SourceChangedError) Error() string {
	return durable.Quote(e.File) + " was " + e.How + " while the collection was being sealed; nothing was sealed"
}

// Hold keeps other seals away from the collection folder dir until [Held.Release], and
// notes the state of its files. A folder that is missing is reported by who loads it.
// The error may be a *[SealAtWorkError].
func Hold(dir string) (*Held, error) {
	h := &Held{dir: dir, release: func() {}}
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		if h.release, err = holdFolder(dir); err != nil {
			return nil, err
		}
	}
	var err error
	if h.before, err = statesOf(dir); err != nil {
		h.release()
		return nil, err
	}
	return h, nil
}

// Release lets other seals have the collection.
func (h *Held) Release() { h.release() }

// Unchanged reports a *[SourceChangedError] if a file was changed, added or removed
// since [Hold].
func (h *Held) Unchanged() error {
	now, err := statesOf(h.dir)
	if err != nil {
		return err
	}
	return h.before.same(now)
}

func holdFolder(dir string) (release func(), err error) {
	root, err := durable.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	release, held, err := custody.Hold(root)
	if err != nil {
		return nil, err
	}
	if !held {
		return nil, &SealAtWorkError{dir}
	}
	if err := custody.Writable(root, LogName); err != nil {
		release()
		return nil, fmt.Errorf("%s: seal keeps its log %s there and cannot "+
			"write it: %w", durable.Quote(dir), LogName, err)
	}
	return release, nil
}

// fileStates are the files of a collection, by name, with their marks.
type fileStates map[string]fileState

type fileState struct {
	size    int64
	changed time.Time
	mode    fs.FileMode
}

// statesOf looks at every file that a seal reads, or could. What this program writes
// itself, custody.jsonl with what belongs to it and packing.json, is left out, and so
// are hidden files and other folders.
func statesOf(dir string) (fileStates, error) {
	s := fileStates{}
	root, err := durable.OpenFolder(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err != nil {
		return nil, err
	}
	defer root.Close()
	for _, sub := range []string{".", "sessions", "recordings"} {
		if err := s.add(root, sub); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// add looks at the files of one folder. One that is missing, or no folder, is reported
// by who loads the collection.
func (s fileStates) add(root *os.Root, sub string) error {
	entries, err := durable.ReadDir(root, sub)
	if errors.As(err, new(*durable.Refusal)) || errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, e := range entries {
		ours := sub == "." && (strings.HasPrefix(e.Name(), "custody.") || e.Name() == PackingName)
		if e.IsDir() || ours || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		info, err := e.Info()
		if errors.Is(err, fs.ErrNotExist) {
			continue // it counts as removed
		}
		if err != nil {
			return err
		}
		s[filepath.ToSlash(filepath.Join(sub, e.Name()))] = fileState{info.Size(), info.ModTime(), info.Mode()}
	}
	return nil
}

// same names a file that was changed, added or removed between two looks.
func (s fileStates) same(now fileStates) error {
	for _, name := range slices.Sorted(maps.Keys(s)) {
		later, ok := now[name]
		switch was := s[name]; {
		case !ok:
			return &SourceChangedError{name, "removed"}
		case later.size != was.size || !later.changed.Equal(was.changed) || later.mode != was.mode:
			return &SourceChangedError{name, "changed"}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(now)) {
		if _, ok := s[name]; !ok {
			return &SourceChangedError{name, "added"}
		}
	}
	return nil
}
