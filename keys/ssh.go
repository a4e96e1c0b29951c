package keys

import (
	"crypto/ed25519"
	"crypto/rsa"
	"crypto/x509"
	"errors"

	"filippo.io/age"
	"filippo.io/age/agessh"
	"golang.org/x/crypto/ssh"
)

// sshRecipient reads an OpenSSH public key that archives are encrypted to. age writes a short
// hash of it into the archive, by which whoever has the key can see that it is a recipient;
// other kinds of recipients do not reveal that.
func sshRecipient(line string) (r recipient, problem *Error) {
	pub, _, problem := parsePublicKey(line)
	if problem != nil {
		return r, problem
	}
	r.ssh, r.text = pub, formatPublicKey(pub, "")
	var err error
	switch pub.Type() {
	case ssh.KeyAlgoED25519:
		r.Recipient, err = agessh.NewEd25519Recipient(pub)
	case ssh.KeyAlgoRSA:
		r.Recipient, err = agessh.NewRSARecipient(pub)
	default:
		return r, bad(CannotEncrypt, "is an SSH key of a type to which nothing can be encrypted")
	}
	if err != nil {
		return r, bad(CannotEncrypt, "is an SSH key to which nothing can be encrypted")
	}
	return r, nil
}

// sshIdentity reads an OpenSSH private key that opens archives, and hides it from printing.
// public is its recipient. pass is called only if the key has a passphrase.
func sshIdentity(data []byte, pass func() ([]byte, error)) (id age.Identity, public string, err error) {
	raw, err := ssh.ParseRawPrivateKey(data)
	if errors.As(err, new(*ssh.PassphraseMissingError)) {
		p, err := pass()
		if err != nil {
			return nil, "", err
		}
		raw, err = ssh.ParseRawPrivateKeyWithPassphrase(data, p)
		if errors.Is(err, x509.IncorrectPasswordError) {
			return nil, "", ErrPassphrase
		}
		if err != nil {
			return nil, "", errNotSSHKey
		}
		return hiddenSSH(raw)
	}
	if err != nil {
		return nil, "", errNotSSHKey
	}
	return hiddenSSH(raw)
}

var errNotSSHKey = errors.New("is not an OpenSSH private key of type ed25519 or rsa, or is damaged or cut short")

// hiddenSSH makes an age identity that cannot be printed from a parsed SSH key.
func hiddenSSH(raw any) (id age.Identity, public string, err error) {
	var inner age.Identity
	switch k := raw.(type) {
	case *ed25519.PrivateKey:
		inner, err = agessh.NewEd25519Identity(*k)
	case *rsa.PrivateKey:
		inner, err = agessh.NewRSAIdentity(k)
	default:
		return nil, "", errNotSSHKey
	}
	signer, signerErr := ssh.NewSignerFromKey(raw)
	if err != nil || signerErr != nil {
		return nil, "", errNotSSHKey
	}
	return identity{inner.Unwrap}, formatPublicKey(signer.PublicKey(), ""), nil
}
