package keys

import (
	"bytes"
	"io"
	"strings"

	"filippo.io/age"
)

// ShareRecipients reads age recipients, one per line, one for each share.
func ShareRecipients(data []byte) ([]age.Recipient, error) {
	list, err := parseRecipients("", data)
	if err != nil {
		return nil, err
	}
	var out []age.Recipient
	for _, r := range list {
		if r.plugin != "" {
			return nil, fault(PluginShare, "",
				"a share cannot be encrypted to a recipient of age-plugin-%s", r.plugin).of(r.plugin)
		}
		out = append(out, r.Recipient)
	}
	return out, nil
}

// ShareIDs are identities for opening shares that were encrypted to recipients.
type ShareIDs []age.Identity

// ShareIdentities reads an age identity file, for shares encrypted to a recipient.
func ShareIdentities(data []byte) (ShareIDs, error) {
	var out ShareIDs
	for n, line := range textLines(data) {
		id, _, ok := parseIdentity(line)
		if !ok {
			return nil, fault(NotIdentity, "",
				"line %d of the identity file is not an age identity (AGE-SECRET-KEY-1... or AGE-SECRET-KEY-PQ-1...)",
				n)
		}
		out = append(out, id)
	}
	if len(out) == 0 {
		return nil, fault(NotIdentity, "", "the identity file holds no age identity")
	}
	return out, nil
}

// SealUnder returns the share's file under a passphrase.
func (s *Share) SealUnder(pass []byte) ([]byte, error) { return seal(withSum(s.body()), pass) }

// SealTo returns the share's file for an age recipient.
func (s *Share) SealTo(r age.Recipient) ([]byte, error) { return Encrypt(withSum(s.body()), r) }

// maxShareFile bounds a share's file, binary or as letters, in bytes.
const maxShareFile = 64 << 10

// OpenShare reads a share's file: the binary file, or its letters as typed from the sheet.
// If it was encrypted to a recipient, ids are tried; otherwise ask returns the passphrase.
// path is for the errors, which are of type *[Error].
func OpenShare(path string, data []byte, ids ShareIDs, ask func() ([]byte, error)) (*Share, error) {
	if len(data) > maxShareFile {
		return nil, fault(WrongFile, path, "is larger than %d bytes and cannot be a share", maxShareFile)
	}
	if !bytes.HasPrefix(data, ageMagic) {
		var err error
		if data, err = ParseLetters(path, data); err != nil {
			return nil, err
		}
	}
	damaged := fault(DamagedShare, path, "this file is a damaged share, or not a share")
	if !bytes.HasPrefix(data, ageMagic) {
		return nil, damaged
	}
	var text []byte
	if bytes.Contains(data[:min(len(data), 200)], []byte("\n-> scrypt ")) {
		pass, err := ask()
		if err != nil {
			return nil, err
		}
		if text, err = unseal(path, data, pass); err != nil {
			return nil, err
		}
	} else {
		if len(ids) == 0 {
			return nil, fault(LockedShare, path,
				"this share is encrypted to its custodian's key, and no identity was given")
		}
		r, err := age.Decrypt(bytes.NewReader(data), ids...)
		if err != nil {
			return nil, fault(WrongIdentity, path,
				"this share does not open with the identity given: it is another custodian's, or damaged")
		}
		if text, err = io.ReadAll(io.LimitReader(r, maxShareFile)); err != nil {
			return nil, damaged
		}
	}
	defer clear(text)
	s, ok := parseShare(text)
	if !ok {
		return nil, damaged
	}
	return s, nil
}

// Letters returns a share's file as lines to print and to type. Each line has a number of
// three digits, eight groups of four characters in Crockford's base 32, and a check
// character over number and groups.
func Letters(data []byte) string {
	text := shareLetters.EncodeToString(data)
	var b strings.Builder
	for n := 1; text != ""; n++ {
		row := text[:min(len(text), 32)]
		text = text[len(row):]
		head := lineNumber(n)
		b.WriteString(head)
		for i := range len(row) {
			if i%4 == 0 {
				b.WriteByte(' ')
			}
			b.WriteByte(row[i])
		}
		b.WriteString(" " + string(Check3736(head+row)) + "\n")
	}
	return b.String()
}

// ParseLetters is the inverse of [Letters] for what a person typed: either case, O for 0, I
// and L for 1, blanks and hyphens anywhere. The error, an *[Error], names the mistyped
// line.
func ParseLetters(path string, data []byte) ([]byte, error) {
	var all strings.Builder
	n := 0
	for line := range strings.Lines(strings.ToUpper(string(data))) {
		line = strings.NewReplacer(" ", "", "-", "", "\t", "", "\r", "", "\n", "").Replace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		n++
		head := lineNumber(n)
		if len(line) < len(head)+2 || line[:len(head)] != head {
			return nil, fault(MistypedLetters, path,
				"line %s of the letters is missing or does not begin with its number", head)
		}
		row := strings.NewReplacer("O", "0", "I", "1", "L", "1").Replace(line[len(head) : len(line)-1])
		if strings.Trim(row,
			"0123456789ABCDEFGHJKMNPQRSTVWXYZ") != "" || len(row) > 32 || line[len(line)-1] != Check3736(head+row) {
			return nil, fault(MistypedLetters, path, "line %s of the letters is mistyped", head)
		}
		all.WriteString(row)
	}
	out, err := shareLetters.DecodeString(all.String())
	if err != nil || len(out) == 0 {
		return nil, fault(MissingLetters, path,
			"is neither a share's file nor its letters, or a line at the end is missing")
	}
	return out, nil
}

func lineNumber(n int) string {
	return string([]byte{byte('0' + n/100%10), byte('0' + n/10%10), byte('0' + n%10)})
}
