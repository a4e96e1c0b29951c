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

// mediaApart refuses a medium that is missing, that lies in the collection, or
// that holds the collection or the keys: whoever gets it would get the roster.
func mediaApart(collection string, o *options, media []string) error {
	keys, err := o.dir()
	if err != nil {
		return err
	}
	for _, m := range media {
		info, err := os.Stat(m)
		if err != nil || !info.IsDir() {
			return usagef("plug the medium in, or correct the name", "there is no folder at %s", quoted(m))
		}
		for _, c := range []struct{ inner, outer, msg, do string }{
			{m, collection, "the shipment must not be written into the collection itself", "name a folder on the medium"},
			{collection, m, "the collection lies on the medium itself, and whoever gets the medium would get the roster", "move the collection to the site's own computer, erase it from the medium as your site's rules say, then seal"},
			{keys, m, "the key folder lies on the medium itself, and whoever gets the medium would get the keys", "keep the keys apart from the medium, and tell the privacy officer if that medium has left the site before"},
		} {
			inside, err := below(c.inner, c.outer)
			if err != nil {
				return err
			}
			if inside {
				return usagef(c.do, "%s: %s", quoted(m), c.msg)
			}
		}
		if err := mediumFits(m); err != nil {
			return err
		}
	}
	return nil
}

// below says whether inner is the folder outer or lies in it, under whatever
// name: links and mounts are followed, letter case is the file system's.
func below(inner, outer string) (bool, error) {
	want, err := os.Stat(outer)
	if err != nil {
		return false, err
	}
	at, err := filepath.Abs(inner)
	if err == nil {
		at, err = filepath.EvalSymlinks(at)
	}
	if notExist(err) {
		return false, nil // keys that are not there are missed later
	}
	if err != nil {
		return false, err
	}
	for {
		info, err := os.Stat(at)
		if err != nil {
			return false, err
		}
		if os.SameFile(info, want) {
			return true, nil
		}
		up := filepath.Dir(at)
		if up == at {
			return false, nil
		}
		at = up
	}
}

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
