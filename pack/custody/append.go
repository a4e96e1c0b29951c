package custody

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"

	"outbreath/pack/durable"
)

// ErrReadBack is behind the error of an entry that the disk gave back changed. It was
// taken away again.
var ErrReadBack = errors.New("what was added reads back otherwise, and was taken away again")

// ErrFull is the cause of the error of a journal with no space for another entry.
var ErrFull = fmt.Errorf("it would become longer than %d bytes", maxFile)

// A ChangedError is a journal that has grown or changed since [Read].
type ChangedError struct{ Path string }

func (e *ChangedError) Error() string {
	return fmt.Sprintf("%s: something else was added to it, or it was changed, meanwhile; nothing was added now",
		e.Path)
}

// file is what Append needs of *os.File; tests make it fail.
type file interface {
	io.ReaderAt
	io.Writer
	Stat() (fs.FileInfo, error)
	Sync() error
	Truncate(int64) error
	Close() error
}

var openAppend = func(root *os.Root, name string, create bool) (file, error) {
	var f *os.File
	err := fs.ErrExist
	if create {
		f, err = durable.Create(root, name, os.O_APPEND)
	}
	if errors.Is(err, fs.ErrExist) { // perhaps an empty file
		f, err = durable.OpenToChange(root, name, os.O_RDWR|os.O_APPEND)
	}
	if err != nil {
		return nil, err
	}
	if err := lock(f, true); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// Append chains e to the end of the file, synced, and keeps it in j.Entries.
// Seq, Prev and Sum are filled in and When is put into UTC; When, Who, What and
// Why must be there. A missing file is made, in mode 0600. After [Journal.SignWith]
// the file is signed anew; if only that fails, the entry is there all the same.
//
// Nothing is added and the error is a *ChangedError if the file does not end
// with the line that j ends with. After any other error the end of the file is
// not known: [Read] it again.
func (j *Journal) Append(e Entry) error {
	e.Seq, e.Prev, e.When = len(j.Entries)+1, j.last, e.When.UTC().Round(0)
	e.Facts = j.noteUnsigned(maps.Clone(e.Facts))
	line, err := format(&e)
	if err == nil && e.Why == "" {
		err = errors.New("the entry does not say why it was done")
	}
	if err != nil {
		return fmt.Errorf("%s: %w", j.path, err)
	}
	if j.size+int64(len(line)) > maxFile {
		return fmt.Errorf("%s: %w", j.path, ErrFull)
	}
	f, err := openAppend(j.root, j.name, j.size == 0)
	if errors.Is(err, fs.ErrNotExist) && j.size > 0 {
		return &ChangedError{j.path}
	}
	if err != nil {
		return err
	}
	err = j.unchanged(f)
	if err == nil && j.before != nil {
		err = j.before(e, hexSum(line[:len(line)-1]))
	}
	if err == nil {
		err = write(f, line)
	}
	if err == nil {
		err = j.arrived(f, line)
	}
	next := *j
	var unsigned error
	if err == nil {
		next.keep(e, line)
		unsigned = next.renewSignature()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if j.size == 0 {
		if err := durable.SyncFolder(j.root); err != nil {
			return err
		}
	}
	*j = next
	if unsigned == nil && j.after != nil {
		return j.after()
	}
	return unsigned
}

// unchanged compares the end of the file with the end of j.
func (j *Journal) unchanged(f file) error {
	st, err := f.Stat()
	if err != nil {
		return err
	}
	if st.Size() != j.size {
		return &ChangedError{j.path}
	}
	if j.size == 0 {
		return nil
	}
	line := make([]byte, j.lastLen)
	if _, err := f.ReadAt(line, j.size-j.lastLen); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if hexSum(line[:len(line)-1]) != j.last {
		return &ChangedError{j.path}
	}
	return nil
}

// write is one call, so that two writers without a lock cannot mix their lines.
func write(f file, line []byte) error {
	n, err := f.Write(line)
	if err == nil && n != len(line) {
		err = io.ErrShortWrite
	}
	if err != nil {
		return err
	}
	return f.Sync()
}

// arrived reads the line back, and takes away whatever is there instead: a whole
// line of something else could never be mended.
func (j *Journal) arrived(f file, line []byte) error {
	back := make([]byte, len(line)+1)
	n, err := f.ReadAt(back, j.size)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if bytes.Equal(back[:n], line) {
		return nil
	}
	return errors.Join(fmt.Errorf("%s: %w", j.path, ErrReadBack), f.Truncate(j.size), f.Sync())
}

// Repair moves an unfinished last line out of the journal called name in root into a new
// file in root, custody.torn-1 (or -2 ...), whose name it returns: "" if the
// last line is whole and nothing was done. It does nothing to a journal that is
// broken elsewhere. A last line whose SHA-256 (hex) is digest lacks only its line
// feed: it gets it, and nothing is moved.
func Repair(root *os.Root, name, digest string) (moved string, err error) {
	path := filepath.Join(root.Name(), name)
	f, err := durable.OpenToChange(root, name, os.O_RDWR)
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if err := lock(f, true); err != nil {
		return "", err
	}
	data, err := readAll(f, path)
	if err != nil {
		return "", err
	}
	whole := bytes.LastIndexByte(data, '\n') + 1
	if whole == len(data) {
		return "", nil
	}
	if _, err := check(path, data[:whole]); err != nil {
		return "", err
	}
	if hexSum(data[whole:]) == digest {
		_, err := f.WriteAt([]byte{'\n'}, int64(len(data)))
		return "", errors.Join(err, f.Sync())
	}
	moved, err = setAside(root, name, data[whole:])
	if err != nil {
		return "", err
	}
	return moved, errors.Join(f.Truncate(int64(whole)), f.Sync())
}

// setAside writes the torn bytes, durably, under the first free name.
func setAside(root *os.Root, name string, torn []byte) (string, error) {
	for n := 1; ; n++ {
		moved := fmt.Sprintf("%s.torn-%d", strings.TrimSuffix(name, ".jsonl"), n)
		f, err := durable.Create(root, moved, 0)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return "", err
		}
		err = write(f, torn)
		if err = errors.Join(err, f.Close()); err != nil {
			return "", errors.Join(err, durable.Remove(root, moved))
		}
		return moved, durable.SyncFolder(root)
	}
}
