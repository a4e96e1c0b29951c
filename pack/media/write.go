package media

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"os"
)

const (
	// writeSize is one write to the medium, writeBackSize the distance of
	// requests for early write-back: without them all of the writing waits for
	// the fsync at the end.
	writeSize     = 1 << 20
	writeBackSize = 8 << 20

	// maxParts keeps the shell's order of the names the order of the parts.
	maxParts = 999
)

// A Part is one file that [Parts] wrote.
type Part struct {
	Name   string // in the folder
	Bytes  int64
	SHA256 [32]byte
}

// Parts is a stream written as a file or, where a limit asks for it, several,
// of which the concatenation in order of their names is the stream. Not safe
// for concurrent use. After an error it takes nothing more; call Abort.
type Parts struct {
	dir   Folder
	base  string
	limit int64
	buf   []byte // filled up to the end of a write or of the part

	file    File // the part being written; nil: none
	size    int64
	started int64 // bytes of file for which write-back was asked
	sum     hash.Hash

	made     []string // names of files on the medium
	parts    []Part   // finished ones
	err      error
	finished bool
}

// NewParts returns a writer of base, or of base.001, base.002 ... in dir, none
// longer than limit bytes (0: no limit), in mode 0644. While they are written,
// all have a number. There can be 999 parts.
func NewParts(dir Folder, base string, limit int64) *Parts {
	return &Parts{dir: dir, base: base, limit: limit, sum: sha256.New()}
}

// Write takes all of b or returns the error that ended the writing. A full
// medium may be reported only by a later Write or by Finish.
func (p *Parts) Write(b []byte) (int, error) {
	if p.err == nil && p.finished {
		p.err = os.ErrClosed
	}
	n := 0
	for n < len(b) && p.err == nil {
		if p.buf == nil {
			p.buf = make([]byte, 0, writeSize)
		}
		room := int64(writeSize - len(p.buf))
		if p.limit > 0 {
			room = min(room, p.limit-p.size-int64(len(p.buf)))
		}
		if room == 0 { // the buffer or the part is full, and more is to come
			p.err = p.flush()
			if p.err == nil && p.limit > 0 && p.size == p.limit {
				p.err = p.endPart()
			}
			continue
		}
		k := min(int(room), len(b)-n)
		p.buf = append(p.buf, b[n:n+k]...)
		n += k
	}
	return n, p.err
}

// flush writes the buffer into the part, which it begins if need be.
func (p *Parts) flush() error {
	if p.file == nil {
		if len(p.parts) == maxParts {
			return fmt.Errorf("%s: more than %d parts", p.base, maxParts)
		}
		name := fmt.Sprintf("%s.%03d", p.base, len(p.parts)+1)
		f, err := p.dir.Create(name)
		if err != nil {
			return err
		}
		p.file, p.made = f, append(p.made, name)
		p.size, p.started = 0, 0
		p.sum.Reset()
	}
	if err := writeAll(p.file, p.buf); err != nil {
		return err
	}
	p.sum.Write(p.buf)
	p.size += int64(len(p.buf))
	p.buf = p.buf[:0]
	if p.size-p.started >= writeBackSize {
		if err := p.file.WriteBack(p.started, p.size-p.started); err != nil {
			return err
		}
		p.started = p.size
	}
	return nil
}

// endPart makes the part durable.
func (p *Parts) endPart() error {
	f := p.file
	p.file = nil
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	p.parts = append(p.parts, Part{p.made[len(p.made)-1], p.size, [32]byte(p.sum.Sum(nil))})
	p.size = 0
	return nil
}

// Finish syncs the last part, gives a single one the name base, and syncs the
// folder. An empty stream is one empty file. On an error call Abort.
func (p *Parts) Finish() ([]Part, error) {
	if p.err != nil {
		return nil, p.err
	}
	if p.finished {
		return nil, os.ErrClosed
	}
	p.err = p.finish()
	if p.err != nil {
		return nil, p.err
	}
	p.finished, p.buf = true, nil
	return p.parts, nil
}

func (p *Parts) finish() error {
	if len(p.buf) > 0 || len(p.parts) == 0 {
		if err := p.flush(); err != nil {
			return err
		}
	}
	if p.file != nil {
		if err := p.endPart(); err != nil {
			return err
		}
	}
	if len(p.parts) == 1 {
		err := p.dir.Rename(p.parts[0].Name, p.base)
		if err != nil {
			return err
		}
		p.parts[0].Name, p.made[0] = p.base, p.base
	}
	return p.dir.Sync()
}

// Abort closes and removes what was written; after a Finish without error it
// does nothing. The error is what could not be removed.
func (p *Parts) Abort() error {
	if p.finished {
		return nil
	}
	p.finished = true
	var errs []error
	if p.file != nil {
		p.file.Close() // its error no longer matters
		p.file = nil
	}
	for _, name := range p.made {
		errs = append(errs, p.dir.Remove(name))
	}
	p.made, p.parts, p.buf = nil, nil, nil
	return errors.Join(errs...)
}

// WriteFile writes a new file in mode 0644, synced; the folder is not synced. A
// file that failed is removed.
func WriteFile(dir Folder, name string, data []byte) error {
	f, err := dir.Create(name)
	if err != nil {
		return err
	}
	err = writeAll(f, data)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(err, dir.Remove(name))
	}
	return nil
}

// writeAll does not trust a File to keep the rule that a short write comes with
// an error.
func writeAll(f File, b []byte) error {
	n, err := f.Write(b)
	if err == nil && n != len(b) {
		err = fmt.Errorf("the medium took %d of %d bytes", n, len(b))
	}
	return err
}
