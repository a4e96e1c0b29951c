package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// A stagedPage is a page that is whole under a temporary name beside its own.
type stagedPage struct{ path, temp string }

// stagePage writes data under a temporary name in the folder of path.
func stagePage(path string, data []byte) (p *stagedPage, err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".outbreath-page-*")
	if err != nil {
		return nil, usagef("name a folder that exists and may be written to", "%s cannot be written", quoted(path))
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("%s was not written: %w", quoted(path), err), os.Remove(f.Name()))
		}
	}()
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	return &stagedPage{path, f.Name()}, err
}

// commit gives the page its name.
func (p *stagedPage) commit() error {
	if err := os.Rename(p.temp, p.path); err != nil {
		p.discard()
		return fmt.Errorf("%s was not written: %w", quoted(p.path), err)
	}
	p.temp = ""
	return nil
}

// discard removes a page that has not been committed. A nil page is none.
func (p *stagedPage) discard() {
	if p != nil && p.temp != "" {
		os.Remove(p.temp)
		p.temp = ""
	}
}
