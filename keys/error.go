package keys

import (
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"unicode"
)

// An Error says what is wrong with a key folder and what to do. Path names a
// file, or is "" when the fault lies in what was handed to [Folder.Trust] or
// [ParseAllowed]; no content of a file is ever in it.
type Error struct {
	Path    string
	Message string
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

// Unwrap gives the system's error behind e, if there is one.
func (e *Error) Unwrap() error { return e.cause }

func fault(path, format string, args ...any) *Error {
	return &Error{Path: path, Message: fmt.Sprintf(format, args...)}
}

// ioFault turns a system's error into ours: its reason, without the names that
// the system put around it.
func ioFault(path, verb string, err error) *Error {
	reason := err
	var pe *fs.PathError
	if errors.As(err, &pe) {
		reason = pe.Err
	}
	return &Error{Path: path, Message: "cannot " + verb + ": " + reason.Error(), cause: err}
}

// mended adds what to do to a problem that does not say it yet.
func mended(problem, todo string) string {
	if strings.Contains(problem, "; ") {
		return problem
	}
	return problem + "; " + todo
}

// The usual thing to do about a line of a list, and about a whole file.
const (
	mendLine = "take that line out, or put back your copy of the file"
	mendFile = "put back your copy of it"
)

// quotePath leaves ordinary paths as typed and quotes those whose characters
// would not be seen.
func quotePath(p string) string {
	if strings.ContainsFunc(p, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return strconv.Quote(p)
	}
	return p
}

// shellPath is p as it can be typed after a command.
func shellPath(p string) string {
	plain := func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("/._-+@%,", r)
	}
	if p != "" && strings.IndexFunc(p, func(r rune) bool { return !plain(r) }) < 0 {
		return p
	}
	return "'" + strings.ReplaceAll(p, "'", `'\''`) + "'"
}
