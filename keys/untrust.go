package keys

import (
	"bytes"
	"slices"
	"strings"

	"golang.org/x/crypto/ssh"
)

// rewrite turns the lines of a public list whose keys are gone into comments, each after
// when, and appends lines; all of it or nothing.
func (f *Folder) rewrite(name string, gone []string, when string, lines []string) error {
	old, _, err := f.read(name, false, maxList)
	if err != nil {
		return err
	}
	var text []byte
	changed := len(lines) > 0
	for line := range bytes.Lines(old) {
		if trimmed := strings.TrimSpace(string(line)); trimmed != "" && trimmed[0] != '#' &&
			slices.Contains(gone, lineFingerprint(trimmed)) {
			text, changed = append(text, "# "+when+": "...), true
		}
		text = append(text, line...)
	}
	if !changed {
		return nil
	}
	text = appendLines(text, lines...)
	if len(text) > maxList {
		return fault(FullList, f.path(name), "has no room for more keys (%d bytes at most)", maxList)
	}
	return f.replace(name, text, 0o644)
}

// lineFingerprint returns the fingerprint of the key in a line of recipients.txt or
// allowed_signers, or "" if there is none.
func lineFingerprint(line string) string {
	if l, problem := parseAllowedLine(line); problem == nil {
		return ssh.FingerprintSHA256(l.key)
	}
	if r, problem := parseRecipient(line); problem == nil {
		return r.fingerprint()
	}
	return ""
}

// RevokeOptions say who revokes a key, when and why.
type RevokeOptions struct {
	Day    string // today, 2026-11-25; required
	By     string // a person's name; must not be empty
	Reason string // one line; may be empty
}

// Untrust revokes all keys of name, and returns them. What was encrypted to a recipient
// remains readable to it; what a signer signed is no longer accepted. The error is an
// *[Error]: [NobodyTrusted] if no key has that name, [BadDay] or [BadReason] for o.
func (f *Folder) Untrust(name string, o RevokeOptions) ([]Trusted, error) {
	if err := checkToday(o.Day); err != nil {
		return nil, err
	}
	unlock, err := f.lock()
	if err != nil {
		return nil, err
	}
	defer unlock()
	_, trusted, err := f.Public()
	if err != nil {
		return nil, err
	}
	gone := slices.DeleteFunc(trusted, func(t Trusted) bool { return t.Name != name || name == "" })
	if len(gone) == 0 {
		return nil, fault(NobodyTrusted, "", "no key is trusted under the name that was given")
	}
	var prints []string
	var revoked []Revocation
	for _, t := range gone {
		prints = append(prints, t.Fingerprint)
		revoked = append(revoked, Revocation{Fingerprint: t.Fingerprint, Name: name, Day: o.Day, By: o.By,
			Reason: o.Reason})
	}
	if err := f.revoke(revoked); err != nil { // first, so that the keys are revoked even after a crash
		return nil, err
	}
	for _, file := range []string{recipientsFile, allowedFile} {
		if err := f.rewrite(file, prints, "removed "+o.Day, nil); err != nil {
			return nil, err
		}
	}
	list, err := f.contacts()
	if err != nil {
		return nil, err
	}
	return gone, f.writeContacts(slices.DeleteFunc(list, func(c contact) bool {
		return slices.Contains(prints, c.fingerprint)
	}))
}
