package keys

import (
	"cmp"
	"crypto/sha256"
	"encoding/base64"
	"slices"
	"strings"

	"filippo.io/age"
	"filippo.io/age/plugin"
	"golang.org/x/crypto/ssh"
)

// A recipient is one public key that archives are encrypted to.
type recipient struct {
	age.Recipient               // nil for a plugin's, until usable makes it
	text          string        // as in a file: "age1...", "age1pq1..." or "ssh-ed25519 AAAA..."
	hybrid        bool          // post-quantum
	ssh           ssh.PublicKey // of an SSH key
	plugin        string        // name of the program age-plugin-NAME that knows it
}

func (r recipient) kind() string {
	switch {
	case r.hybrid:
		return "post-quantum hybrid"
	case r.ssh != nil:
		return r.ssh.Type()
	case r.plugin != "":
		return "by age-plugin-" + r.plugin
	}
	return "X25519"
}

// fingerprint returns the SHA-256 of the recipient's text in the form of OpenSSH's
// fingerprints, short enough to compare by telephone. For an SSH key it is OpenSSH's own.
func (r recipient) fingerprint() string {
	if r.ssh != nil {
		return ssh.FingerprintSHA256(r.ssh)
	}
	sum := sha256.Sum256([]byte(r.text))
	return "SHA256:" + base64.RawStdEncoding.EncodeToString(sum[:])
}

// parseRecipient reads one recipient. It does not pass on age's own messages, which quote
// their input, and runs no plugin.
func parseRecipient(s string) (r recipient, problem *Error) {
	r.text = s
	damaged := bad(CutLine, "is an age recipient that is damaged or cut short")
	var err error
	switch last := strings.LastIndexByte(s, '1'); { // Bech32: the data has no "1"
	case secretLine(s) != "":
		return r, bad(SecretInList, "holds "+secretLine(s)+" where a public key belongs")
	case strings.HasPrefix(s, "age1pq1") && last == len("age1pq"):
		r.hybrid = true
		r.Recipient, err = age.ParseHybridRecipient(s)
	case strings.HasPrefix(s, "age1") && last == len("age"):
		r.Recipient, err = age.ParseX25519Recipient(s)
	case strings.HasPrefix(s, "age1"):
		if r.plugin, _, err = plugin.ParseRecipient(s); err != nil {
			return r, damaged
		}
		return r, nil
	case looksLikeKeyType(s):
		return sshRecipient(s)
	default:
		return r, bad(BadLine, "is neither an age recipient (age1... or age1pq1...) nor an SSH key")
	}
	if err == nil {
		// Some points can be written but not encrypted to: find out now.
		_, err = r.Wrap(make([]byte, 16))
	}
	if err != nil {
		return r, damaged
	}
	return r, nil
}

// parseRecipients reads a list of recipients, one per line, and drops repetitions.
func parseRecipients(path string, data []byte) ([]recipient, error) {
	var list []recipient
	seen := map[string]bool{}
	for n, line := range textLines(data) {
		r, problem := parseRecipient(line)
		if problem != nil {
			return nil, problem.at(path, atLine(n))
		}
		if !seen[r.text] {
			seen[r.text] = true
			list = append(list, r)
		}
	}
	return list, nil
}

// mixed reports whether age would refuse the recipients together. Recipients of plugins do
// not count: age asks the plugin itself.
func mixed(list []recipient) bool {
	hybrid, classic := false, false
	for _, r := range list {
		hybrid = hybrid || r.hybrid
		classic = classic || !r.hybrid && r.plugin == ""
	}
	return hybrid && classic
}

const mixture = "post-quantum (age1pq1...) and classic (age1..., SSH keys) recipients cannot share one archive, " +
	"because the classic ones would undo the protection of the others"

// Recipients reads recipients.txt (site) and returns the recipients of the given names, or
// all if names is empty, with what is known about each. today is a date such as 2026-11-25.
// The error is an *[Error]: no recipient, a name without one, a recipient whose last day was
// before today, a mixture of post-quantum and classic ones, or a today that is no date
// ([BadDay]).
func (f *Folder) Recipients(names []string, today string) ([]age.Recipient, []Trusted, error) {
	if err := checkToday(today); err != nil {
		return nil, nil, err
	}
	path := f.path(recipientsFile)
	list, err := f.recipients()
	if err != nil {
		return nil, nil, err
	}
	contacts, err := f.contacts()
	if err != nil {
		return nil, nil, err
	}
	var chosen []recipient
	var known []Trusted
	found := map[string]bool{}
	for _, r := range list {
		t := trustedRecipient(r, true).about(contacts)
		if len(names) > 0 && !slices.Contains(names, t.Name) {
			continue
		}
		if t.Expires != "" && t.Expires < today {
			return nil, nil, fault(ExpiredRecipient, path, "the key of %s expired on %s",
				cmp.Or(t.Name, "a recipient"), t.Expires).of(t.Name)
		}
		found[t.Name] = true
		chosen, known = append(chosen, r), append(known, t)
	}
	for _, name := range names {
		if !found[name] {
			return nil, nil, fault(UnknownRecipient, path,
				"%s is named as a recipient in study.json, and no key of that name is trusted here", name).of(name)
		}
	}
	if len(chosen) == 0 {
		return nil, nil, fault(NoRecipient, path, "no laboratory is listed to encrypt for")
	}
	if mixed(chosen) {
		return nil, nil, fault(MixedRecipients, path, "%s", mixture)
	}
	out := make([]age.Recipient, len(chosen))
	for i, r := range chosen {
		if out[i], err = f.usable(r); err != nil {
			return nil, nil, err
		}
	}
	return out, known, nil
}

// recipients reads recipients.txt; a missing file is an empty list.
func (f *Folder) recipients() ([]recipient, error) {
	data, _, err := f.read(recipientsFile, false, maxList)
	if err != nil {
		return nil, err
	}
	return parseRecipients(f.path(recipientsFile), data)
}
