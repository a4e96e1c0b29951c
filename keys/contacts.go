package keys

import (
	"encoding/base64"
	"fmt"
	"slices"
	"strings"
	"time"
)

// contactsFile lists, for each trusted key, whose it is, since when it is trusted, when two
// people compared it, and when it expires. It is public. Trust itself is in recipients.txt
// and allowed_signers alone, so a key that this file does not name is still trusted, as in
// folders older than this file.
const contactsFile = "contacts.txt"

// maxContacts bounds the lines of contacts.txt.
const maxContacts = 10_000

// A contact is one line: "SHA256:... NAME 2026-11-25 2026-11-25 -".
type contact struct {
	fingerprint, name          string
	trusted, compared, expires string // YYYY-MM-DD, or ""
}

// format returns the line that parseContacts reads, with "-" for what is not known.
func (c contact) format() string {
	or := func(s string) string {
		if s == "" {
			return "-"
		}
		return s
	}
	return strings.Join([]string{c.fingerprint, or(c.name), or(c.trusted), or(c.compared), or(c.expires)}, " ")
}

// parseContacts reads contacts.txt. If a key has several lines, the last one counts. Errors
// name the line.
func parseContacts(path string, data []byte) ([]contact, error) {
	var list []contact
	lines := 0
	for n, line := range textLines(data) {
		if lines++; lines > maxContacts {
			return nil, fault(DamagedFile, path, "has more than %d lines", maxContacts)
		}
		f := strings.Fields(line)
		bad := func(what string) error { return fault(BadContact, path, "line %d: %s", n, what) }
		if len(f) != 5 {
			return nil, bad("five words are expected")
		}
		raw, err := base64.RawStdEncoding.Strict().DecodeString(strings.TrimPrefix(f[0], "SHA256:"))
		if err != nil || len(raw) != 32 || !strings.HasPrefix(f[0], "SHA256:") {
			return nil, bad("the first word is not a fingerprint (SHA256:...)")
		}
		for i := range f {
			if f[i] == "-" {
				f[i] = ""
			}
		}
		if f[1] != "" && !validName(f[1]) {
			return nil, bad("the second word is not a name")
		}
		for _, day := range f[2:] {
			if day != "" && !validDay(day) {
				return nil, bad("a date is not written as 2026-11-25, or - for none")
			}
		}
		c := contact{f[0], f[1], f[2], f[3], f[4]}
		if i := slices.IndexFunc(list, func(o contact) bool { return o.fingerprint == c.fingerprint }); i >= 0 {
			list[i] = c
			continue
		}
		list = append(list, c)
	}
	return list, nil
}

func validDay(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil
}

// checkToday refuses a day in another form than YYYY-MM-DD: it could not be compared with
// others, nor be read again from a list.
func checkToday(s string) error {
	if !validDay(s) {
		return fault(BadDay, "", "today's date is not written as 2026-11-25")
	}
	return nil
}

// contacts reads contacts.txt; a missing file is an empty list.
func (f *Folder) contacts() ([]contact, error) {
	data, _, err := f.read(contactsFile, false, maxList)
	if err != nil {
		return nil, err
	}
	return parseContacts(f.path(contactsFile), data)
}

// writeContacts replaces contacts.txt.
func (f *Folder) writeContacts(list []contact) error {
	var b strings.Builder
	b.WriteString(contactsIntro)
	for _, c := range list {
		fmt.Fprintln(&b, c.format())
	}
	if b.Len() > maxList {
		return fault(FullList, f.path(contactsFile), "has no room for more keys (%d bytes at most)", maxList)
	}
	return f.replace(contactsFile, []byte(b.String()), 0o644)
}

// about returns t with what list knows about its key.
func (t Trusted) about(list []contact) Trusted {
	for _, c := range list {
		if c.fingerprint == t.Fingerprint {
			if t.Name == "" {
				t.Name = c.name
			}
			t.Compared, t.Expires = c.compared, c.expires
		}
	}
	return t
}
