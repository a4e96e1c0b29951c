package keys

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"sync"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"
)

// fmt looks through interfaces, into unexported fields and, under a verb that does not fit,
// behind pointers, without calling the formatting methods of the types that it finds there.
// It stops at a func. So this package keeps every secret in a closure, and the types that
// hold one also print a placeholder.

// A passphrase is asked for once and remembered. If it is wrong, again asks for another one;
// nil if nobody can be asked.
type passphrase struct {
	ask, again PassphraseFunc

	mu    sync.Mutex
	get   func() ([]byte, error) // nil: not asked yet
	tries int                    // wrong ones so far
}

// maxTries is how many passphrases are tried before the error is final.
const maxTries = 5

// of returns the passphrase of what, and asks for it the first time.
func (p *passphrase) of(what string) ([]byte, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.get != nil: // asked before, or given to Create
	case p.ask == nil:
		p.get = func() ([]byte, error) { return nil, errNoPassphrase }
	default:
		p.keep(p.ask(what))
	}
	return p.get()
}

func (p *passphrase) keep(b []byte, err error) {
	b = append([]byte(nil), b...) // the caller may wipe its own
	p.get = func() ([]byte, error) { return b, err }
}

// other asks for a passphrase in place of the wrong one, and reports whether there is one
// to try.
func (p *passphrase) other(what string, wrong []byte) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if now, err := p.get(); err != nil || !bytes.Equal(now, wrong) {
		return err == nil // another goroutine has asked in the meantime
	}
	if p.tries++; p.again == nil || p.tries >= maxTries {
		return false
	}
	p.keep(p.again(what))
	return true
}

// unlock calls open with the folder's passphrase, and as long as that is wrong and somebody
// can be asked, with another one. Its errors are those of open and of the asking.
func (f *Folder) unlock(name, what string, open func(pass []byte) error) error {
	for {
		pass, err := f.passphrase(name, what)
		if err == nil {
			err = open(pass)
		}
		if !errors.Is(err, ErrPassphrase) || !f.pass.other(what, pass) {
			return err
		}
	}
}

var errNoPassphrase = errors.New("no passphrase")

// A signer is an ssh.Signer that cannot be printed. x/crypto's own shows the
// private key under %v.
type signer struct {
	pub  ssh.PublicKey
	sign func(rand io.Reader, data []byte, algorithm string) (*ssh.Signature, error)
}

// hideSigner wraps a signer so that it cannot be printed.
func hideSigner(s ssh.AlgorithmSigner) ssh.Signer {
	return signer{s.PublicKey(), s.SignWithAlgorithm}
}

func (s signer) PublicKey() ssh.PublicKey { return s.pub }

func (s signer) Sign(rand io.Reader, data []byte) (*ssh.Signature, error) {
	return s.sign(rand, data, "")
}

func (s signer) SignWithAlgorithm(rand io.Reader, data []byte, algorithm string) (*ssh.Signature, error) {
	return s.sign(rand, data, algorithm)
}

func (s signer) Format(f fmt.State, _ rune)   { io.WriteString(f, "(signing key)") }
func (s signer) MarshalText() ([]byte, error) { return []byte("(signing key)"), nil }

// An identity is an age.Identity that cannot be printed. age's own shows the
// secret key under %v.
type identity struct {
	unwrap func([]*age.Stanza) ([]byte, error)
}

func (i identity) Unwrap(stanzas []*age.Stanza) ([]byte, error) { return i.unwrap(stanzas) }

func (i identity) Format(f fmt.State, _ rune)   { io.WriteString(f, "(age identity)") }
func (i identity) MarshalText() ([]byte, error) { return []byte("(age identity)"), nil }
