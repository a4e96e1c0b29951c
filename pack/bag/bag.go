// Package bag reads and writes the tag files of an RFC 8493 bag (BagIt 1.0),
// SHA-256 only, and reports what is missing from a bag, changed or extra.
//
// In and out are bytes and lists: the package opens no file. Callers need the
// Format/Parse pairs and [CheckComplete]. Reading is strict where the RFC leaves
// a choice: a name that could lead out of the bag, or that two systems could
// understand differently, is refused.
//
// A manifest shows damage, not an attacker's change (RFC 8493, 1.1 and 5.4):
// the tag manifest must be signed by other means.
package bag

import (
	"bytes"
	"fmt"
	"unicode/utf8"
)

// Names of the tag files of our bags. Source: RFC 8493, 2.1 and 2.2.
const (
	Bagit       = "bagit.txt"
	Info        = "bag-info.txt"
	Manifest    = "manifest-sha256.txt"
	TagManifest = "tagmanifest-sha256.txt"
)

// MaxBytes is the largest tag file that is read. A manifest line of ours has
// about 120 bytes, so this is some 280,000 files.
const MaxBytes = 32 << 20

// maxLines is the most lines of a tag file: more than a manifest of MaxBytes can
// have, and few enough to hold.
const maxLines = MaxBytes / 64

// An Entry is one file of a bag. Path is relative to the bag's base folder,
// slash-separated and not percent-encoded ("data/sessions/X.json").
type Entry struct {
	Path   string
	SHA256 [32]byte
}

// A SyntaxError says what is wrong in a tag file; it quotes nothing of it.
type SyntaxError struct {
	Line int // from 1; 0 when the whole file is meant
	Msg  string
}

func (e *SyntaxError) Error() string {
	if e.Line == 0 {
		return e.Msg
	}
	return fmt.Sprintf("line %d: %s", e.Line, e.Msg)
}

// splitLines returns the lines of a tag file without their ends: LF, CR or
// CRLF (RFC 8493, 2.3). The last line must have an end too, because a file cut
// short is most often cut within a line.
func splitLines(data []byte) ([]string, error) {
	switch {
	case len(data) > MaxBytes:
		return nil, &SyntaxError{Msg: fmt.Sprintf("the file has more than %d bytes", MaxBytes)}
	case bytes.HasPrefix(data, []byte("\ufeff")):
		return nil, &SyntaxError{Line: 1, Msg: "the file begins with a byte-order mark, which RFC 8493 does not allow"}
	case len(data) == 0:
		return nil, &SyntaxError{Msg: "the file is empty"}
	}
	var lines []string
	for len(data) > 0 {
		if len(lines) == maxLines {
			return nil, &SyntaxError{Msg: fmt.Sprintf("the file has more than %d lines", maxLines)}
		}
		i := bytes.IndexAny(data, "\r\n")
		if i < 0 {
			return nil, &SyntaxError{Line: len(lines) + 1, Msg: "the last line has no line end: the file may have " +
				"been cut short"}
		}
		if !utf8.Valid(data[:i]) {
			return nil, &SyntaxError{Line: len(lines) + 1, Msg: "not UTF-8"}
		}
		lines = append(lines, string(data[:i]))
		if data[i] == '\r' && i+1 < len(data) && data[i+1] == '\n' {
			i++
		}
		data = data[i+1:]
	}
	return lines, nil
}
