package durable

import (
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// acts are the operations of an os.Root, as its errors name them, in words.
var acts = map[string]string{
	"openat":    "open",
	"statat":    "look at",
	"mkdirat":   "create",
	"removeat":  "remove",
	"unlinkat":  "remove",
	"RemoveAll": "remove",
	"renameat":  "rename",
	"renameat2": "rename",
	"linkat":    "create",
}

// Plain puts an error of the os.Root root, or of a file opened in it, into words for
// people: what was done, and the path as they wrote it, which an os.Root leaves out.
// Whatever calls an os.Root by itself returns its errors through here.
func Plain(root *os.Root, err error) error {
	name := func(op string, path string) (string, string) {
		if word, ok := acts[op]; ok {
			return word, filepath.Join(root.Name(), path)
		}
		return op, filepath.Clean(path) // "medium/./x", of a file
	}
	switch e := err.(type) {
	case *fs.PathError:
		op, path := name(e.Op, e.Path)
		return &fs.PathError{Op: op, Path: path, Err: e.Err}
	case *os.LinkError:
		op, from := name(e.Op, e.Old)
		_, to := name(e.Op, e.New)
		return &os.LinkError{Op: op, Old: from, New: to, Err: e.Err}
	}
	return err
}

// created is Plain for an attempt to make a file.
func created(root *os.Root, err error) error {
	if e, ok := err.(*fs.PathError); ok && e.Op == "openat" {
		return &fs.PathError{Op: "create", Path: filepath.Join(root.Name(), e.Path), Err: e.Err}
	}
	return Plain(root, err)
}

// Quote returns a file name as messages show it: as it is, or as a Go string literal
// when it is empty or holds a blank, a quotation mark or anything that a screen cannot
// show.
func Quote(name string) string {
	if q := strconv.Quote(name); q != `"`+name+`"` || strings.ContainsAny(name, " \t") || name == "" {
		return q
	}
	return name
}
