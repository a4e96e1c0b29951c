package keys

import (
	"bytes"

	"golang.org/x/crypto/ssh"
)

// An offer is one public key found in what was handed to Trust: a recipient,
// or a signer with its comment.
type offer struct {
	line      int
	recipient recipient
	signer    ssh.PublicKey
	comment   string
}

// recipientMark stands before an SSH key in public-keys.txt that is to be encrypted
// to; without it an SSH key is a signer's.
const recipientMark = "recipient"

// parseOffers reads what was handed to Trust, each key once. Errors have no
// path and never quote a line.
func parseOffers(data []byte, sshRecipients bool) ([]offer, error) {
	if len(data) > maxList {
		return nil, fault("", "is larger than %d bytes; a file of public keys is expected", maxList)
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, fault("", "this file is empty; it was perhaps not copied to the end: ask the other side for its public-keys.txt once more")
	}
	var offers []offer
	seen := map[string]bool{}
	for n, line := range textLines(data) {
		o := offer{line: n}
		var problem, id string
		switch kind, _ := field(line); {
		case secretLine(line) != "":
			problem = "holds " + secretLine(line) + ", which must never be handed over; ask for the public key, and tell the owner that this key is no longer secret"
		case kind == recipientMark || looksLikeKeyType(kind) && sshRecipients:
			_, rest := field(line)
			if kind != recipientMark {
				rest = line
			}
			o.recipient, problem = parseRecipient(rest)
			id = o.recipient.text
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

// ownerOf says whose the recipients in a file are: the name given, or the one
// that the signer's key in the same file has.
func ownerOf(offers []offer, name string) string {
	if name != "" {
		return name
	}
	for _, o := range offers {
		switch {
		case o.signer == nil || !validName(o.comment):
		case name != "" && name != o.comment:
			return "" // several parties
		default:
			name = o.comment
		}
	}
	return name
}
