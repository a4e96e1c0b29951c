package keys

import (
	"cmp"
	"errors"
	"slices"

	"golang.org/x/crypto/ssh"
)

// siteNamespaces and labNamespaces are what each side signs, and so what the other side trusts
// its key for.
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

// A Trusted is one public key as [Folder.Trust], [Folder.Public] and others return it.
type Trusted struct {
	Kind string `json:"kind"` // "recipient" or "signer"
	Name string `json:"name"` // of its owner; several names of a signer are joined by commas
	Type string `json:"type"` // "post-quantum hybrid", "X25519", "ssh-ed25519" ...

	// Fingerprint is "SHA256:..." in OpenSSH's form: of a signer's key, or of the text age1...
	// of a recipient. Words encode its first 132 bits, Groups all 256, to be read out.
	Fingerprint string   `json:"fingerprint"`
	Words       []string `json:"words"`
	Groups      []string `json:"groups"`
	Already     bool     `json:"already"`            // it was trusted before
	Compared    string   `json:"compared,omitempty"` // day on which two people compared it

	Revoked *Revocation `json:"revoked,omitempty"` // it was revoked here before
	Expires string      `json:"expires,omitempty"` // last day on which it is used
}

func newTrusted(kind, name, keyType, fingerprint string, already bool) Trusted {
	sum := fingerprintSum(fingerprint)
	return Trusted{Kind: kind, Name: name, Type: keyType, Fingerprint: fingerprint, Words: spoken(sum),
		Groups: groupsOf(sum), Already: already}
}

func trustedRecipient(r recipient, already bool) Trusted {
	return newTrusted("recipient", "", r.kind(), r.fingerprint(), already)
}

func trustedSigner(key ssh.PublicKey, name string, already bool) Trusted {
	return newTrusted("signer", name, key.Type(), ssh.FingerprintSHA256(key), already)
}

// TrustOptions are the choices of [Folder.Trust].
type TrustOptions struct {
	File          string // where the keys are from, for errors
	Name          string // whose they are; "" is the comment of the signer's key
	Day           string // today, 2026-11-25; required
	Compared      bool   // two people have compared the words
	Expires       string // last day of use; "" is none
	SSHRecipients bool   // SSH keys are recipients, not signers
	Replace       bool   // other keys under the same name are revoked
	By            string // who trusts them
	Reason        string // why a revoked key is trusted again; required for that, with Compared
}

// Trust adds the public keys in data (age recipients and OpenSSH public keys, in any order,
// comments allowed) to recipients.txt and allowed_signers, and their owners to contacts.txt.
// A key that differs from the one trusted under that name is refused unless o.Replace is
// set.
//
// Nothing is written unless all of data is accepted. Signers are trusted only for what
// their side signs: shipments, bags and notices of a site, receipts of a laboratory. A
// laboratory's folder accepts no recipients.
func (f *Folder) Trust(data []byte, o TrustOptions) ([]Trusted, error) {
	unlock, err := f.lock()
	if err != nil {
		return nil, err
	}
	defer unlock()
	p, err := f.plan(data, o)
	if err != nil {
		return nil, err
	}
	if err := p.mayTrust(); err != nil {
		return nil, err
	}
	if err := f.revoke(p.turns()); err != nil {
		return nil, err
	}
	if err := f.rewrite(recipientsFile, p.gone, "replaced "+o.Day, p.newRecipients); err != nil {
		return nil, err
	}
	if err := f.rewrite(allowedFile, p.gone, "replaced "+o.Day, p.newSigners); err != nil {
		return nil, err
	}
	return p.keys, f.writeContacts(p.contacts)
}

// Offered returns what Trust would add, and changes nothing. Unlike Trust it accepts a
// revoked key without a reason, and shows it in Revoked.
func (f *Folder) Offered(data []byte, o TrustOptions) ([]Trusted, error) {
	p, err := f.plan(data, o)
	if err != nil {
		return nil, err
	}
	return p.keys, nil
}

// A trustPlan is what Trust is going to write, and what it is computed from.
type trustPlan struct {
	TrustOptions
	keys                      []Trusted
	newRecipients, newSigners []string // lines
	gone                      []string // fingerprints of keys that are revoked

	own        ssh.PublicKey
	role       Role
	recipients []recipient // as they will be, like allowed and contacts
	allowed    *Allowed
	contacts   []contact
	revoked    map[string]Revocation
}

// mayTrust refuses a revoked key unless its words were compared and a reason is given.
func (p *trustPlan) mayTrust() error {
	for _, t := range p.keys {
		if t.Revoked != nil && (p.Reason == "" || !p.Compared) {
			return fault(RevokedKey, "",
				"a key of %s in this file was %s", t.Revoked.Name, t.Revoked).of(t.Revoked.Name)
		}
	}
	return nil
}

// turns returns the new lines of revoked.txt: keys that are replaced, and keys that are
// trusted again.
func (p *trustPlan) turns() (list []Revocation) {
	by := cmp.Or(p.By, "-")
	for _, fingerprint := range p.gone {
		list = append(list, Revocation{Fingerprint: fingerprint, Name: p.nameOf(fingerprint), Day: p.Day, By: by,
			Reason: "replaced by another key"})
	}
	for _, t := range p.keys {
		if t.Revoked != nil {
			list = append(list, Revocation{Fingerprint: t.Fingerprint, Name: t.Revoked.Name, Day: p.Day, By: by,
				Reason: p.Reason, again: true})
		}
	}
	return list
}

// nameOf returns whose a key is, for the record of its revocation.
func (p *trustPlan) nameOf(fingerprint string) string {
	for _, c := range p.contacts {
		if c.fingerprint == fingerprint && c.name != "" {
			return c.name
		}
	}
	return cmp.Or(p.Name, "-")
}

// plan computes what Trust would write, and refuses what it must not trust.
func (f *Folder) plan(data []byte, o TrustOptions) (*trustPlan, error) {
	if err := checkToday(o.Day); err != nil {
		return nil, err
	}
	if o.Name != "" && !validName(o.Name) {
		return nil, fault(BadName, "", "the name given cannot be a signer's name")
	}
	if o.Expires != "" && !validDay(o.Expires) {
		return nil, fault(BadDay, "", "the last day of use is not a date")
	}
	if o.Expires != "" && o.Expires < o.Day {
		return nil, fault(DayOver, "",
			"the last day of use is over: it was %s, and today is %s; nothing was trusted", o.Expires, o.Day)
	}
	offers, err := parseOffers(data, o.SSHRecipients)
	if err != nil {
		return nil, ofFile(o.File, err)
	}
	p := &trustPlan{TrustOptions: o, role: f.role}
	if p.own, _, err = f.ownSigner(); err != nil {
		return nil, err
	}
	if p.recipients, err = f.recipients(); err != nil {
		return nil, err
	}
	if p.allowed, err = f.Allowed(); err != nil {
		return nil, err
	}
	if p.contacts, err = f.contacts(); err != nil {
		return nil, err
	}
	if p.revoked, err = f.revoked(); err != nil {
		return nil, err
	}
	owner := ownerOf(offers, o.Name)
	for _, k := range offers {
		var t Trusted
		if k.signer == nil {
			t, err = p.takeRecipient(k, owner, offers)
		} else {
			t, err = p.takeSigner(k)
		}
		if err != nil {
			return nil, ofFile(o.File, err)
		}
		p.note(&t)
		if r, ok := p.revoked[t.Fingerprint]; ok {
			t.Revoked = &r
		}
		p.keys = append(p.keys, t)
	}
	if mixed(p.recipients) {
		return nil, fault(MixedOffer, "", "%s", mixture)
	}
	return p, nil
}

// ofFile adds the path of the file to an error about its contents.
func ofFile(path string, err error) error {
	if e, ok := errors.AsType[*Error](err); ok && e.Path == "" {
		placed := *e
		placed.Path = path
		return &placed
	}
	return err
}

// takeRecipient adds an offered recipient of owner to the plan. Another recipient of the same
// owner must be among the offers too, or is replaced.
func (p *trustPlan) takeRecipient(k offer, owner string, offers []offer) (t Trusted, err error) {
	if p.role == Lab {
		return t, fault(RecipientForLab, "",
			"line %d is an age recipient, and a laboratory encrypts for nobody", k.line)
	}
	already := slices.ContainsFunc(p.recipients, func(r recipient) bool { return r.text == k.recipient.text })
	t = trustedRecipient(k.recipient, already)
	t.Name = owner
	if already {
		return t, nil
	}
	for _, r := range slices.Clone(p.recipients) {
		offered := slices.ContainsFunc(offers, func(o offer) bool { return o.recipient.text == r.text })
		if owner == "" || offered || trustedRecipient(r, true).about(p.contacts).Name != owner {
			continue
		}
		if !p.Replace {
			return t, changedKey(k.line, owner, r.fingerprint())
		}
		p.gone = append(p.gone, r.fingerprint())
		p.recipients = slices.DeleteFunc(p.recipients, func(o recipient) bool { return o.text == r.text })
	}
	p.recipients = append(p.recipients, k.recipient)
	p.newRecipients = append(p.newRecipients, k.recipient.text)
	return t, nil
}

// takeSigner adds an offered signer to the plan.
func (p *trustPlan) takeSigner(k offer) (t Trusted, err error) {
	if p.own != nil && sameKey(p.own, k.signer) {
		return t, fault(OwnKey, "", "line %d is this folder's own signing key", k.line)
	}
	if p.Replace {
		name := cmp.Or(p.Name, k.comment)
		p.allowed.lines = slices.DeleteFunc(p.allowed.lines, func(l allowedLine) bool {
			old := len(l.principals) == 1 && l.principals[0] == name && !sameKey(l.key, k.signer)
			if old {
				p.gone = append(p.gone, ssh.FingerprintSHA256(l.key))
			}
			return old
		})
	}
	line, already, err := p.allowed.admit(k, p.Name, p.role.otherSideSigns())
	if err != nil {
		return t, err
	}
	if !already {
		p.allowed.lines = append(p.allowed.lines, line)
		p.newSigners = append(p.newSigners, line.format())
	}
	return trustedSigner(k.signer, line.principals[0], already), nil
}

// note updates the contact of the key t, and t from it.
func (p *trustPlan) note(t *Trusted) {
	c := contact{fingerprint: t.Fingerprint, name: t.Name, trusted: p.Day}
	i := slices.IndexFunc(p.contacts, func(c contact) bool { return c.fingerprint == t.Fingerprint })
	if i >= 0 {
		c.trusted, c.compared, c.expires = p.contacts[i].trusted, p.contacts[i].compared, p.contacts[i].expires
	}
	if p.Compared {
		c.compared = p.Day
	}
	if p.Expires != "" {
		c.expires = p.Expires
	}
	t.Compared, t.Expires = c.compared, c.expires
	if i >= 0 {
		p.contacts[i] = c
	} else {
		p.contacts = append(p.contacts, c)
	}
}

// changedKey is the error about another key under a name that is trusted.
func changedKey(line int, name, old string) error {
	return fault(ChangedKey, "", "line %d is another key for %s than the one that is trusted (%s). "+
		"That may mean that %s made new keys, that two files were mixed up, or that somebody put their "+
		"own keys in between to read or forge shipments. Nothing was changed", line, name, old, name).of(name)
}

// admit returns the line of allowed_signers for o. already means that the list trusts the key
// under that name; a line that contradicts the list is an error.
func (a *Allowed) admit(o offer, name string, namespaces []string) (l allowedLine, already bool, err error) {
	if name == "" {
		name = o.comment
	}
	if !validName(name) {
		return l, false, fault(NamelessKey, "", "line %d is a signer's key without a name", o.line)
	}
	l = allowedLine{principals: []string{name}, namespaces: namespaces, key: o.signer}
	for _, old := range a.lines {
		named, same := slices.Contains(old.principals, name), sameKey(old.key, o.signer)
		switch {
		case named && same && old.covers(namespaces...):
			already = true
		case named && same:
			return l, false, fault(OtherPurpose, "",
				"%s is listed in %s with this key for other purposes only", name, allowedFile).of(name)
		case named:
			return l, false, changedKey(o.line, name, ssh.FingerprintSHA256(old.key))
		case same:
			return l, false, fault(SharedKey, "",
				"line %d is the key that is trusted for %s already, and each site and laboratory has its own", o.line,
				names([]allowedLine{old}))
		}
	}
	return l, already, nil
}

// Public returns the folder's own public keys, and those that it trusts.
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
	list, err := f.contacts()
	if err != nil {
		return nil, nil, err
	}
	for _, r := range mine {
		t := trustedRecipient(r, false)
		t.Name = name
		own = append(own, t)
	}
	if key != nil {
		own = append(own, trustedSigner(key, name, false))
	}
	for _, r := range theirs {
		trusted = append(trusted, trustedRecipient(r, true).about(list))
	}
	for _, l := range allowed.lines {
		trusted = append(trusted, trustedSigner(l.key, names([]allowedLine{l}), true).about(list))
	}
	return own, trusted, nil
}
