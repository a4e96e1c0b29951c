package keys

import (
	"errors"
	"fmt"
	"io"
	"sync"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"
)

// fmt looks through interfaces, into unexported fields and, under a verb that
// does not fit, behind pointers, without asking the types there how they want to
// be printed. It stops at a func. So every secret of this package is kept in a
// closure, and the types that hold one print a placeholder as well.

// A passphrase is asked for at most once and remembered.
type passphrase struct {
	ask  PassphraseFunc
	once sync.Once
	get  func() ([]byte, error)
}

func (p *passphrase) of(what string) ([]byte, error) {
	p.once.Do(func() {
		if p.get != nil { // given to Create
			return
		}
		if p.ask == nil {
			p.get = func() ([]byte, error) { return nil, errNoPassphrase }
			return
		}
		b, err := p.ask(what)
		b = append([]byte(nil), b...) // the caller may wipe its own
		p.get = func() ([]byte, error) { return b, err }
	})
	return p.get()
}

var errNoPassphrase = errors.New("no passphrase")

// A signer is an ssh.Signer that cannot be printed. x/crypto's own shows the
// private key under %v.
type signer struct {
	pub  ssh.PublicKey
	sign func(rand io.Reader, data []byte, algorithm string) (*ssh.Signature, error)
}

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
