package pack

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"outbreath/pack/durable"
	"outbreath/pack/media"
)

// An ExistsError says that the medium already holds that shipment number, or
// that the folder to unpack into is there already.
type ExistsError struct{ Folder string }

func (e *ExistsError) Error() string {
	return fmt.Sprintf("%s is there already, and nothing is ever written over it", e.Folder)
}

// A TwiceError says that two folders to seal into are one: a second copy there is none.
type TwiceError struct{ First, Second string } // as they were named

func (e *TwiceError) Error() string {
	if e.First == e.Second {
		return e.First + " was named twice as a medium"
	}
	return fmt.Sprintf("%s and %s are the same folder: the medium was named twice", e.First, e.Second)
}

// A MediaError is an input or output failure of the medium.
type MediaError struct {
	Path string
	Do   string // what to do
	Err  error

	what string // in words; "": what media.Explain says about Err, or Err itself
}

func (e *MediaError) Error() string { return e.Path + ": " + e.words() }

func (e *MediaError) words() string {
	what := e.what
	if what == "" {
		what, _ = media.Explain(e.Err)
	}
	if what == "" {
		what = e.Err.Error()
	}
	return what
}

func (e *MediaError) Unwrap() error { return e.Err }

// mediaError wraps err, which is not nil, for the medium at path. A *durable.Refusal,
// which is no failure of the medium and says itself what to do, stays as it is.
func mediaError(path string, err error) error {
	if told(err) {
		return err
	}
	_, do := media.Explain(err)
	if do == "" {
		do = "look whether the medium is plugged in and can be written, then try again; if it fails once more, use another medium"
	}
	return &MediaError{Path: path, Do: do, Err: err}
}

// told reports whether err says already what to do.
func told(err error) bool {
	return errors.As(err, new(*MediaError)) || errors.As(err, new(*durable.Refusal))
}

// readError is mediaError for something that is only read.
func readError(path string, err error) error {
	if !told(err) && errors.Is(err, fs.ErrPermission) {
		return &MediaError{Path: path, Err: err, what: "this account may not read it",
			Do: "ask whoever runs the computers for permission to read the medium, or run the command as somebody who may; the medium needs no right to write"}
	}
	return mediaError(path, err)
}

// isFull says whether err means that the medium has no room left.
func isFull(err error) bool { return errors.Is(err, syscall.ENOSPC) }
