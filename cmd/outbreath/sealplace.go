package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"outbreath/pack/custody"
	"outbreath/pack/durable"
)

// holdCollection keeps a second seal away from the collection. A missing
// collection is told later.
func holdCollection(dir string) (release func(), err error) {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return func() {}, nil
	}
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
		return nil, &overtakenError{"another seal is at work on " + quoted(dir) + " at this moment", "wait until it has ended, then seal again; nothing was changed", ""}
	}
	if err := custody.Writable(root, custodyFile); err != nil {
		release()
		return nil, fmt.Errorf("%s: seal keeps its log %s there and cannot write it: %w", quoted(dir), custodyFile, err)
	}
	return release, nil
}

// A state is the files of a collection with their marks: size, time of the last
// change, mode.
type state map[string]fileState

type fileState struct {
	size    int64
	changed time.Time
	mode    fs.FileMode
}

// stateOf looks at every file that a seal reads, or could. What this program
// writes itself, custody.jsonl with what belongs to it and packing.json, is left out, and so are
// hidden files and other folders.
func stateOf(dir string) (state, error) {
	s := state{}
	root, err := durable.OpenFolder(dir)
	if notExist(err) {
		return s, nil // told later
	}
	if err != nil {
		return nil, err
	}
	defer root.Close()
	for _, sub := range []string{".", "sessions", "recordings"} {
		entries, err := durable.ReadDir(root, sub)
		if errors.As(err, new(*durable.Refusal)) {
			continue // told when the collection is loaded
		}
		if notExist(err) {
			continue
		}
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if e.IsDir() || strings.HasPrefix(e.Name(), ".") || sub == "." && (strings.HasPrefix(e.Name(), "custody.") || e.Name() == packingFile) {
				continue
			}
			info, err := e.Info()
			if notExist(err) {
				continue // it counts as removed
			}
			if err != nil {
				return nil, err
			}
			s[filepath.ToSlash(filepath.Join(sub, e.Name()))] = fileState{info.Size(), info.ModTime(), info.Mode()}
		}
	}
	return s, nil
}

// same says which file was changed, added or removed between two looks.
func (s state) same(now state) error {
	for _, name := range sortedKeys(s) {
		later, ok := now[name]
		switch was := s[name]; {
		case !ok:
			return changedMeanwhile(name, "removed")
		case later.size != was.size || !later.changed.Equal(was.changed) || later.mode != was.mode:
			return changedMeanwhile(name, "changed")
		}
	}
	for _, name := range sortedKeys(now) {
		if _, ok := s[name]; !ok {
			return changedMeanwhile(name, "added")
		}
	}
	return nil
}

func changedMeanwhile(name, what string) error {
	return &overtakenError{quoted(name) + " was " + what + " while the collection was being sealed; nothing was sealed", "close the programs that use the collection, run check again, then seal", name}
}
