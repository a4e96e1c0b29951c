// Package sshsig signs and verifies in OpenSSH's signature format (SSHSIG).
//
// In: a message and a key, or an armored signature. Out: an armored signature
// that ssh-keygen accepts, or the parsed parts of one. Who is trusted is not
// decided here. Source: OpenSSH, PROTOCOL.sshsig.
package sshsig

import (
	"golang.org/x/crypto/ssh"
)

// A Signature is one parsed SSHSIG blob, version 1.
type Signature struct {
	PublicKey ssh.PublicKey
	Namespace string
	Hash      string // "sha256" or "sha512"
	sig       *ssh.Signature
	reserved  string
}

// Sign signs message under namespace with SHA-512 and returns the armored
// signature as ssh-keygen writes it (lines of 70, final line feed).
func Sign(signer ssh.Signer, namespace string, message []byte) ([]byte, error) { panic("todo") }

// Parse reads an armored signature and nothing else: text before or after it,
// a second spelling of the same base64, version other than 1, an empty
// namespace or trailing bytes are errors. Any armor line width is accepted, but
// it must be the same on every line but the last.
func Parse(armored []byte) (*Signature, error) { panic("todo") }

// Verify checks that s is s.PublicKey's signature over message under namespace.
func (s *Signature) Verify(message []byte, namespace string) error { panic("todo") }
