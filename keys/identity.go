package keys

import (
	"errors"
	"slices"
	"strings"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"
)

// Identities reads identity.txt, identity.age or identity_ssh (lab). If there is a
// recipient.txt, its recipients must belong to the identities: otherwise the laboratory
// would hand out a recipient whose shipments it cannot open.
func (f *Folder) Identities() ([]age.Identity, error) {
	name := identityPlain
	if data, found, err := f.read(identitySSH, true, maxSecret); err != nil {
		return nil, err
	} else if found {
		return f.sshIdentities(data)
	}
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
	plugins := false
	for n, line := range textLines(text) {
		if isPluginIdentity(line) {
			id, problem := f.pluginIdentity(line)
			if problem != nil {
				return nil, problem.at(path, atLine(n))
			}
			out, plugins = append(out, id), true
			continue
		}
		id, public, ok := parseIdentity(line)
		if !ok {
			return nil, fault(DamagedFile, path,
				"line %d is not an age identity (AGE-SECRET-KEY-1... or AGE-SECRET-KEY-PQ-1...), or is cut short", n)
		}
		out = append(out, id)
		own = append(own, public)
	}
	if len(out) == 0 {
		return nil, fault(DamagedFile, path, "holds no age identity")
	}
	return out, f.belongs(name, own, plugins)
}

// belongs checks that recipient.txt lists only recipients of the identities in
// the file called name. Which recipients belong to a plugin's identity is not known here, so
// with plugins any recipient of a plugin passes.
func (f *Folder) belongs(name string, own []string, plugins bool) error {
	list, err := f.ownRecipients()
	if err != nil {
		return err
	}
	for _, r := range list {
		if !slices.Contains(own, r.text) && !(plugins && r.plugin != "") {
			return fault(UnmatchedFiles, f.path(recipientFile), "lists a recipient that does not belong to %s", name)
		}
	}
	return nil
}

// sshIdentities returns the identity in identity_ssh, whose contents are data.
func (f *Folder) sshIdentities(data []byte) ([]age.Identity, error) {
	path := f.path(identitySSH)
	var (
		id     age.Identity
		public string
	)
	read := func(pass []byte) (err error) {
		id, public, err = sshIdentity(data, func() ([]byte, error) { return pass, nil })
		if errors.Is(err, ErrPassphrase) {
			return wrongPassphrase(path)
		}
		return err
	}
	var err error
	if _, open := ssh.ParseRawPrivateKey(data); errors.As(open, new(*ssh.PassphraseMissingError)) {
		err = f.unlock(identitySSH, "the laboratory's identity", read)
	} else {
		err = read(nil)
	}
	switch {
	case errors.Is(err, errNotSSHKey):
		return nil, fault(DamagedFile, path, "%s", err)
	case err != nil:
		return nil, err
	}
	return []age.Identity{id}, f.belongs(identitySSH, []string{public}, false)
}

// parseIdentity reads one secret key line of an identity file, and hides the key from
// printing. public is its recipient.
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
