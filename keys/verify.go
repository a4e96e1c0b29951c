package keys

import (
	"slices"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"

	"outbreath/keys/sshsig"
)

// A Reason is why a signature is not accepted. Its values are stable: callers choose their
// advice by them.
type Reason string

const (
	NotSignature   Reason = "not-a-signature"
	UnknownSigner  Reason = "unknown-signer"  // the key is on no line of the list
	RevokedSigner  Reason = "revoked-signer"  // the key was revoked here
	OtherName      Reason = "other-name"      // the key is listed, for somebody else
	OtherNamespace Reason = "other-namespace" // the signature is for another purpose
	NotTrustedFor  Reason = "not-trusted-for" // the key is, but not for this purpose
	NotValidThen   Reason = "not-valid-then"  // before valid-after, or between two times of validity
	Expired        Reason = "expired"         // after valid-before, or after the last day of use
	DataChanged    Reason = "data-changed"
)

// A SignatureError is the error of [Allowed.Verify]. Message holds names and
// fingerprints from the list and the caller, and nothing from the message or the signature
// except the fingerprint of its key.
type SignatureError struct {
	Reason      Reason
	Fingerprint string // "SHA256:..." of the key that signed; "" for NotSignature
	Namespace   string // that was asked for
	Name        string // of the signer that was expected; of RevokedSigner, whose key it was
	By          string // who revoked the key; "" for other reasons
	Message     string // the fact
}

func (e *SignatureError) Error() string { return e.Message }

// Verify checks an armored SSHSIG signature over message: that it was made by a key that
// the list gives to principal, for namespace, and that the key is valid at the time at. The
// error is a *[SignatureError] for the first of these that fails.
//
// Bounds of validity are inclusive, to the second. Those without a Z are in at's own time
// zone, so pass a local time to agree with ssh-keygen.
func (a *Allowed) Verify(message, armored []byte, principal, namespace string, at time.Time) error {
	sig, err := sshsig.Parse(armored)
	if err != nil {
		return &SignatureError{Reason: NotSignature, Namespace: namespace, Name: principal, Message: err.Error()}
	}
	fingerprint := ssh.FingerprintSHA256(sig.PublicKey)
	refuse := func(r Reason, text string) error {
		return &SignatureError{Reason: r, Fingerprint: fingerprint, Namespace: namespace, Name: principal,
			Message: text}
	}

	if r, ok := a.revoked[fingerprint]; ok {
		return &SignatureError{Reason: RevokedSigner, Fingerprint: fingerprint, Namespace: namespace, Name: r.Name,
			By:      r.By,
			Message: "signed by a key of " + r.Name + " that was " + r.String()}
	}
	byKey := a.filter(func(l allowedLine) bool { return sameKey(l.key, sig.PublicKey) })
	if len(byKey) == 0 {
		return refuse(UnknownSigner, "signed by a key that is not trusted here ("+fingerprint+")")
	}
	byName := filter(byKey, func(l allowedLine) bool { return slices.Contains(l.principals, principal) })
	if len(byName) == 0 {
		return refuse(OtherName, "signed by "+names(byKey)+", not under the expected name")
	}
	if namespace == "" || sig.Namespace != namespace {
		return refuse(OtherNamespace,
			"the signature is "+principal+"'s, but was made for another purpose and moved here")
	}
	byUse := filter(byName, func(l allowedLine) bool { return l.covers(namespace) })
	if len(byUse) == 0 {
		return refuse(NotTrustedFor, principal+"'s key is trusted, but not for this purpose")
	}
	at = at.Truncate(time.Second)
	early := filter(byUse, func(l allowedLine) bool {
		return !l.after.isZero() && at.Before(l.after.in(at.Location()))
	})
	late := filter(byUse, func(l allowedLine) bool {
		return !l.before.isZero() && at.After(l.before.in(at.Location()))
	})
	inTime := filter(byUse, func(l allowedLine) bool { return l.validAt(at) })
	switch {
	case len(inTime) > 0:
	case len(early) == len(byUse):
		return refuse(NotValidThen, principal+"'s key is not valid yet (valid-after in allowed_signers)")
	case len(late) == len(byUse):
		return refuse(Expired, principal+"'s key is no longer valid (valid-before in allowed_signers)")
	default:
		return refuse(NotValidThen,
			principal+"'s key is not valid at this time (valid-after and valid-before in allowed_signers)")
	}
	if c := a.contacts[fingerprint]; c.expires != "" && at.Format(time.DateOnly) > c.expires {
		return refuse(Expired, principal+"'s key expired on "+c.expires)
	}
	if sig.Verify(message, namespace) != nil {
		return refuse(DataChanged, "the data or the signature was changed after "+principal+" signed")
	}
	return nil
}

// keyThatSigned returns the fingerprint of the key that made a signature, or "" if armored is
// not a signature.
func keyThatSigned(armored []byte) string {
	sig, err := sshsig.Parse(armored)
	if err != nil {
		return ""
	}
	return ssh.FingerprintSHA256(sig.PublicKey)
}

// validAt reports whether the key is within its bounds of validity.
func (l allowedLine) validAt(at time.Time) bool {
	return (l.after.isZero() || !at.Before(l.after.in(at.Location()))) &&
		(l.before.isZero() || !at.After(l.before.in(at.Location())))
}

func (a *Allowed) filter(keep func(allowedLine) bool) []allowedLine { return filter(a.lines, keep) }

func filter(lines []allowedLine, keep func(allowedLine) bool) []allowedLine {
	var out []allowedLine
	for _, l := range lines {
		if keep(l) {
			out = append(out, l)
		}
	}
	return out
}

// names lists the principals of lines, each once.
func names(lines []allowedLine) string {
	var all []string
	for _, l := range lines {
		for _, p := range l.principals {
			if !slices.Contains(all, p) {
				all = append(all, p)
			}
		}
	}
	return strings.Join(all, ", ")
}
