package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"outbreath/pack/durable"
)

// A stagedPage is a complete page under a temporary name in the folder of its final one.
type stagedPage struct {
	path string
	root *os.Root // of its folder
	file *durable.Staged
}

// outputFolder opens the folder in which path is to be written.
func outputFolder(path string) (root *os.Root, name string, err error) {
	if root, name, err = durable.At(path); err != nil {
		err = usagef("name an existing folder that you may write to", "%s cannot be written", quoted(path))
	}
	return root, name, err
}

// stagePage writes data under a temporary name in the folder of path.
func stagePage(path string, data []byte) (*stagedPage, error) {
	root, name, err := outputFolder(path)
	if err != nil {
		return nil, err
	}
	file, err := durable.Stage(root, name, data, 0o600)
	if err != nil {
		root.Close()
		return nil, notWritten(path, err)
	}
	return &stagedPage{path, root, file}, nil
}

// commit gives the page its name, which must still be free.
func (p *stagedPage) commit() error {
	err := p.file.CommitNew()
	p.discard()
	if err != nil {
		return notWritten(p.path, err)
	}
	return nil
}

// discard removes a page that was not committed. A nil page is allowed.
func (p *stagedPage) discard() {
	if p != nil {
		p.file.Discard()
		p.root.Close()
	}
}

// notWritten returns the error for an output at path that could not be written.
func notWritten(path string, err error) error {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return usagef("name an existing folder that you may write to", "%s cannot be written", quoted(path))
	case errors.Is(err, fs.ErrExist):
		return usagef("name a file that does not exist yet", "%s already exists; it was not touched", quoted(path))
	}
	return fmt.Errorf("%s was not written: %w", quoted(path), err)
}

// writePair writes a new file and, before it, its signature next to it. If one cannot be
// written, neither remains.
func writePair(path string, data, sig []byte, mode fs.FileMode) error {
	root, name, err := outputFolder(path)
	if err != nil {
		return err
	}
	defer root.Close()
	if failed, err := durable.WriteTwo(root, name+".sig", sig, name, data, mode); err != nil {
		return notWritten(path+strings.TrimPrefix(failed, name), err)
	}
	return nil
}

// writeOutput writes a new file, complete or not at all.
func writeOutput(path string, data []byte, mode fs.FileMode) error {
	root, name, err := outputFolder(path)
	if err != nil {
		return err
	}
	defer root.Close()
	if err := durable.WriteNew(root, name, data, mode); err != nil {
		return notWritten(path, err)
	}
	return nil
}
