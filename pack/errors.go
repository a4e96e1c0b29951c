package pack

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"outbreath/pack/durable"
	"outbreath/pack/media"
)

// ErrRecipients is the error of recipients that age does not encrypt to together. Its own
// words may quote a recipient.
var ErrRecipients = errors.New("the recipients cannot be used together: post-quantum keys do not mix with classic ones")

// ErrUncompared is the error for which a caller of Verify looks up what to do about a
// [Verdict.Caution].
var ErrUncompared = errors.New("nobody has compared this key with its owner by the twelve words")

// ErrParts is the error of an archive that would have more parts than a shipment may.
var ErrParts = fmt.Errorf("the archive would have more than %d parts", maxParts)

// An ExistsError says that a folder exists which must not: a shipment of that number on the
// medium, or the folder to unpack into.
type ExistsError struct{ Folder string }

func (e *ExistsError) Error() string {
	return fmt.Sprintf("%s already exists, and nothing is ever written over it", e.Folder)
}

// A TwiceError says that two of the folders to seal into are one, so that there would be
// no second copy.
type TwiceError struct{ First, Second string } // as they were named

func (e *TwiceError) Error() string {
	if e.First == e.Second {
		return e.First + " was named twice as a medium"
	}
	return fmt.Sprintf("%s and %s are the same folder: the medium was named twice", e.First, e.Second)
}

// Faults of a medium, or of the disk that is unpacked onto, in addition to those of package media.
const (
	TooSmall       media.Fault = "too-small"        // the shipment does not fit
	RepairTooLarge media.Fault = "repair-too-large" // its file system cannot hold the repair data in one file
	Differs        media.Fault = "differs"          // it took other bytes than another medium
	Unreadable     media.Fault = "unreadable"       // this account may not read it
	DiskFull       media.Fault = "disk-full"        // where a shipment is unpacked
	DiskFailed     media.Fault = "disk-failed"      // likewise
)

// A MediaError is an input or output failure of the medium, or of the disk that is
// unpacked onto.
type MediaError struct {
	Path  string
	Fault media.Fault
	Err   error

	// Several reports that the shipment was to go onto other media too, on which no copy
	// was left. Stuck are folders on them that could not be removed again: whole, but
	// not counted as sealed.
	Several bool
	Stuck   []string

	what string // in words; "": what media.Explain says about Err, or Err itself
}

func (e *MediaError) Error() string { return e.Path + ": " + e.words() }

func (e *MediaError) words() string {
	what := e.what
	if what == "" {
		_, what = media.Explain(e.Err)
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
	if explained(err) {
		return err
	}
	kind, _ := media.Explain(err)
	return &MediaError{Path: path, Fault: kind, Err: err}
}

// explained reports whether err already says what to do.
func explained(err error) bool {
	return errors.As(err, new(*MediaError)) || errors.As(err, new(*durable.Refusal))
}

// readError is mediaError for something that is only read.
func readError(path string, err error) error {
	if !explained(err) && errors.Is(err, fs.ErrPermission) {
		return &MediaError{Path: path, Fault: Unreadable, Err: err, what: "this account may not read it"}
	}
	return mediaError(path, err)
}

// isFull reports whether err means that the medium has no room left.
func isFull(err error) bool { return errors.Is(err, syscall.ENOSPC) }
