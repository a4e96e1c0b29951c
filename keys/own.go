package keys

import (
	"golang.org/x/crypto/ssh"

	"outbreath/keys/sshsig"
)

// Sign signs message with the folder's signing key under namespace, and returns the armored
// SSHSIG signature. It may ask for the passphrase.
func (f *Folder) Sign(namespace string, message []byte) ([]byte, error) {
	s, err := f.Signer()
	if err != nil {
		return nil, err
	}
	return sshsig.Sign(s, namespace, message)
}

// VerifyOwn checks that armored is a signature over message made with this folder's own
// signing key. It needs no secret. The error is a
// *[SignatureError] or an *[Error] about the folder.
func (f *Folder) VerifyOwn(message, armored []byte, namespace string) error {
	pub, _, err := f.ownSigner()
	if err != nil {
		return err
	}
	if pub == nil {
		return f.missing(DamagedFile, signingPub)
	}
	sig, err := sshsig.Parse(armored)
	if err != nil {
		return &SignatureError{Reason: NotSignature, Message: err.Error()}
	}
	fingerprint := ssh.FingerprintSHA256(sig.PublicKey)
	refuse := func(r Reason, text string) error {
		return &SignatureError{Reason: r, Fingerprint: fingerprint, Message: text}
	}
	switch {
	case !sameKey(pub, sig.PublicKey):
		return refuse(UnknownSigner, "signed by another key ("+fingerprint+") than this folder's")
	case sig.Verify(message, namespace) == sshsig.ErrNamespace:
		return refuse(OtherNamespace, "signed with this folder's key, but for another purpose")
	case sig.Verify(message, namespace) != nil:
		return refuse(DataChanged, "the data was changed after it was signed with this folder's key")
	}
	return nil
}
