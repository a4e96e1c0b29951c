package keys

import (
	"bytes"

	"golang.org/x/crypto/ssh"
)

// An offer is one public key in a file given to Trust: a recipient, or a signer with its
// comment.
type offer struct {
	line      int
	recipient recipient
	signer    ssh.PublicKey
	comment   string
}

// recipientMark precedes an SSH key in public-keys.txt to which archives are encrypted;
// without it an SSH key is a signer's.
const recipientMark = "recipient"

// parseOffers reads a file given to Trust, each key once. Errors have no path, and never
// quote a line.
func parseOffers(data []byte, sshRecipients bool) ([]offer, error) {
	if len(data) > maxList {
		return nil, fault(NotPublicKeys, "",
			"is larger than %d bytes, where a file of public keys is expected", maxList)
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, fault(EmptyFile, "", "this file is empty; perhaps it was not copied completely")
	}
	var offers []offer
	seen := map[string]bool{}
	for n, line := range textLines(data) {
		o := offer{line: n}
		var (
			problem *Error
			id      string
		)
		switch kind, _ := field(line); {
		case secretLine(line) != "":
			problem = bad(SecretHanded, "holds "+secretLine(line)+", which must never be handed over")
		case kind == recipientMark || looksLikeKeyType(kind) && sshRecipients:
			_, rest := field(line)
			if kind != recipientMark {
				rest = line
			}
			o.recipient, problem = parseRecipient(rest)
			id = o.recipient.text
		case looksLikeKeyType(kind):
			o.signer, o.comment, problem = parsePublicKey(line)
			if problem == nil {
				id = string(o.signer.Marshal()) + o.comment
			}
		case len(kind) > 4 && kind[:4] == "age1":
			o.recipient, problem = parseRecipient(line)
			id = o.recipient.text
		default:
			problem = bad(NotPublicKeys,
				"is neither an age recipient (age1...) nor an OpenSSH public key (ssh-ed25519 ...)")
		}
		if problem != nil {
			return nil, problem.at("", atLine(n))
		}
		if !seen[id] {
			seen[id] = true
			offers = append(offers, o)
		}
	}
	if len(offers) == 0 {
		return nil, fault(NotPublicKeys, "",
			"holds no public key: no age recipient (age1...) and no OpenSSH public key (ssh-ed25519 ...)")
	}
	return offers, nil
}

// ownerOf returns the owner of the recipients in a file: name or, if that is "", the comment
// of the signer's key in the same file. It is "" if there are several signers.
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
