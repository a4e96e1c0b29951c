package sshsig

import (
	"bytes"
	"crypto/rsa"
	"errors"
	"fmt"

	"golang.org/x/crypto/ssh"
)

// minRSABits is the shortest RSA key that is accepted (NIST SP 800-131A: 112 bits of
// strength). x/crypto/ssh refuses keys of more than 16,384 bits.
const minRSABits = 2048

// KeyTypes are the public key types that this package signs and verifies with.
var KeyTypes = []string{
	ssh.KeyAlgoED25519,
	ssh.KeyAlgoECDSA256, ssh.KeyAlgoECDSA384, ssh.KeyAlgoECDSA521,
	ssh.KeyAlgoRSA,
}

// CheckKey returns nil if pub is of one of [KeyTypes] and, for RSA, has at least 2048 bits.
// Otherwise the error says why it is not accepted.
func CheckKey(pub ssh.PublicKey) error {
	if pub == nil {
		return errors.New("no key")
	}
	switch pub.Type() {
	case ssh.KeyAlgoED25519, ssh.KeyAlgoECDSA256, ssh.KeyAlgoECDSA384, ssh.KeyAlgoECDSA521:
		return nil
	case ssh.KeyAlgoRSA:
		k := rsaKey(pub)
		if k == nil || k.N.Sign() <= 0 || k.N.Bit(0) == 0 {
			return errors.New("the RSA key is malformed")
		}
		if k.N.BitLen() < minRSABits {
			return fmt.Errorf("the RSA key is shorter than %d bits", minRSABits)
		}
		return nil
	}
	return errors.New("the key's type is not supported: it is not ssh-ed25519, ecdsa or rsa, or has a certificate " +
		"or hardware token")
}

// ParseKey reads a public key in SSH wire format (RFC 4253 section 6.6) that [CheckKey]
// accepts. Any encoding but the canonical one is an error.
func ParseKey(wire []byte) (ssh.PublicKey, error) {
	pub, err := ssh.ParsePublicKey(wire)
	if err != nil {
		return nil, errors.New("the public key is damaged or of an unknown type")
	}
	if err := CheckKey(pub); err != nil {
		return nil, err
	}
	if !bytes.Equal(pub.Marshal(), wire) {
		return nil, errors.New("the public key is not in its canonical encoding")
	}
	return pub, nil
}

// rsaKey returns the RSA key within pub, or nil.
func rsaKey(pub ssh.PublicKey) *rsa.PublicKey {
	c, ok := pub.(ssh.CryptoPublicKey)
	if !ok {
		return nil
	}
	k, ok := c.CryptoPublicKey().(*rsa.PublicKey)
	if !ok {
		return nil
	}
	return k
}
