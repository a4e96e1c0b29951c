package rederive

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/base64"
	"encoding/hex"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// keyTestSubjects is how many subjects the guesses are tried on: one key is that of all.
const keyTestSubjects = 24

// digestSubjects is how many subjects digests are tried on: all have one form too.
const digestSubjects = 8

// A guess is a key that somebody without the site's key may try.
type guess struct {
	name string
	key  []byte
}

// words that people take for keys and passwords (common practice, no source).
var words = []string{"", "password", "passwort", "secret", "geheim", "key", "default", "changeme", "test", "testkey",
	"admin", "salt", "pepper", "outbreath", "outbreath/1", "outbreath-pseudonym-key-1", "pseudonym", "subject",
	"session", "operator", "shift", "study", "site", "demo", "example", "hello", "123456", "12345678", "0123456789",
	"0123456789abcdef", "00000000", "deadbeef", "qwerty", "letmein", "breath", "clinic", "hospital", "research"}

// guesses returns the keys to try: bytes that repeat or count, words, the codes of study
// and site, and the usual digests of these.
func (c *Comparison) guesses() []guess {
	var list []guess
	for b := range 256 {
		list = append(list, guess{"one byte repeated", slices.Repeat([]byte{byte(b)}, 32)})
	}
	count := make([]byte, 32)
	for i := range count {
		count[i] = byte(i)
	}
	ones, back := slices.Clone(count), slices.Clone(count)
	for i := range ones {
		ones[i]++
	}
	slices.Reverse(back)
	list = append(list, guess{"counting bytes", count}, guess{"counting bytes", ones}, guess{"counting bytes", back})
	names := slices.Clone(words)
	for _, s := range []string{c.source.Study, c.source.Site, c.source.Study + c.source.Site,
		c.source.Site + c.source.Study, c.source.Study + "/" + c.source.Site, c.source.Study + "-" + c.source.Site,
		c.source.Study + ":" + c.source.Site, c.source.Shipment, c.source.Plan} {
		names = append(names, s, strings.ToLower(s), strings.ToUpper(s))
	}
	for _, s := range names {
		what := "a word, or the code of study or site, or a digest of it"
		b := []byte(s)
		sum256, sum1, sum5, sum512 := sha256.Sum256(b), sha1.Sum(b), md5.Sum(b), sha512.Sum512(b)
		padded := append(slices.Clone(b), make([]byte, 32)...)[:max(32, len(b))]
		repeated := b
		for len(repeated) > 0 && len(repeated) < 32 {
			repeated = append(slices.Clone(repeated), b...)
		}
		if len(repeated) > 32 {
			repeated = repeated[:32]
		}
		for _, key := range [][]byte{b, padded, repeated, sum256[:], sum1[:], sum5[:], sum512[:], sum512[:32],
			[]byte(hex.EncodeToString(sum256[:])), []byte(hex.EncodeToString(sum5[:])),
			append(sum1[:20:20], make([]byte, 12)...), append(sum5[:16:16], make([]byte, 16)...),
			append(sum5[:16:16], sum5[:]...)} {
			list = append(list, guess{what, key})
		}
	}
	return list
}

// An owned pseudonym is one that leaves, with whose it is.
type owned struct {
	purpose, id string // canonical
	body        string // its sixteen digits
}

// leaving returns pseudonyms of the bag, at most keyTestSubjects of each kind.
func (c *Comparison) leaving() []owned {
	var list []owned
	seen := 0
	for _, s := range c.sessions {
		if seen == keyTestSubjects {
			break
		}
		for name := range c.seenAs[s.subject] {
			if !s.seen {
				continue
			}
			if body := strings.ReplaceAll(name, "-", ""); len(body) == 17 {
				list = append(list, owned{"subject", s.subject, body[:16]})
			}
			list = append(list, owned{"session", s.id,
				strings.ReplaceAll(c.keys.pseudonym("session", s.id), "-", "")[:16]})
			seen++
		}
	}
	return list
}

// keyTests tries to make the pseudonyms of the bag without the site's key.
func (c *Comparison) keyTests(r *Result) {
	names := c.leaving()
	add := func(t KeyTest) {
		t.Tested = t.Tried > 0
		r.Keys = append(r.Keys, t)
		if t.Hits > 0 {
			r.Mismatches = append(r.Mismatches, Mismatch{"data/sessions", "/subject/subject_id",
				"pseudonyms can be made without the site's key: " + t.Name})
		}
		if !t.Tested {
			r.NotTested = append(r.NotTested, Untested{t.Name, "no pseudonym was recognised", 0})
		}
	}
	add(c.guessedKeys(names))
	add(c.digests(names))
	weak := KeyTest{Name: "the site's key looks random"}
	for _, key := range c.source.Keys[:1] {
		weak.Tried++
		if dull(key) {
			weak.Hits++
		}
	}
	add(weak)
}

// dull reports whether a key has a form that 32 random bytes practically never have:
// fewer than 16 different bytes, only printable ones, or a pattern that repeats or counts.
func dull(key [32]byte) bool {
	different := map[byte]bool{}
	printable, counting := true, true
	for i, b := range key {
		different[b] = true
		printable = printable && b < 0x80 && (unicode.IsPrint(rune(b)) || b == 0)
		counting = counting && (i < 2 || b-key[i-1] == key[i-1]-key[i-2])
	}
	return len(different) < 16 || printable || counting || string(key[:16]) == string(key[16:])
}

// guessedKeys tries guessable keys in the place of the site's key and of the keys that
// are derived from it.
func (c *Comparison) guessedKeys(names []owned) KeyTest {
	t := KeyTest{Name: "keys that can be guessed"}
	for _, g := range c.guesses() {
		derived := map[string][]byte{}
		for _, purpose := range []string{"subject", "session"} {
			if key, err := hkdf.Key(sha256.New, g.key, nil, "outbreath/1/"+purpose+"/"+c.source.Study, 32); err == nil {
				derived[purpose] = key
			}
		}
		for _, o := range names {
			for _, key := range [][]byte{derived[o.purpose], g.key} {
				h := hmac.New(sha256.New, key)
				h.Write([]byte(o.id))
				t.Tried++
				if base32of(h.Sum(nil)[:10]) == o.body {
					t.Hits++
				}
			}
		}
	}
	return t
}

// digests compares the pseudonyms with the usual digests and encodings of the identifier,
// of its parts and of the subject's row in the roster, without a key.
func (c *Comparison) digests(names []owned) KeyTest {
	t := KeyTest{Name: "digests and encodings of identifiers"}
	rows := c.roster()
	original := map[string][]string{}
	for _, s := range c.sessions {
		if len(original) < 4*keyTestSubjects && s.seen {
			if n, err := c.record(s.file); err == nil {
				original["subject "+s.subject] = []string{n.at("/subject/subject_id").str()}
				original["session "+s.id] = []string{n.at("/session_id").str()}
			}
		}
	}
	for _, o := range names[:min(len(names), 2*digestSubjects)] {
		forms := c.coded(spellings(append([]string{o.id}, original[o.purpose+" "+o.id]...)))
		if o.purpose == "subject" {
			var cells []string
			for column, value := range rows[o.id] {
				if value != "" && column != "sex" && column != "country" {
					cells = append(cells, value)
				}
			}
			forms = append(forms, spellings(cells)...)
		}
		for _, form := range forms {
			for _, body := range bodies(form) {
				t.Tried++
				if body == o.body {
					t.Hits++
				}
			}
		}
	}
	return t
}

// spellings returns texts as somebody may hash them, and their parts.
func spellings(texts []string) []string {
	var list []string
	for _, s := range texts {
		list = append(list, s, strings.ToLower(s), strings.ToUpper(s))
		if short, err := canonical(s); err == nil {
			list = append(list, short)
		}
		list = append(list, strings.FieldsFunc(s, func(r rune) bool {
			return !unicode.IsLetter(r) &&
				!unicode.IsDigit(r)
		})...)
		number := strings.TrimLeftFunc(s, func(r rune) bool { return r < '0' || r > '9' })
		if n, err := strconv.Atoi(number); err == nil {
			list = append(list, strconv.Itoa(n))
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// coded returns texts alone, and with the codes of study and site before and behind.
func (c *Comparison) coded(texts []string) []string {
	list := slices.Clone(texts)
	for _, s := range texts {
		for _, code := range []string{c.source.Study, c.source.Site} {
			for _, between := range []string{"", "/", ":", "-", "|"} {
				list = append(list, code+between+s, s+between+code)
			}
		}
	}
	return list
}

// bodies returns what a text gives as the sixteen digits of a pseudonym, by digests and
// encodings.
func bodies(s string) []string {
	b := []byte(s)
	sum256, sum1, sum5, sum512, sum384, sum224 := sha256.Sum256(b), sha1.Sum(b), md5.Sum(b), sha512.Sum512(b),
		sha512.Sum384(b), sha256.Sum224(b)
	twice := sha256.Sum256(sum256[:])
	raw := append(slices.Clone(b), make([]byte, 10)...)
	reversed := slices.Clone(b)
	slices.Reverse(reversed)
	reversed = append(reversed, make([]byte, 10)...)
	in := append([]byte(base64.StdEncoding.EncodeToString(b)), make([]byte, 10)...)
	hexed := append([]byte(hex.EncodeToString(b)), make([]byte, 10)...)
	none := hmac.New(sha256.New, nil)
	none.Write(b)
	var list []string
	for _, sum := range [][]byte{sum256[:], sum1[:], sum5[:], sum512[:], sum384[:], sum224[:], twice[:], raw, reversed,
		in,
		hexed, none.Sum(nil)} {
		list = append(list, base32of(sum[:10]), base32of(sum[len(sum)-10:]),
			strings.ToUpper(hex.EncodeToString(sum))[:16])
	}
	return list
}
