package custody

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"outbreath/pack/media"
)

const (
	maxSignature = 16 << 10 // bytes
	// maxHashed bounds what is hashed to find the lines that a signature covers.
	maxHashed = 1 << 30
)

// ErrText is what a verify function returns when the signature is good in
// itself, but was made over another text.
var ErrText = errors.New("the signature was made over another text")

// An AlteredError says that the signature does not fit the journal.
type AlteredError struct{ Path, Msg string }

func (e *AlteredError) Error() string {
	return fmt.Sprintf("%s: %s; change nothing, keep a copy of both files and tell the privacy officer", e.Path, e.Msg)
}

// ErrUnsigned says that there is no signature beside a journal with entries.
var ErrUnsigned = errors.New("the journal is not signed")

func (j *Journal) signaturePath() string { return j.path + ".sig" }

// SignWith has every later [Journal.Append] sign the whole file, as sign does
// it, into a file beside it, custody.jsonl.sig.
func (j *Journal) SignWith(sign func(text []byte) ([]byte, error)) { j.sign = sign }

// Signed checks the signature beside the journal and returns how many entries,
// from the first, it covers: all of them, but for those that were added without
// the key, or when the machine stopped between entry and signature. verify
// checks one text and returns [ErrText] if only the text is another one.
//
// The error is [ErrUnsigned], an *[AlteredError] when the signature covers no
// beginning of the file (lines were taken away from its end, or all of it was
// written anew), or what verify says.
func (j *Journal) Signed(verify func(text, signature []byte) error) (int, error) {
	sig, err := readSignature(j.signaturePath())
	if errors.Is(err, fs.ErrNotExist) {
		if len(j.Entries) == 0 {
			return 0, nil
		}
		j.unsigned = len(j.Entries)
		return 0, ErrUnsigned
	}
	if err != nil {
		return 0, err
	}
	text, hashed := j.text, 0
	for n := len(j.Entries); n > 0; n-- {
		if hashed += len(text); hashed > maxHashed && n < len(j.Entries) {
			break
		}
		switch err := verify(text, sig); {
		case err == nil:
			j.unsigned = len(j.Entries) - n
			return n, nil
		case !errors.Is(err, ErrText):
			j.unsigned = len(j.Entries)
			return 0, err
		}
		text = text[:bytes.LastIndexByte(text[:len(text)-1], '\n')+1]
	}
	return 0, &AlteredError{j.path, "the signature in " + filepath.Base(j.signaturePath()) +
		" fits no beginning of this file: entries were taken away from its end, or it was written anew"}
}

func readSignature(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxSignature+1))
	if err == nil && len(data) > maxSignature {
		err = fmt.Errorf("%s: longer than %d bytes; it is no signature", path, maxSignature)
	}
	return data, err
}

// renewSignature signs the text, if there is a key. The file is locked.
func (j *Journal) renewSignature() error {
	if j.sign == nil {
		return nil
	}
	if err := j.signText(); err != nil {
		j.unsigned++
		return fmt.Errorf("%s: the entry is written, but could not be signed: %w", j.path, err)
	}
	j.unsigned = 0
	return nil
}

func (j *Journal) signText() error {
	sig, err := j.sign(j.text)
	if err != nil {
		return err
	}
	// One name, so that a run that was killed leaves nothing that the next one
	// does not write over; the lock on the journal keeps two apart.
	path := j.signaturePath() + ".new"
	tmp, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	if err := errors.Join(write(tmp, sig), tmp.Close()); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	// The old signature stands until the new one has been read back.
	if back, err := os.ReadFile(path); err != nil || !bytes.Equal(back, sig) {
		return errors.Join(err, errors.New("the signature reads back otherwise than it was written: this disk cannot be trusted; copy the collection to another one and run the command there"), os.Remove(path))
	}
	if err := os.Rename(path, j.signaturePath()); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return (media.OS{}).SyncDir(filepath.Dir(j.path))
}

// unsignedFact is the name of the fact that says how many entries before had no
// signature when this one was added: what somebody put in there meanwhile gets
// signed, but not unnoticed.
const unsignedFact = "unsigned_before"

func (j *Journal) noteUnsigned(facts map[string]string) map[string]string {
	if j.sign == nil || j.unsigned == 0 {
		return facts
	}
	if facts == nil {
		facts = map[string]string{}
	}
	facts[unsignedFact] = strconv.Itoa(j.unsigned)
	return facts
}
