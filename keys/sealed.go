package keys

import (
	"bytes"
	"errors"
	"io"
	"slices"

	"filippo.io/age"
)

// scryptWorkFactor is log2 of age's scrypt cost for new files, which takes about a second.
// Tests lower it.
var scryptWorkFactor = 18

// maxScryptWorkFactor bounds the work that a file can demand of its reader.
const maxScryptWorkFactor = 20

var ageMagic = []byte("age-encryption.org/")

// readSecret reads a secret file, plain or as an age file under a passphrase.
// what names the key when the passphrase is asked for.
func (f *Folder) readSecret(name, what string) ([]byte, error) {
	data, found, err := f.read(name, true, maxSecret)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, f.missing(DamagedFile, name)
	}
	if !bytes.HasPrefix(data, ageMagic) {
		return data, nil
	}
	var text []byte
	err = f.unlock(name, what, func(pass []byte) (err error) {
		text, err = unseal(f.path(name), data, pass)
		return err
	})
	return text, err
}

// passphrase returns the folder's passphrase, and asks for it the first time. name is the
// file, for errors; what names the key in the question.
func (f *Folder) passphrase(name, what string) ([]byte, error) {
	pass, err := f.pass.of(what)
	path := f.path(name)
	switch {
	case errors.Is(err, errNoPassphrase):
		return nil, fault(NoPassphrase, path, "%s is under a passphrase and none was given", what)
	case err != nil: // the asker's own error says why
		return nil, &Error{Fault: UnreadableInput, Path: path, cause: err,
			Message: "the passphrase of " + what + " could not be read: " + err.Error()}
	case len(pass) == 0:
		return nil, &Error{Fault: WrongPassphrase, Path: path, cause: ErrPassphrase,
			Message: what + " is under a passphrase and an empty one was given"}
	}
	return pass, nil
}

// seal encrypts text under pass as an age file.
func seal(text, pass []byte) ([]byte, error) {
	r, err := age.NewScryptRecipient(string(pass))
	if err != nil {
		return nil, err
	}
	r.SetWorkFactor(scryptWorkFactor)
	return Encrypt(text, r)
}

// Encrypt returns text as an age file for recipients.
func Encrypt(text []byte, recipients ...age.Recipient) ([]byte, error) {
	var out bytes.Buffer
	w, err := age.Encrypt(&out, recipients...)
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(text); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// unseal is the inverse of seal, for texts of at most maxSecret bytes. path is for errors.
func unseal(path string, data, pass []byte) ([]byte, error) {
	id, err := age.NewScryptIdentity(string(pass))
	if err != nil {
		return nil, wrongPassphrase(path)
	}
	id.SetMaxWorkFactor(maxScryptWorkFactor)
	damaged := fault(DamagedFile, path, "is damaged, or asks for more work than 2^%d to open", maxScryptWorkFactor)
	r, err := age.Decrypt(bytes.NewReader(data), id)
	var other *age.NoIdentityMatchError
	switch {
	case errors.As(err, &other) && slices.Contains(other.StanzaTypes, "scrypt"):
		return nil, wrongPassphrase(path)
	case errors.As(err, &other):
		return nil, fault(OtherEncryption, path, "is encrypted to another key and not under a passphrase")
	case err != nil:
		return nil, damaged
	}
	text, err := io.ReadAll(io.LimitReader(r, maxSecret+1))
	if err != nil || len(text) > maxSecret {
		return nil, damaged
	}
	return text, nil
}

func wrongPassphrase(path string) *Error {
	return &Error{Fault: WrongPassphrase, Path: path, cause: ErrPassphrase,
		Message: "the passphrase is wrong (or the file is damaged)"}
}

// ErrPassphrase is behind the error of a wrong passphrase (errors.Is).
var ErrPassphrase = errors.New("wrong passphrase")
