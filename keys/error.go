package keys

import (
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"unicode"
)

// An Error states what is wrong with a key folder or with what was handed to this
// package. No content of a file is ever in it. What to do about it follows from Fault.
type Error struct {
	Fault   Fault
	Path    string // file or folder; "" when what was handed over has none
	Name    string // of the party whose key it is, or of the plugin; "" where neither matters
	Message string // completes Path and a colon
	cause   error
}

func (e *Error) Error() string {
	if e.Path == "" {
		return e.Message
	}
	return quotePath(e.Path) + ": " + e.Message
}

// ErrBusy is behind the error of a command that another one, which changes the same key
// folder, kept from its work.
var ErrBusy = errors.New("the key folder is in use")

// Unwrap returns the system's error behind e, or nil.
func (e *Error) Unwrap() error { return e.cause }

func fault(f Fault, path, format string, args ...any) *Error {
	return &Error{Fault: f, Path: path, Message: fmt.Sprintf(format, args...)}
}

// of returns e with the name of whom it is about.
func (e *Error) of(name string) *Error {
	e.Name = name
	return e
}

// ioFault turns a system's error into ours: its reason, without the names that
// the system put around it.
func ioFault(path, verb string, err error) *Error {
	reason := err
	var pe *fs.PathError
	if errors.As(err, &pe) {
		reason = pe.Err
	}
	return &Error{Fault: FailedIO, Path: path, Message: "cannot " + verb + ": " + reason.Error(), cause: err}
}

// bad returns the fault of a line that a parser met. Its message completes "line 3 ".
func bad(f Fault, message string) *Error { return &Error{Fault: f, Message: message} }

// at places the fault of a line: in the file at path, after where, such as "line 3".
func (e *Error) at(path, where string) *Error {
	placed := *e
	placed.Path, placed.Message = path, where+" "+e.Message
	return &placed
}

func atLine(n int) string { return "line " + strconv.Itoa(n) }

// quotePath leaves ordinary paths as typed and quotes those whose characters
// would not be seen.
func quotePath(p string) string {
	if strings.ContainsFunc(p, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return strconv.Quote(p)
	}
	return p
}
