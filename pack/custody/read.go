package custody

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"outbreath/pack/durable"
)

// maxFile bounds a journal, bytes: some 100,000 entries.
const maxFile = 64 << 20

// A BrokenError is a line that was changed, or at which the chain breaks.
type BrokenError struct {
	Path string
	Line int    // from 1; 0: the file as a whole
	Msg  string // completes "this line"
}

func (e *BrokenError) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: this file %s", e.Path, e.Msg)
	}
	return fmt.Sprintf("%s:%d: this line %s", e.Path, e.Line, e.Msg)
}

// A TornError is a last line without its line feed: the program or the machine
// was stopped while it was written. The lines before it hold. [Repair] sets it
// aside.
type TornError struct {
	Path  string
	Line  int  // from 1
	Whole bool // nothing but the line feed is missing; set by [Journal.End]

	rest []byte
}

func (e *TornError) Error() string {
	if e.Whole {
		return fmt.Sprintf("%s:%d: the last line is whole but for its line feed, which must be there before "+
			"anything can be added", e.Path, e.Line)
	}
	return fmt.Sprintf("%s:%d: the last line was not written to its end; it must be set aside before anything can "+
		"be added", e.Path, e.Line)
}

// Read reads the journal called name, custody.jsonl, in the collection folder root, which
// must stay open while entries are added; a missing file is an empty one. The error is
// a *[BrokenError] for a damaged line or a broken chain, a *[TornError] for an unfinished
// last line, with the journal of the lines before it, a *[durable.Refusal] for a link or
// whatever else is no plain file, or one of the operating system.
func Read(root *os.Root, name string) (*Journal, error) {
	path := filepath.Join(root.Name(), name)
	f, err := durable.Open(root, name)
	if errors.Is(err, fs.ErrNotExist) {
		j := newJournal(path)
		j.root, j.name = root, name
		return j, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if err := lock(f, false); err != nil { // an entry that is being written is not torn
		return nil, err
	}
	data, err := readAll(f, path)
	if err != nil {
		return nil, err
	}
	j, err := check(path, data)
	if j != nil {
		j.root, j.name = root, name
	}
	return j, err
}

func readAll(f *os.File, path string) ([]byte, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	var data []byte
	if info.Size() <= maxFile {
		data, err = io.ReadAll(io.LimitReader(f, maxFile+1))
	}
	if err == nil && max(info.Size(), int64(len(data))) > maxFile {
		return nil, &BrokenError{path, 0,
			fmt.Sprintf("has more than %d bytes, which no log of this program has: something else was written "+
				"into it", maxFile)}
	}
	return data, err
}

// check reads the bytes of a journal.
func check(path string, data []byte) (*Journal, error) {
	j := newJournal(path)
	err := j.take(data)
	if err != nil && !errors.As(err, new(*TornError)) {
		return nil, err
	}
	return j, err
}

// take reads lines that follow those of j.
func (j *Journal) take(data []byte) error {
	for len(data) > 0 {
		n := len(j.Entries) + 1
		end := bytes.IndexByte(data, '\n')
		if end < 0 {
			return &TornError{Path: j.path, Line: n, rest: data}
		}
		line := data[:end+1]
		data = data[end+1:]
		if len(line) > maxLine {
			return &BrokenError{j.path, n, fmt.Sprintf("is longer than %d bytes", maxLine)}
		}
		e, err := parse(line[:end])
		if err == nil {
			err = j.follows(e)
		}
		if err != nil {
			return &BrokenError{j.path, n, err.Error()}
		}
		j.keep(e, line)
	}
	return nil
}

// End takes the unfinished last line as if its line feed were there, if its SHA-256
// (hex) is digest, and reports whether it is. [Repair] with the digest ends it in the
// file.
func (j *Journal) End(e *TornError, digest string) bool {
	if hexSum(e.rest) != digest || j.take(append(bytes.Clone(e.rest), '\n')) != nil {
		return false
	}
	e.Whole = true
	return true
}

// follows returns why e, a sound line in itself, is not the next one; nil if it is. The
// error completes "this line".
func (j *Journal) follows(e Entry) error {
	switch next := len(j.Entries) + 1; {
	case e.Seq > next:
		return errGap
	case e.Seq < next:
		return errPutIn
	case e.Prev != j.last:
		return errChain
	}
	return nil
}
