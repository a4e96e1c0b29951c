package custody

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"strconv"

	"outbreath/pack/durable"
)

const (
	maxSignature = 16 << 10 // bytes
	// maxHashed bounds what is hashed to find the lines that a signature covers.
	maxHashed = 1 << 30
)

// ErrText is what a verify function returns when the signature is good in
// itself, but was made over another text.
var ErrText = errors.New("the signature was made over another text")

// An AlteredError is a signature that covers no beginning of the journal.
type AlteredError struct{ Path, Msg string }

func (e *AlteredError) Error() string {
	return fmt.Sprintf("%s: %s", e.Path, e.Msg)
}

// ErrUnsigned is the error of a journal with entries and no signature file.
var ErrUnsigned = errors.New("the journal is not signed")

// signatureSuffix follows the journal's name in that of its signature.
const signatureSuffix = ".sig"

// SignWith has every later [Journal.Append] sign the whole file with sign, and write the
// signature to custody.jsonl.sig in the same folder.
func (j *Journal) SignWith(sign func(text []byte) ([]byte, error)) { j.sign = sign }

// Signed checks the journal's signature and returns how many entries, from the
// first, it covers: all of them, but for those that were added without
// the key, or when the machine stopped between entry and signature. verify
// checks one text and returns [ErrText] if only the text is another one.
//
// The error is [ErrUnsigned], an *[AlteredError] when the signature covers no
// beginning of the file (lines were taken away from its end, or all of it was
// written anew), or what verify says.
func (j *Journal) Signed(verify func(text, signature []byte) error) (int, error) {
	sig, err := j.readSignature()
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
	j.unsigned = len(j.Entries)
	return 0, &AlteredError{j.path, "the signature in " + j.name + signatureSuffix +
		" fits no beginning of this file: entries were taken away from its end, or it was rewritten"}
}

func (j *Journal) readSignature() ([]byte, error) {
	if j.root == nil {
		return nil, fs.ErrNotExist
	}
	data, err := durable.Read(j.root, j.name+signatureSuffix, maxSignature)
	if errors.As(err, new(*durable.TooLargeError)) {
		err = fmt.Errorf("%s: longer than %d bytes; it is not a signature", j.path+signatureSuffix, maxSignature)
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
	// The old signature stays until the new one has been read back. Runs that
	// were killed may have left one on its way; the lock on the journal keeps
	// those that still run away from here.
	name := j.name + signatureSuffix
	if err := durable.Sweep(j.root, name); err != nil {
		return err
	}
	return durable.Replace(j.root, name, sig, 0o600)
}

// FactUnsigned names the fact of how many entries before this one had no signature when it
// was added: what somebody put in there meanwhile gets signed, but not unnoticed.
const FactUnsigned = "unsigned_before"

func (j *Journal) noteUnsigned(facts map[string]string) map[string]string {
	if j.sign == nil || j.unsigned == 0 {
		return facts
	}
	if facts == nil {
		facts = map[string]string{}
	}
	facts[FactUnsigned] = strconv.Itoa(j.unsigned)
	return facts
}
