package keys

import (
	"slices"
	"strings"

	"filippo.io/age"
)

// Identities reads identity.txt or identity.age (lab). If recipient.txt is
// there, what it lists must belong to the identities: else the laboratory would
// hand out a recipient that it cannot open for.
func (f *Folder) Identities() ([]age.Identity, error) {
	name := identityPlain
	if _, found, err := f.read(identityAge, true, maxSecret); err != nil {
		return nil, err
	} else if found {
		name = identityAge
	}
	text, err := f.readSecret(name, "the laboratory's identity")
	if err != nil {
		return nil, err
	}
	path := f.path(name)
	var out []age.Identity
	var own []string
	for n, line := range textLines(text) {
		id, public, ok := parseIdentity(line)
		if !ok {
			return nil, fault(path, "line %d is not an age identity (AGE-SECRET-KEY-1... or AGE-SECRET-KEY-PQ-1...), or is cut short; put back your copy of this file", n)
		}
		out = append(out, id)
		own = append(own, public)
	}
	if len(out) == 0 {
		return nil, fault(path, "holds no age identity; put back your copy of this file")
	}
	list, err := f.ownRecipients()
	if err != nil {
		return nil, err
	}
	for _, r := range list {
		if !slices.Contains(own, r.text) {
			return nil, fault(f.path(recipientFile), "lists a recipient that does not belong to %s; put back the files that were made together", name)
		}
	}
	return out, nil
}

// parseIdentity reads one secret key line of an identity file and hides it.
// public is its recipient.
func parseIdentity(line string) (id age.Identity, public string, ok bool) {
	if strings.HasPrefix(line, "AGE-SECRET-KEY-PQ-1") {
		h, err := age.ParseHybridIdentity(line)
		if err != nil {
			return nil, "", false
		}
		return identity{h.Unwrap}, h.Recipient().String(), true
	}
	x, err := age.ParseX25519Identity(line)
	if err != nil {
		return nil, "", false
	}
	return identity{x.Unwrap}, x.Recipient().String(), true
}

// ownRecipients reads recipient.txt (lab); a missing file is an empty list.
func (f *Folder) ownRecipients() ([]recipient, error) {
	data, _, err := f.read(recipientFile, false, maxPublic)
	if err != nil {
		return nil, err
	}
	return parseRecipients(f.path(recipientFile), data)
}
