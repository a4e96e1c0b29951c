package keys

import (
	"slices"

	"golang.org/x/crypto/ssh"
)

// What each side signs, and so what the other side trusts its key for.
var (
	siteNamespaces = []string{"shipment@outbreath", "bag@outbreath", "notice@outbreath"}
	labNamespaces  = []string{"receipt@outbreath"}
)

// otherSideSigns returns what a folder with role r trusts signers for.
func (r Role) otherSideSigns() []string {
	if r == Lab {
		return siteNamespaces
	}
	return labNamespaces
}

// A Trusted is one public key that Trust added or found already there, or one
// line of Public.
type Trusted struct {
	Kind string `json:"kind"` // "recipient" or "signer"
	Name string `json:"name"` // principal of a signer; several are joined by commas
	Type string `json:"type"` // "post-quantum hybrid", "X25519", "ssh-ed25519" ...

	// Fingerprint is "SHA256:..." as OpenSSH writes it: of the key of a signer,
	// of the text age1... of a recipient.
	Fingerprint string `json:"fingerprint"`
	Already     bool   `json:"already"` // it was trusted before
}

func trustedRecipient(r recipient, already bool) Trusted {
	return Trusted{"recipient", "", r.kind(), r.fingerprint(), already}
}

func trustedSigner(key ssh.PublicKey, name string, already bool) Trusted {
	return Trusted{"signer", name, key.Type(), ssh.FingerprintSHA256(key), already}
}

// An offer is one public key found in what was handed to Trust: a recipient,
// or a signer with its comment.
type offer struct {
	line      int
	recipient recipient
	signer    ssh.PublicKey
	comment   string
}

// Trust adds the public keys in data (age recipients, OpenSSH public keys, in
// any order, comments allowed) to recipients.txt and allowed_signers. name is
// the principal for signers; empty means the comment of the key. A signer that
// is already listed under that name with another key is refused.
//
// Nothing is written unless all of data is accepted. Signers are trusted only
// for what their side signs: shipments, bags and notices of a site, receipts of
// a laboratory. A laboratory's folder takes no recipients.
func (f *Folder) Trust(data []byte, name string) ([]Trusted, error) {
	if name != "" && !validName(name) {
		return nil, fault("", "the name given for the signer is not one: use 1 to 64 letters, digits, dots, hyphens and underscores, as in the site code")
	}
	offers, err := parseOffers(data)
	if err != nil {
		return nil, err
	}
	unlock, err := f.lock()
	if err != nil {
		return nil, err
	}
	defer unlock()
	own, _, err := f.ownSigner()
	if err != nil {
		return nil, err
	}
	recipients, err := f.recipients()
	if err != nil {
		return nil, err
	}
	allowed, err := f.Allowed()
	if err != nil {
		return nil, err
	}

	var out []Trusted
	var newRecipients, newSigners []string
	for _, o := range offers {
		var t Trusted
		if o.signer == nil {
			if f.role == Lab {
				return nil, fault("", "line %d is an age recipient, and a laboratory encrypts for nobody; the file to add here is a site's public-keys.txt", o.line)
			}
			already := slices.ContainsFunc(recipients, func(r recipient) bool { return r.text == o.recipient.text })
			t = trustedRecipient(o.recipient, already)
			if !already {
				recipients = append(recipients, o.recipient)
				newRecipients = append(newRecipients, o.recipient.text)
			}
		} else {
			if own != nil && sameKey(own, o.signer) {
				return nil, fault("", "line %d is this folder's own signing key; the file to add is the other side's public-keys.txt", o.line)
			}
			line, already, err := allowed.admit(o, name, f.role.otherSideSigns())
			if err != nil {
				return nil, err
			}
			t = trustedSigner(o.signer, line.principals[0], already)
			if !already {
				allowed.lines = append(allowed.lines, line)
				newSigners = append(newSigners, line.format())
			}
		}
		out = append(out, t)
	}
	if mixed(recipients) {
		return nil, fault("", "%s; ask this laboratory for a recipient of the kind that %s already lists, or take the old lines out first", mixtureHelp, recipientsFile)
	}
	if err := f.addLines(recipientsFile, newRecipients); err != nil {
		return nil, err
	}
	if err := f.addLines(allowedFile, newSigners); err != nil {
		return nil, err
	}
	return out, nil
}

// admit makes the line of allowed_signers for o, unless it is there already or
// contradicts one that is.
func (a *Allowed) admit(o offer, name string, namespaces []string) (l allowedLine, already bool, err error) {
	if name == "" {
		name = o.comment
	}
	if !validName(name) {
		return l, false, fault("", "line %d is a signer's key without a name; give the name with --name: the site code, or the laboratory's short name", o.line)
	}
	l = allowedLine{principals: []string{name}, namespaces: namespaces, key: o.signer}
	for _, old := range a.lines {
		named, same := slices.Contains(old.principals, name), sameKey(old.key, o.signer)
		switch {
		case named && same && old.covers(namespaces...):
			already = true
		case named && same:
			return l, false, fault("", "%s is listed in %s with this key for other purposes only; take that line out, then trust the key again", name, allowedFile)
		case named:
			return l, false, fault("", "line %d is a new key for %s, which is trusted with another one (%s); ask %s by telephone whether the key was changed, and only then take the old line out of %s and trust the new key", o.line, name, ssh.FingerprintSHA256(old.key), name, allowedFile)
		case same:
			return l, false, fault("", "line %d is the key that is trusted for %s already; each site and laboratory has its own: check that this is the right file, and the name", o.line, names([]allowedLine{old}))
		}
	}
	return l, already, nil
}

// parseOffers reads what was handed to Trust, each key once. Errors have no
// path and never quote a line.
func parseOffers(data []byte) ([]offer, error) {
	if len(data) > maxList {
		return nil, fault("", "is larger than %d bytes; a file of public keys is expected", maxList)
	}
	var offers []offer
	seen := map[string]bool{}
	for n, line := range textLines(data) {
		o := offer{line: n}
		var problem, id string
		switch kind, _ := field(line); {
		case secretLine(line) != "":
			problem = "holds " + secretLine(line) + ", which must never be handed over; ask for the public key, and tell the owner that this key is no longer secret"
		case looksLikeKeyType(kind):
			o.signer, o.comment, problem = parsePublicKey(line)
			if problem == "" {
				id = string(o.signer.Marshal()) + o.comment
			}
		case len(kind) > 4 && kind[:4] == "age1":
			o.recipient, problem = parseRecipient(line)
			id = o.recipient.text
		default:
			problem = "is neither an age recipient (age1...) nor an OpenSSH public key (ssh-ed25519 ...); a public-keys.txt file, as keys new makes it, is expected"
		}
		if problem != "" {
			return nil, fault("", "line %d %s", n, problem)
		}
		if !seen[id] {
			seen[id] = true
			offers = append(offers, o)
		}
	}
	if len(offers) == 0 {
		return nil, fault("", "holds no public key; the other side's public-keys.txt is expected: age recipients (age1...) and OpenSSH public keys (ssh-ed25519 ...), one a line")
	}
	return offers, nil
}

// addLines appends lines to a public list of the folder, whole or not at all.
func (f *Folder) addLines(name string, lines []string) error {
	if len(lines) == 0 {
		return nil
	}
	old, _, err := f.read(name, false, maxList)
	if err != nil {
		return err
	}
	text := appendLines(old, lines...)
	if len(text) > maxList {
		return fault(f.path(name), "has no room for more keys (%d bytes at most); take out lines that are not needed", maxList)
	}
	return f.replace(name, text)
}

// Public lists the folder's own public keys and those it trusts.
func (f *Folder) Public() (own, trusted []Trusted, err error) {
	key, name, err := f.ownSigner()
	if err != nil {
		return nil, nil, err
	}
	mine, err := f.ownRecipients()
	if err != nil {
		return nil, nil, err
	}
	theirs, err := f.recipients()
	if err != nil {
		return nil, nil, err
	}
	allowed, err := f.Allowed()
	if err != nil {
		return nil, nil, err
	}
	for _, r := range mine {
		own = append(own, trustedRecipient(r, false))
	}
	if key != nil {
		own = append(own, trustedSigner(key, name, false))
	}
	for _, r := range theirs {
		trusted = append(trusted, trustedRecipient(r, true))
	}
	for _, l := range allowed.lines {
		trusted = append(trusted, trustedSigner(l.key, names([]allowedLine{l}), true))
	}
	return own, trusted, nil
}
