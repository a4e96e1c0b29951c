package keys

import (
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"filippo.io/age"
)

// A recipient is one age public key of a kind that this program writes to.
type recipient struct {
	age.Recipient
	text   string // "age1..." or "age1pq1...", lower case
	hybrid bool   // post-quantum
}

func (r recipient) kind() string {
	if r.hybrid {
		return "post-quantum hybrid"
	}
	return "X25519"
}

// fingerprint is the SHA-256 of the recipient's text, written as OpenSSH writes
// those of its keys: short enough to compare by telephone.
func (r recipient) fingerprint() string {
	sum := sha256.Sum256([]byte(r.text))
	return "SHA256:" + base64.RawStdEncoding.EncodeToString(sum[:])
}

// parseRecipient reads one recipient. problem, when not "", completes "line 3 ".
// age's own messages quote their input and are not passed on.
func parseRecipient(s string) (r recipient, problem string) {
	r.text = s
	var err error
	switch last := strings.LastIndexByte(s, '1'); { // Bech32: the data has no "1"
	case secretLine(s) != "":
		return r, "holds " + secretLine(s) + " where a public key belongs; take it out, and if this file has left its owner's computer, the owner must make a new key"
	case strings.HasPrefix(s, "age1pq1") && last == len("age1pq"):
		r.hybrid = true
		r.Recipient, err = age.ParseHybridRecipient(s)
	case strings.HasPrefix(s, "age1") && last == len("age"):
		r.Recipient, err = age.ParseX25519Recipient(s)
	case strings.HasPrefix(s, "age1"):
		return r, "is a recipient that needs a plugin, which is not supported; ask the laboratory for one that begins with age1pq1, or age1 without a plugin's name"
	case strings.HasPrefix(s, "ssh-"), strings.HasPrefix(s, "ecdsa-"):
		return r, "is an SSH key, which is not supported as recipient; ask the laboratory for its age recipient"
	default:
		return r, "is not an age recipient (age1... or age1pq1...)"
	}
	if err == nil {
		// Some points can be written down but not encrypted to: find out now.
		_, err = r.Wrap(make([]byte, 16))
	}
	if err != nil {
		return r, "is an age recipient that is damaged or cut short; copy the whole line again"
	}
	return r, ""
}

// parseRecipients reads a list with one recipient a line, equal ones once.
func parseRecipients(path string, data []byte) ([]recipient, error) {
	var list []recipient
	seen := map[string]bool{}
	for n, line := range textLines(data) {
		r, problem := parseRecipient(line)
		if problem != "" {
			return nil, fault(path, "line %d %s", n, problem)
		}
		if !seen[r.text] {
			seen[r.text] = true
			list = append(list, r)
		}
	}
	return list, nil
}

func mixed(list []recipient) bool {
	for _, r := range list {
		if r.hybrid != list[0].hybrid {
			return true
		}
	}
	return false
}

const mixtureHelp = "post-quantum (age1pq1...) and classic (age1...) recipients cannot share one archive, because the classic ones would undo the protection of the others"

// Recipients reads recipients.txt (site). No recipient, or a mixture of
// post-quantum and classic ones, is an *[Error].
func (f *Folder) Recipients() ([]age.Recipient, error) {
	path := f.path(recipientsFile)
	list, err := f.recipients()
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, fault(path, "no laboratory is listed to encrypt for; add its public keys with keys trust FILE")
	}
	if mixed(list) {
		return nil, fault(path, "%s; keep the lines of one kind, and ask the laboratories of the other kind for a new recipient", mixtureHelp)
	}
	out := make([]age.Recipient, len(list))
	for i, r := range list {
		out[i] = r.Recipient
	}
	return out, nil
}

// recipients reads recipients.txt; a missing file is an empty list.
func (f *Folder) recipients() ([]recipient, error) {
	data, _, err := f.read(recipientsFile, false, maxList)
	if err != nil {
		return nil, err
	}
	return parseRecipients(f.path(recipientsFile), data)
}
