package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"outbreath/pack/durable"
)

// A stagedPage is a page that is whole under a temporary name beside its own.
type stagedPage struct {
	path string
	root *os.Root // of its folder
	file *durable.Staged
}

// outputFolder opens the folder of a file that the person wants written.
func outputFolder(path string) (root *os.Root, name string, err error) {
	if root, name, err = durable.At(path); err != nil {
		err = usagef("name a folder that exists and may be written to", "%s cannot be written", quoted(path))
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

// discard removes a page that has not been committed. A nil page is none.
func (p *stagedPage) discard() {
	if p != nil {
		p.file.Discard()
		p.root.Close()
	}
}

// notWritten says why the output at path was not written, and what to do.
func notWritten(path string, err error) error {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return usagef("name a folder that exists and may be written to", "%s cannot be written", quoted(path))
	case errors.Is(err, fs.ErrExist):
		return usagef("name a file that does not exist yet", "%s is there already; it was not touched", quoted(path))
	}
	return fmt.Errorf("%s was not written: %w", quoted(path), err)
}

// writePair writes a new file and, before it, its signature beside it; none of them
// if one cannot be written.
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

// writeOutput writes a new file, whole or not at all.
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
