package keys

import (
	"bytes"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"regexp"
	"slices"
	"strings"

	"golang.org/x/crypto/ssh"

	"outbreath/keys/sshsig"
)

// validName reports whether s can be a signer's name, the site code or a laboratory's short
// name. It has no pattern characters, so a name means one party.
var validName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._@-]{0,63}$`).MatchString

// Signer reads the signing key, or finds it in the ssh-agent. If there is a signing.pub, which
// others see, the key must be the one in it. For RSA keys the result is an
// [ssh.AlgorithmSigner].
func (f *Folder) Signer() (ssh.Signer, error) {
	const what = "the signing key"
	path := f.path(signingFile)
	data, found, err := f.read(signingFile, true, maxSecret)
	if err != nil {
		return nil, err
	}
	if !found {
		return f.agentSigner()
	}
	notKey := fault(DamagedFile, path, "is not an OpenSSH private key, or is damaged or cut short")
	block, rest := pem.Decode(data)
	if block == nil || block.Type != "OPENSSH PRIVATE KEY" || len(bytes.TrimSpace(rest)) > 0 {
		return nil, notKey
	}
	s, err := ssh.ParsePrivateKey(data)
	if errors.As(err, new(*ssh.PassphraseMissingError)) {
		err = f.unlock(signingFile, what, func(pass []byte) (err error) {
			if s, err = ssh.ParsePrivateKeyWithPassphrase(data, pass); errors.Is(err, x509.IncorrectPasswordError) {
				return wrongPassphrase(path)
			}
			return err
		})
		if errors.As(err, new(*Error)) {
			return nil, err
		}
	}
	if err != nil {
		return nil, notKey
	}
	if err := sshsig.CheckKey(s.PublicKey()); err != nil {
		return nil, fault(UnusableKey, path, "%s", err)
	}
	as, ok := s.(ssh.AlgorithmSigner)
	if !ok {
		return nil, notKey
	}
	pub, _, err := f.ownSigner()
	if err != nil {
		return nil, err
	}
	if pub != nil && !sameKey(pub, s.PublicKey()) {
		return nil, fault(UnmatchedFiles, f.path(signingPub), "does not belong to the private key in %s", signingFile)
	}
	return hideSigner(as), nil
}

// ownSigner reads signing.pub. pub is nil if there is no such file. name is its comment, or
// "" if that cannot be a signer's name.
func (f *Folder) ownSigner() (pub ssh.PublicKey, name string, err error) {
	data, found, err := f.read(signingPub, false, maxPublic)
	if err != nil || !found {
		return nil, "", err
	}
	for n, line := range textLines(data) {
		if pub != nil {
			return nil, "", fault(DamagedFile, f.path(signingPub), "line %d: one public key is expected, not two", n)
		}
		var problem *Error
		if pub, name, problem = parsePublicKey(line); problem != nil {
			if problem.Fault == BadLine { // the file is one key, not a list
				problem.Fault = DamagedFile
			}
			return nil, "", problem.at(f.path(signingPub), atLine(n))
		}
	}
	if pub == nil {
		return nil, "", fault(NoPublicKey, f.path(signingPub), "holds no public key")
	}
	if !validName(name) {
		name = ""
	}
	return pub, name, nil
}

// parsePublicKey reads a line of an OpenSSH .pub file: type, base64, comment.
func parsePublicKey(line string) (pub ssh.PublicKey, comment string, problem *Error) {
	kind, rest := field(line)
	text, comment := field(rest)
	if !slices.Contains(sshsig.KeyTypes, kind) {
		if looksLikeKeyType(kind) {
			return nil, "", bad(UnsupportedKey, "is a key of a type that is not supported")
		}
		return nil, "", bad(BadLine, "is not an OpenSSH public key (ssh-ed25519 ..., ecdsa-sha2-... or ssh-rsa ...)")
	}
	wire, err := base64.StdEncoding.Strict().DecodeString(text)
	if err == nil {
		pub, err = sshsig.ParseKey(wire)
	}
	if err != nil {
		return nil, "", bad(CutLine, "is a public key that is damaged, cut short or too weak (RSA needs 2048 bits)")
	}
	if pub.Type() != kind {
		return nil, "", bad(CutLine, "is a public key whose type does not match its content")
	}
	return pub, comment, nil
}

// looksLikeKeyType reports whether s begins like the type of an SSH key, supported or not.
func looksLikeKeyType(s string) bool {
	return strings.HasPrefix(s, "ssh-") || strings.HasPrefix(s, "sk-") || strings.HasPrefix(s, "ecdsa-") ||
		strings.HasPrefix(s, "webauthn-")
}

// formatPublicKey returns the line of a .pub file, without a line feed.
func formatPublicKey(pub ssh.PublicKey, comment string) string {
	s := strings.TrimSuffix(string(ssh.MarshalAuthorizedKey(pub)), "\n")
	if comment != "" {
		s += " " + comment
	}
	return s
}

func sameKey(a, b ssh.PublicKey) bool { return bytes.Equal(a.Marshal(), b.Marshal()) }
