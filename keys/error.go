package keys

import (
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"unicode"
)

// An Error states what is wrong with a key folder, or with what was handed to this package.
// It never holds the content of a file. Callers choose their advice by Fault.
type Error struct {
	Fault   Fault
	Path    string // file or folder; "" for what has no path
	Name    string // of the key's owner, or of the plugin; "" if neither matters
	Message string // the fact; follows Path and a colon
	cause   error
}

func (e *Error) Error() string {
	if e.Path == "" {
		return e.Message
	}
	return quotePath(e.Path) + ": " + e.Message
}

// ErrBusy is behind an error that means: another command is changing the same key folder
// (errors.Is).
var ErrBusy = errors.New("the key folder is in use")

// Unwrap returns the system's error behind e, or nil.
func (e *Error) Unwrap() error { return e.cause }

// fault returns an Error about path, "" for none.
func fault(f Fault, path, format string, args ...any) *Error {
	return &Error{Fault: f, Path: path, Message: fmt.Sprintf(format, args...)}
}

// of sets the name of the party or plugin that e concerns, and returns e.
func (e *Error) of(name string) *Error {
	e.Name = name
	return e
}

// ioFault returns an Error for a system's error: "cannot" verb and the reason, without the
// names that the system put around it.
func ioFault(path, verb string, err error) *Error {
	reason := err
	var pe *fs.PathError
	if errors.As(err, &pe) {
		reason = pe.Err
	}
	return &Error{Fault: FailedIO, Path: path, Message: "cannot " + verb + ": " + reason.Error(), cause: err}
}

// bad returns the fault of a line in a file. Its message follows "line 3 ".
func bad(f Fault, message string) *Error { return &Error{Fault: f, Message: message} }

// at returns the fault of a line with its place: path, and where, such as "line 3".
func (e *Error) at(path, where string) *Error {
	placed := *e
	placed.Path, placed.Message = path, where+" "+e.Message
	return &placed
}

func atLine(n int) string { return "line " + strconv.Itoa(n) }

// quotePath returns ordinary paths as typed, and quotes those with invisible characters.
func quotePath(p string) string {
	if strings.ContainsFunc(p, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return strconv.Quote(p)
	}
	return p
}
