package keys

import (
	"bytes"
	"slices"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"
)

// maxAllowedLines bounds the lines of an allowed_signers file; maxList bounds its size.
const maxAllowedLines = 10_000

// Allowed is a list of trusted signers in OpenSSH's allowed_signers format.
// The zero Allowed trusts nobody.
type Allowed struct {
	lines []allowedLine

	// What the key folder knows about the keys, by fingerprint; nil without a folder.
	revoked  map[string]Revocation
	contacts map[string]contact
}

// An allowedLine trusts key to sign as any of principals.
type allowedLine struct {
	principals    []string
	namespaces    []string // nil: every namespace
	after, before stamp    // zero: no bound
	key           ssh.PublicKey
}

// A stamp is a moment as allowed_signers writes it: in UTC when it ends in Z,
// else in the reader's own time zone.
type stamp struct {
	civil time.Time // in UTC, whatever zone is meant
	utc   bool
}

func (s stamp) isZero() bool { return s.civil.IsZero() }

// in returns the moment that s means for a reader in zone.
func (s stamp) in(zone *time.Location) time.Time {
	if s.utc {
		return s.civil
	}
	c := s.civil
	return time.Date(c.Year(), c.Month(), c.Day(), c.Hour(), c.Minute(), c.Second(), 0, zone)
}

// ParseAllowed reads an allowed_signers file (ssh-keygen(1), ALLOWED SIGNERS).
//
// It refuses whatever would trust more than one named party (patterns and negations in
// principals or namespaces, certificate authorities) and whatever ssh-keygen would refuse.
// The error is an *[Error] without a path, and names the line.
func ParseAllowed(data []byte) (*Allowed, error) { return parseAllowed("", data) }

// parseAllowed is ParseAllowed with the path for errors.
func parseAllowed(path string, data []byte) (*Allowed, error) {
	if len(data) > maxList {
		return nil, fault(DamagedFile, path, "is larger than %d bytes", maxList)
	}
	if n := bytes.Count(data, []byte("\n")); n > maxAllowedLines || n == maxAllowedLines && data[len(data)-1] != '\n' {
		return nil, fault(DamagedFile, path, "has more than %d lines", maxAllowedLines)
	}
	a := &Allowed{}
	for n, text := range textLines(data) {
		line, problem := parseAllowedLine(text)
		if problem != nil {
			return nil, problem.at(path, atLine(n))
		}
		a.lines = append(a.lines, line)
	}
	return a, nil
}

// Allowed reads allowed_signers, and what the folder knows about its keys: which are
// revoked, when they expire and when they were compared. A missing file is an empty list.
func (f *Folder) Allowed() (*Allowed, error) {
	data, _, err := f.read(allowedFile, false, maxList)
	if err != nil {
		return nil, err
	}
	a, err := parseAllowed(f.path(allowedFile), data)
	if err != nil {
		return nil, err
	}
	if a.revoked, err = f.revoked(); err != nil {
		return nil, err
	}
	list, err := f.contacts()
	if err != nil {
		return nil, err
	}
	a.contacts = make(map[string]contact)
	for _, c := range list {
		a.contacts[c.fingerprint] = c
	}
	return a, nil
}

// parseAllowedLine reads: principals [options] keytype base64 [comment].
func parseAllowedLine(s string) (l allowedLine, problem *Error) {
	if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' && r != '\t' || r == 0x7f }) {
		return l, bad(ControlCharacter, "has a control character in it")
	}
	if kind := secretLine(s); kind != "" {
		return l, bad(SecretInList, "holds "+kind+" where a public key belongs")
	}
	var names string
	if quoted, ok := strings.CutPrefix(s, `"`); ok {
		names, s, ok = strings.Cut(quoted, `"`)
		if !ok || s == "" || s[0] != ' ' && s[0] != '\t' {
			return l, bad(BadLine, "has a quotation mark without its partner")
		}
		s = strings.TrimLeft(s, " \t")
	} else {
		names, s = field(s)
	}
	if l.principals, problem = parsePrincipals(names); problem != nil {
		return l, problem
	}
	if kind, _ := field(s); !looksLikeKeyType(kind) {
		if s, problem = l.parseOptions(s); problem != nil {
			return l, problem
		}
	}
	l.key, _, problem = parsePublicKey(s)
	return l, problem
}

// parsePrincipals splits the comma-separated names of signers, and refuses patterns.
func parsePrincipals(s string) ([]string, *Error) {
	list := strings.Split(s, ",")
	for _, p := range list {
		switch {
		case strings.ContainsAny(p, "*?"):
			return nil, bad(NamePattern,
				"has a pattern (* or ?) for the signer's name, which trusts this key under names nobody checked")
		case strings.HasPrefix(p, "!"):
			return nil, bad(NameExcluded, "excludes a name with !, which is not supported")
		case !validPrincipal(p):
			return nil, bad(BadLine, "does not begin with a signer's name (the site code or the laboratory's name), "+
				`as in: NAME namespaces="..." ssh-ed25519 AAAA...`)
		}
	}
	return list, nil
}

// validPrincipal accepts names that have only one spelling in a list of principals: visible
// ASCII without pattern characters, commas and quotation marks. The names that Trust writes
// are narrower: see validName.
func validPrincipal(p string) bool {
	return visible(p) && p[0] != '#'
}

func visible(s string) bool {
	if s == "" || len(s) > 255 {
		return false
	}
	for i := range len(s) {
		if s[i] <= ' ' || s[i] >= 0x7f || strings.IndexByte(`*?!,"\`, s[i]) >= 0 {
			return false
		}
	}
	return true
}

// parseOptions reads the comma-separated options at the start of s and returns
// what follows them.
func (l *allowedLine) parseOptions(s string) (rest string, problem *Error) {
	unknown := bad(BadLine, "has neither a supported key (ssh-ed25519, ecdsa, rsa) nor a known option "+
		"(namespaces, valid-after, valid-before) after the name")
	for {
		end := strings.IndexAny(s, "=, \t")
		if end < 0 {
			return "", unknown
		}
		name := strings.ToLower(s[:end])
		switch name {
		case "cert-authority":
			return "", bad(Authority, "trusts a certificate authority, which is not supported")
		case "namespaces", "valid-after", "valid-before":
		default:
			return "", unknown
		}
		quoted, ok := strings.CutPrefix(s[end:], `="`)
		value, after, closed := strings.Cut(quoted, `"`)
		if !ok || !closed {
			return "", bad(BadLine, "needs quotation marks, as in: "+name+`="..."`)
		}
		if problem := l.setOption(name, value); problem != nil {
			return "", problem
		}
		switch {
		case after == "":
			return "", bad(BadLine, "has no key after the options")
		case after[0] == ',':
			s = after[1:]
		case after[0] == ' ' || after[0] == '\t':
			return strings.TrimLeft(after, " \t"), nil
		default:
			return "", bad(BadSeparator, "has something directly after a quotation mark")
		}
	}
}

// setOption sets one option of the line; each may occur once.
func (l *allowedLine) setOption(name, value string) *Error {
	if name == "namespaces" {
		if l.namespaces != nil {
			return bad(BadLine, "has namespaces twice")
		}
		l.namespaces = strings.Split(value, ",")
		for _, n := range l.namespaces {
			if !visible(n) {
				return bad(BadNamespace, "has a pattern, a blank or nothing among its namespaces")
			}
		}
		return nil
	}
	bound := &l.after
	if name == "valid-before" {
		bound = &l.before
	}
	if !bound.isZero() {
		return bad(BadLine, "has "+name+" twice")
	}
	var ok bool
	if *bound, ok = parseStamp(value); !ok {
		return bad(BadTime, "has no valid time in "+name)
	}
	if !l.after.isZero() && !l.before.isZero() && l.after.utc == l.before.utc && l.after.civil.After(l.before.civil) {
		return bad(BadLine, "is never valid: valid-after is later than valid-before")
	}
	return nil
}

var stampLayouts = map[int]string{8: "20060102", 12: "200601021504", 14: "20060102150405"}

// parseStamp reads a time of allowed_signers: 8, 12 or 14 digits, and Z for UTC.
func parseStamp(s string) (stamp, bool) {
	digits, utc := strings.CutSuffix(s, "Z")
	layout, ok := stampLayouts[len(digits)]
	if !ok {
		return stamp{}, false
	}
	t, err := time.Parse(layout, digits)
	if err != nil || t.Year() < 1970 {
		return stamp{}, false
	}
	return stamp{t, utc}, true
}

func (s stamp) format() string {
	text := s.civil.Format("20060102150405")
	if s.utc {
		text += "Z"
	}
	return text
}

// format writes the line that parseAllowedLine reads, without a line feed.
func (l allowedLine) format() string {
	var options []string
	if l.namespaces != nil {
		options = append(options, `namespaces="`+strings.Join(l.namespaces, ",")+`"`)
	}
	if !l.after.isZero() {
		options = append(options, `valid-after="`+l.after.format()+`"`)
	}
	if !l.before.isZero() {
		options = append(options, `valid-before="`+l.before.format()+`"`)
	}
	s := strings.Join(l.principals, ",")
	if len(options) > 0 {
		s += " " + strings.Join(options, ",")
	}
	return s + " " + formatPublicKey(l.key, "")
}

// covers reports whether the line accepts every one of namespaces.
func (l allowedLine) covers(namespaces ...string) bool {
	if l.namespaces == nil {
		return true
	}
	for _, n := range namespaces {
		if !slices.Contains(l.namespaces, n) {
			return false
		}
	}
	return true
}
