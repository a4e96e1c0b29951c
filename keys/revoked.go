package keys

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// revokedFile lists the keys that were revoked, and those that were trusted again: when, by
// whom and why. Lines are only added; the last line of a key counts.
const revokedFile = "revoked.txt"

const (
	maxRevoked = 10_000 // lines
	maxWhy     = 500    // bytes of a reason, and of who gave it
)

// A Revocation records when a key was revoked, by whom and why.
type Revocation struct {
	Fingerprint string `json:"fingerprint"` // "SHA256:..."
	Name        string `json:"name"`        // whose it was
	Day         string `json:"day"`         // 2026-11-25
	By          string `json:"by"`          // a person's name
	Reason      string `json:"reason"`      // one line; may be empty

	again bool // the key was trusted again
}

func (r Revocation) String() string {
	s := "revoked here on " + r.Day + " by " + r.By
	if r.Reason != "" {
		s += " (" + r.Reason + ")"
	}
	return s
}

// format returns the line of revoked.txt, its parts separated by tabs.
func (r Revocation) format() string {
	what := "revoked"
	if r.again {
		what = "trusted-again"
	}
	return strings.Join([]string{r.Fingerprint, what, r.Name, r.Day, r.By, r.Reason}, "\t")
}

// plainWhy reports whether a line of revoked.txt can hold s.
func plainWhy(s string) bool {
	return len(s) <= maxWhy && utf8.ValidString(s) && !strings.ContainsFunc(s, unicode.IsControl)
}

// parseRevoked reads revoked.txt, and returns the keys that are revoked now, by fingerprint.
// Errors name the line.
func parseRevoked(path string, data []byte) (map[string]Revocation, error) {
	all := make(map[string]Revocation)
	lines := 0
	for n, line := range textLines(data) {
		if lines++; lines > maxRevoked {
			return nil, fault(DamagedFile, path, "has more than %d lines", maxRevoked)
		}
		f := strings.Split(line, "\t")
		if len(f) == 5 { // the trimmed line ends with an empty reason
			f = append(f, "")
		}
		if len(f) != 6 || !strings.HasPrefix(f[0], "SHA256:") || f[1] != "revoked" && f[1] != "trusted-again" ||
			!validDay(f[3]) || f[4] == "" {
			return nil, fault(BadRevocation, path,
				"line %d is damaged: a revoked key might be believed again", n)
		}
		all[f[0]] = Revocation{Fingerprint: f[0], Name: f[2], Day: f[3], By: f[4], Reason: f[5],
			again: f[1] == "trusted-again"}
	}
	for fingerprint, r := range all {
		if r.again {
			delete(all, fingerprint)
		}
	}
	return all, nil
}

// revoked reads revoked.txt; a missing file is an empty list.
func (f *Folder) revoked() (map[string]Revocation, error) {
	data, _, err := f.read(revokedFile, false, maxList)
	if err != nil {
		return nil, err
	}
	return parseRevoked(f.path(revokedFile), data)
}

// revoke adds a line for each revocation to revoked.txt.
func (f *Folder) revoke(list []Revocation) error {
	if len(list) == 0 {
		return nil
	}
	old, found, err := f.read(revokedFile, false, maxList)
	if err != nil {
		return err
	}
	if !found {
		old = []byte(revokedIntro)
	}
	var lines []string
	for _, r := range list {
		if !plainWhy(r.By) || r.By == "" || !plainWhy(r.Reason) {
			return fault(BadReason, "",
				"the reason, or the name of who gives it, is empty, longer than %d bytes or has more than one line",
				maxWhy)
		}
		lines = append(lines, r.format())
	}
	text := appendLines(old, lines...)
	if len(text) > maxList {
		return fault(DamagedFile, f.path(revokedFile), "has no room for more keys (%d bytes at most)", maxList)
	}
	return f.replace(revokedFile, text, 0o644)
}

// Uncompared returns the fingerprint ("SHA256:...") of the key that made an armored
// signature if nobody has compared its words with its owner. It returns "" if somebody has,
// if armored is no signature, or if the list does not come from a key folder.
func (a *Allowed) Uncompared(armored []byte) string {
	fingerprint := keyThatSigned(armored)
	if a.contacts == nil || fingerprint == "" || a.contacts[fingerprint].compared != "" {
		return ""
	}
	return fingerprint
}
