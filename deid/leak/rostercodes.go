package leak

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/binary"
	"slices"
	"strings"
	"unicode"
)

// kindOf returns the index of c in kinds, and adds it if necessary. There are only a few
// kinds for each column.
func (l *lexicon) kindOf(c code) uint16 {
	i := slices.Index(l.kinds, c)
	if i < 0 {
		i = len(l.kinds)
		l.kinds = append(l.kinds, c)
	}
	return uint16(i)
}

// put adds a code. If the key is present, the surer meaning is kept, otherwise the
// first.
func (l *lexicon) put(key string, c code) {
	if len(key) > maxCode {
		key = key[:maxCode]
	}
	if k, ok := l.codes[key]; ok && rank(l.kinds[k].conf) >= rank(c.conf) && l.kinds[k].context.empty() {
		return
	}
	l.codes[key] = l.kindOf(c)
	l.codeLen[len(key)] = true
}

// digits reports whether s consists of ASCII digits; "" does not.
func digits(s string) bool {
	for i := range len(s) {
		if class[s[i]] != cDigit {
			return false
		}
	}
	return s != ""
}

// addID adds an identifier, its digits without a prefix of letters, and its digests.
func (l *lexicon) addID(v string, c code) {
	key := squeeze(foldString(v))
	l.addDigests(v, key, c)
	k := c
	switch {
	case len(key) < 4, len(key) < 6 && digits(key): // too short to count without context
		k.context = setOf(cueSubject, cueIdentifier)
		k.conf, k.whole = Likely, true
	}
	if len(key) < 2 && digits(key) || key == "" {
		return
	}
	l.put(key, k)
	tail := strings.TrimLeftFunc(key, unicode.IsLetter)
	for _, t := range []string{tail, strings.TrimLeft(tail, "0")} {
		if t != key && len(t) >= 5 && digits(t) {
			k = c
			k.conf, k.whole, k.cut = Likely, len(t) < 6, true
			l.put(t, k)
		}
	}
}

// addShortID adds the short forms of an identifier of several groups that people use
// among themselves: "WEIR-017" and "subject 17" for LARK2-WEIR-017.
func (l *lexicon) addShortID(v string, c code) {
	groups := split(foldString(v))
	n := len(groups)
	if n < 2 || !digits(groups[n-1]) || len(groups[n-1]) > 5 {
		return
	}
	number := groups[n-1]
	forms := []string{number, strings.TrimLeft(number, "0")}
	if prefix := groups[n-2]; n > 2 && !digits(prefix) && len(prefix) > 1 {
		for _, f := range forms {
			if f != "" && len(prefix+f) > 4 {
				l.put(prefix+f, c)
			}
		}
	}
	c.conf, c.whole, c.near = Possible, true, true
	for _, f := range forms {
		if f != "" {
			l.put(f, c)
		}
	}
}

// addDigests adds the SHA-256, SHA-1 and MD5 of the spellings of an identifier that
// somebody might hash to match records.
func (l *lexicon) addDigests(v, key string, c code) {
	c.basis += ", as a digest"
	kind := l.kindOf(c)
	forms := []string{v, strings.ToLower(v), strings.ToUpper(v), key, strings.ToUpper(key)}
	for i, f := range forms {
		if slices.Contains(forms[:i], f) {
			continue
		}
		a, b, d := sha256.Sum256([]byte(f)), sha1.Sum([]byte(f)), md5.Sum([]byte(f))
		for _, sum := range [][]byte{a[:8], b[:8], d[:8]} {
			l.digests[binary.BigEndian.Uint64(sum)] = kind
		}
	}
}

// addPostal adds a postal code. Few digits count only after a word for postal codes, or
// are only possible, because they are like many other numbers.
func (l *lexicon) addPostal(v, basis string) {
	key := squeeze(foldString(v))
	c := code{class: "B", basis: basis, conf: Likely}
	switch {
	case len(key) < 4:
		return
	case digits(key) && len(key) < 5:
		c.context = setOf(cuePostal)
	case digits(key) && len(key) < 7:
		c.conf = Possible
	}
	l.put(key, c)
	if len(key) == 9 && digits(key) && strings.Contains(v, "-") { // ZIP+4
		c.conf = Possible
		l.put(key[:5], c)
	}
}

// addExtra adds a value of a column that this package does not know: as a date, a code
// or a phrase.
func (l *lexicon) addExtra(v, basis string, conf Confidence) {
	f := foldString(v)
	key := squeeze(f)
	if len(key) < 4 {
		return
	}
	if b, ok := parseISO(v); ok {
		l.births[b] = true // a further date of the subject
	}
	if strings.ContainsAny(key, "0123456789") && len(key) <= maxCode && len(strings.Fields(f)) < 4 {
		c := code{class: "R", basis: basis, conf: conf}
		if digits(key) && len(key) < 6 {
			c.context, c.whole = setOf(cueSubject, cueIdentifier), true
		}
		l.put(key, c)
		return
	}
	l.addPhrase(v, "R", basis, conf)
}

// isSSN reports whether v has the form of a US social security number. It does not check
// area and group, because the roster may hold a mistyped one.
func isSSN(v string) bool {
	return len(v) == 11 && v[3] == '-' && v[6] == '-' && digits(v[:3]+v[4:6]+v[7:])
}

// hash adds c to the hash h of the bytes before it (FNV-1a with basis 0).
func hash(h uint32, c byte) uint32 { return (h ^ uint32(c)) * 0x01000193 }

const maxCode = 40 // bytes; longer codes are truncated
