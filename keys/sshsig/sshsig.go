// Package sshsig signs and verifies in OpenSSH's signature format (SSHSIG).
//
// In: a message and a key, or an armored signature. Out: an armored signature
// that ssh-keygen accepts, or the parsed parts of one. Most callers need [Sign]
// and [Parse]. Who is trusted is not decided here.
//
// Source: OpenSSH, PROTOCOL.sshsig.
package sshsig

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"crypto/sha512"
	"errors"
	"fmt"
	"math/big"

	"golang.org/x/crypto/ssh"
)

const (
	magic   = "SSHSIG"
	version = 1

	// MaxArmored bounds an armored signature, in bytes. The largest that
	// ssh-keygen makes, RSA with 16,384 bits, has about 5,800.
	MaxArmored = 16 << 10
)

// Errors of [Signature.Verify]. Those of [Parse] need not be told apart.
var (
	ErrNamespace = errors.New("the signature was made for another purpose (namespace)")
	ErrSignature = errors.New("the signature does not fit the data: one of them was changed")
)

// A Signature is one parsed SSHSIG blob, version 1.
type Signature struct {
	PublicKey ssh.PublicKey
	Namespace string
	Hash      string // "sha256" or "sha512"
	sig       *ssh.Signature
	reserved  string
}

// wire is the blob after the magic, PROTOCOL.sshsig section 2.
type wire struct {
	Version   uint32
	PublicKey []byte
	Namespace string
	Reserved  string
	Hash      string
	Signature []byte
}

// wireSignature is the last field of wire. ssh.Signature would accept trailing bytes.
type wireSignature struct {
	Format string
	Blob   []byte
}

// Sign signs message under namespace with SHA-512 and returns the armored
// signature as ssh-keygen writes it (lines of 70, final line feed).
//
// RSA keys sign as rsa-sha2-512 and must be an [ssh.AlgorithmSigner]. The signature is
// verified before it is returned, so that a signer with mismatched halves, or a computing
// fault, is an error here rather than at the receiver.
func Sign(signer ssh.Signer, namespace string, message []byte) ([]byte, error) {
	if namespace == "" {
		return nil, errors.New("a signature needs a namespace")
	}
	pub := signer.PublicKey()
	if err := CheckKey(pub); err != nil {
		return nil, err
	}
	s := &Signature{PublicKey: pub, Namespace: namespace, Hash: "sha512"}
	signed, err := s.signedData(message)
	if err != nil {
		return nil, err
	}
	if pub.Type() == ssh.KeyAlgoRSA {
		as, ok := signer.(ssh.AlgorithmSigner)
		if !ok {
			return nil, errors.New("this RSA signer cannot sign with SHA-512")
		}
		s.sig, err = as.SignWithAlgorithm(rand.Reader, signed, ssh.KeyAlgoRSASHA512)
	} else {
		s.sig, err = signer.Sign(rand.Reader, signed)
	}
	if err != nil {
		return nil, fmt.Errorf("the key could not sign: %w", err)
	}
	out := armor(s.marshal(), 70)
	back, err := Parse(out)
	if err == nil {
		err = back.Verify(message, namespace)
	}
	if err != nil {
		return nil, fmt.Errorf("the new signature does not verify: %w", err)
	}
	return out, nil
}

// Parse reads an armored signature and nothing else: text before or after it,
// a second spelling of the same base64, version other than 1, an empty
// namespace or trailing bytes are errors. Any armor line width is accepted, but
// it must be the same on every line but the last.
//
// It accepts only keys that [CheckKey] accepts, in their canonical encoding, and for RSA only
// rsa-sha2-256 and rsa-sha2-512.
func Parse(armored []byte) (*Signature, error) {
	blob, err := dearmor(armored)
	if err != nil {
		return nil, err
	}
	rest, ok := bytes.CutPrefix(blob, []byte(magic))
	if !ok {
		return nil, errors.New("not an SSH signature: its first bytes are not SSHSIG")
	}
	var w wire
	if err := ssh.Unmarshal(rest, &w); err != nil {
		return nil, errors.New("the SSH signature is cut short or has bytes too many")
	}
	if w.Version != version {
		return nil, errors.New("the SSH signature's version is not 1")
	}
	if w.Namespace == "" {
		return nil, errors.New("the SSH signature has no namespace")
	}
	if w.Hash != "sha256" && w.Hash != "sha512" {
		return nil, errors.New("the SSH signature's hash is neither sha256 nor sha512")
	}
	pub, err := ParseKey(w.PublicKey)
	if err != nil {
		return nil, err
	}
	sig, err := parseInner(w.Signature, pub)
	if err != nil {
		return nil, err
	}
	return &Signature{
		PublicKey: pub,
		Namespace: w.Namespace,
		Hash:      w.Hash,
		sig:       sig,
		reserved:  w.Reserved,
	}, nil
}

// Verify checks that s is s.PublicKey's signature over message under namespace.
// The error is [ErrNamespace] or [ErrSignature]. Whose key s.PublicKey is, and whether it is
// trusted, is for the caller to decide.
func (s *Signature) Verify(message []byte, namespace string) error {
	if namespace == "" || s.Namespace != namespace {
		return ErrNamespace
	}
	signed, err := s.signedData(message)
	if err != nil || s.PublicKey == nil || s.sig == nil {
		return ErrSignature
	}
	if err := s.PublicKey.Verify(signed, s.sig); err != nil {
		return ErrSignature
	}
	return nil
}

// parseInner reads the signature proper. Where x/crypto/ssh would accept two encodings (RSA
// without leading zeros, padded ECDSA numbers), it accepts one.
func parseInner(b []byte, pub ssh.PublicKey) (*ssh.Signature, error) {
	var w wireSignature
	if err := ssh.Unmarshal(b, &w); err != nil {
		return nil, errors.New("the SSH signature's last field is cut short or has bytes too many")
	}
	wrong := errors.New("the SSH signature does not have the form that its key makes")
	switch t := pub.Type(); t {
	case ssh.KeyAlgoRSA:
		if w.Format != ssh.KeyAlgoRSASHA256 && w.Format != ssh.KeyAlgoRSASHA512 {
			return nil, errors.New("the RSA signature is not rsa-sha2-256 or rsa-sha2-512")
		}
		if n := rsaKey(pub); n == nil || len(w.Blob) != n.Size() {
			return nil, wrong
		}
	case ssh.KeyAlgoED25519:
		if w.Format != t || len(w.Blob) != 64 {
			return nil, wrong
		}
	default: // ECDSA, RFC 5656 section 3.1.2
		var rs struct{ R, S *big.Int }
		if w.Format != t || ssh.Unmarshal(w.Blob, &rs) != nil || !bytes.Equal(ssh.Marshal(&rs), w.Blob) {
			return nil, wrong
		}
	}
	return &ssh.Signature{Format: w.Format, Blob: w.Blob}, nil
}

// signedData returns the bytes that the key signs (PROTOCOL.sshsig section 3).
func (s *Signature) signedData(message []byte) ([]byte, error) {
	var digest []byte
	switch s.Hash {
	case "sha256":
		d := sha256.Sum256(message)
		digest = d[:]
	case "sha512":
		d := sha512.Sum512(message)
		digest = d[:]
	default:
		return nil, errors.New("the hash is neither sha256 nor sha512")
	}
	return append([]byte(magic), ssh.Marshal(struct {
		Namespace string
		Reserved  string
		Hash      string
		Digest    []byte
	}{s.Namespace, s.reserved, s.Hash, digest})...), nil
}

// marshal returns the blob of s (PROTOCOL.sshsig section 2).
func (s *Signature) marshal() []byte {
	return append([]byte(magic), ssh.Marshal(wire{
		Version:   version,
		PublicKey: s.PublicKey.Marshal(),
		Namespace: s.Namespace,
		Reserved:  s.reserved,
		Hash:      s.Hash,
		Signature: ssh.Marshal(wireSignature{s.sig.Format, s.sig.Blob}),
	})...)
}
