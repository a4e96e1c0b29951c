package leak

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/binary"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"outbreath/schema"
)

// A term is a word that the roster or the vocabulary knows.
type term struct {
	cues    cueSet
	text    string
	rows    []int32 // where it is part of a name, ascending
	col     string  // column of the first
	part    bool    // a particle or single letter: no name by itself
	whole   bool    // some row has it as a whole name, particle or not
	given   bool    // some row has it as a given name
	weak    bool    // a short form that no row lists
	phrases []*phrase
}

// word reports whether the term is a name only where it is written as one. Of the
// months only those that are everyday words in English count as words.
func (t *term) word() bool {
	return t.weak || t.cues.beyond(monthCue) || utf8.RuneCountInString(t.text) <= 2 && len(t.text) < 6 // two Chinese characters are a name
}

// A phrase is a value that is searched as a sequence of words and numbers.
type phrase struct {
	words []string
	class Class
	basis string
	conf  Confidence
	plain bool // made of ordinary words: needs capitals or a number beside it
}

// A code is a value that is searched as a run of letters and digits, however
// grouped.
type code struct {
	class   Class
	basis   string
	conf    Confidence
	context cueSet // words one of which must stand before; empty: none
	whole   bool   // must stand in one piece
	cut     bool   // lacks a prefix or an area code: a lone cell of a table is not enough
	near    bool   // counts only right behind a word for a person
}

// A lexicon is what a scanner knows: the roster and the vocabulary.
type lexicon struct {
	terms    map[string]*term // while the lexicon is built, then words
	words    wordTable
	kinds    []code // the few that differ; codes and digests hold places in it
	codes    map[string]uint16
	codeLen  [maxCode + 1]bool
	codeBits bitSet // the hash of each code, so that most look-ups end here
	prefixes bitSet // the hash of all that a code begins with
	births   map[birth]bool
	emails   map[string]bool
	digests  map[uint64]uint16 // first eight bytes of a digest of an identifier
	initials []string          // of each row's given and other names
	typos    typoIndex
	givens   []string // ascending
	shorts   bitSet   // wordHash of what they begin with
	inlays   inlays
}

const maxCode = 40 // bytes; longer codes are cut off when they are looked for

// nameColumns in the order in which they explain a match best.
var nameColumns = []string{"family_name", "given_name", "other_names", "emergency_contact_name"}

func newLexicon(r *schema.Roster) *lexicon {
	l := &lexicon{
		terms: make(map[string]*term, len(vocabulary())), codes: make(map[string]uint16), births: make(map[birth]bool),
		emails: make(map[string]bool), digests: make(map[uint64]uint16),
	}
	for w, k := range vocabulary() {
		l.terms[w] = &term{cues: k, text: w}
	}
	if r == nil {
		l.index()
		return l
	}
	shared := sharedValues(r)
	l.initials = make([]string, len(r.Rows))
	for i, row := range r.Rows {
		for _, col := range nameColumns {
			for _, c := range r.Columns {
				if column(c) == col {
					l.addName(int32(i), col, row[c])
				}
			}
		}
		joined := squeeze(foldString(row["given_name"])) + squeeze(foldString(row["family_name"]))
		if row["given_name"] != "" && row["family_name"] != "" {
			l.addPart(int32(i), "given_name, family_name", joined)
			l.addPart(int32(i), "given_name, family_name", squeeze(foldString(row["family_name"]))+squeeze(foldString(row["given_name"])))
		}
		for _, c := range r.Columns {
			l.addValue(c, row[c], shared)
			if row[c] != "" {
				l.addInlays(column(c), row[c])
			}
		}
	}
	l.index()
	return l
}

func column(c string) string { return strings.ToLower(strings.TrimSpace(c)) }

// sharedValues are the values of extra columns that several subjects have, such
// as a study arm: they name nobody for certain.
func sharedValues(r *schema.Roster) map[[2]string]int {
	n := make(map[[2]string]int)
	for _, row := range r.Rows {
		for c, v := range row {
			n[[2]string{c, v}]++
		}
	}
	return n
}

// addValue enters one value that is not a name.
func (l *lexicon) addValue(col, v string, shared map[[2]string]int) {
	if v == "" {
		return
	}
	basis := "roster: " + column(col)
	switch column(col) {
	case "given_name", "family_name", "other_names", "emergency_contact_name", "sex", "country":
	case "mrn":
		l.addID(v, code{class: "H", basis: basis, conf: Sure})
	case "national_id":
		c := code{class: "R", basis: basis, conf: Sure}
		if isSSN(v) {
			c.class = "G"
		}
		l.addID(v, c)
	case "subject_id":
		l.addID(v, code{class: "R", basis: basis, conf: Sure})
		l.addShortID(v, code{class: "R", basis: basis + ", cut short", conf: Likely})
	case "phone", "emergency_contact_phone":
		l.addPhone(v, code{class: "D", basis: basis, conf: Sure})
	case "email":
		l.addEmail(v, basis)
	case "birth_date":
		var b birth
		if n, ok := parseISO(v); ok {
			b = n
			l.births[b] = true
			l.births[birth{b.y, b.m, 0}] = true // the month
		}
	case "street":
		l.addStreet(v, basis)
	case "city":
		l.addPhrase(v, "B", basis, Possible)
	case "postal_code":
		l.addPostal(v, basis)
	default:
		conf := Likely
		if shared[[2]string{col, v}] > 1 {
			conf = Possible
		}
		l.addExtra(v, basis, conf)
	}
}

// squeeze keeps letters, marks and digits.
func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.L, unicode.M, unicode.N) {
			return r
		}
		return -1
	}, s)
}

// split cuts a folded text as tokenize does, without the numbers and words apart.
func split(s string) []string {
	var out []string
	b := []byte(s)
	for i := 0; i < len(b); {
		k, n := classAt(b, i)
		if k == cOther {
			i += n
			continue
		}
		st := i
		for i += n; i < len(b); i += n {
			var next byte
			if next, n = classAt(b, i); next != k {
				break
			}
		}
		out = append(out, s[st:i])
	}
	return out
}

func (l *lexicon) term(w string) *term {
	t := l.terms[w]
	if t == nil {
		t = &term{text: w}
		l.terms[w] = t
	}
	return t
}

// addName enters every part of a name, and its parts written as one word.
func (l *lexicon) addName(row int32, col, v string) {
	if w := umlauts.Replace(v); w != v { // Müller, written Mueller
		l.addParts(row, col, w)
	}
	l.addParts(row, col, v)
	for _, w := range romanised(v) {
		l.addParts(row, col, w)
	}
}

// umlauts are the usual spellings where a keyboard lacks the letter.
var umlauts = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ø", "oe", "å", "aa", "Ä", "Ae", "Ö", "Oe", "Ü", "Ue", "Ø", "Oe", "Å", "Aa",
	"a\u0308", "ae", "o\u0308", "oe", "u\u0308", "ue", "ğ", "g", "ð", "dh")

// umlautsBack finds the letter that a roster typed without it stands for.
var umlautsBack = strings.NewReplacer("ae", "a", "oe", "o", "ue", "u", "aa", "a")

func (l *lexicon) addParts(row int32, col, v string) {
	for _, name := range strings.FieldsFunc(v, func(r rune) bool { return r == ';' || r == ',' }) {
		f := foldString(name)
		for _, one := range strings.Fields(f) {
			if parts := split(one); len(parts) > 1 { // Anne-Marie, O'Hara
				l.addPart(row, col, strings.Join(parts, ""))
			}
		}
		parts := split(f)
		if len(parts) > 1 && len(parts) < 5 {
			l.addPart(row, col, strings.Join(parts, ""))
		}
		for _, w := range parts {
			l.addPart(row, col, w)
			if t := l.terms[w]; t != nil && len(parts) == 1 && len(w) > runeLen(w) {
				t.whole, t.part = true, false
			}
			if u := umlautsBack.Replace(w); u != w && len(u) > 4 && !known(u) {
				l.addPart(row, col, u)
			}
			for _, short := range nicknames()[w] {
				if col == "given_name" && (l.terms[short] == nil || len(l.terms[short].rows) == 0 || l.terms[short].weak) {
					l.addPart(row, col, short)
					l.terms[short].weak = true
				}
			}
			if col == "given_name" || col == "other_names" {
				l.initials[row] += w[:runeLen(w)]
			}
		}
	}
}

func runeLen(s string) int {
	_, n := utf8.DecodeRuneInString(s)
	return n
}

func (l *lexicon) addPart(row int32, col, w string) {
	if w == "" || class[w[0]] == cDigit {
		return
	}
	t := l.term(w)
	if t.col == "" {
		t.col = col
	}
	t.weak = false
	t.given = t.given || col == "given_name"
	if n := len(t.rows); n == 0 || t.rows[n-1] != row {
		t.rows = append(t.rows, row)
	}
	t.part = !t.whole && (t.cues.has(cueParticle) && !t.cues.has(cueNameWord) || len(w) == runeLen(w))
}

// kindOf returns the place of c in kinds. Each column makes a few.
func (l *lexicon) kindOf(c code) uint16 {
	i := slices.Index(l.kinds, c)
	if i < 0 {
		i = len(l.kinds)
		l.kinds = append(l.kinds, c)
	}
	return uint16(i)
}

// put enters a code; of two meanings the first, and the surer, stays.
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

func digits(s string) bool {
	for i := range len(s) {
		if class[s[i]] != cDigit {
			return false
		}
	}
	return s != ""
}

// addID enters an identifier, its digits without a letter prefix, and the
// digests by which it could be matched.
func (l *lexicon) addID(v string, c code) {
	key := squeeze(foldString(v))
	l.addDigests(v, key, c)
	k := c
	switch {
	case len(key) < 4, len(key) < 6 && digits(key): // too short to stand alone
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

// addShortID enters what is left of an identifier of several groups when people say
// it among themselves: of LARK2-WEIR-017 "WEIR-017" and "subject 17".
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

// addDigests enters SHA-256, SHA-1 and MD5 of the spellings of an identifier
// that somebody would hash to match records.
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

// addPhone enters the ways in which a telephone number is dialled.
func (l *lexicon) addPhone(v string, c code) {
	f := foldString(v)
	if i := strings.IndexAny(f, "x;"); i > 0 { // an extension
		f = f[:i]
	}
	f = strings.TrimRightFunc(f, func(r rune) bool { return !('0' <= r && r <= '9') && !unicode.IsDigit(r) })
	all := strings.Map(func(r rune) rune {
		if '0' <= r && r <= '9' {
			return r
		}
		return -1
	}, f)
	country := ""
	plus := strings.HasPrefix(strings.TrimSpace(f), "+")
	if !plus && strings.HasPrefix(all, "00") {
		all, plus = all[2:], true
	}
	if plus {
		n := callingCode(all)
		country, all = all[:n], all[n:]
	}
	national := strings.TrimPrefix(all, "0")
	if len(national) < 6 {
		return
	}
	for _, p := range []string{"", "0"} {
		k := c
		k.whole = false
		l.put(p+national, k)
		if country != "" {
			l.put(country+p+national, k)
			l.put("00"+country+p+national, k)
			l.put("011"+country+p+national, k)
		}
	}
	for n := 7; n < len(national) && len(national) >= 9; n++ { // without the area code
		k := c
		k.conf, k.cut = Likely, true
		l.put(national[len(national)-n:], k)
	}
	if all != national { // a national 0 that is part of the number, as in Italy
		l.put(country+all, c)
	}
}

// callingCode returns the length of the country code that digits begin with.
// Source: ITU-T E.164 assigned country codes, from memory.
func callingCode(d string) int {
	if len(d) < 3 {
		return 0
	}
	switch d[0] {
	case '1', '7':
		return 1
	}
	switch d[:2] {
	case "20", "27", "30", "31", "32", "33", "34", "36", "39", "40", "41", "43", "44", "45", "46", "47", "48", "49", "51", "52", "53",
		"54", "55", "56", "57", "58", "60", "61", "62", "63", "64", "65", "66", "81", "82", "84", "86", "90", "91", "92", "93", "94", "95", "98":
		return 2
	}
	return 3
}

func (l *lexicon) addEmail(v, basis string) {
	f := foldString(v)
	l.emails[f] = true
	c := code{class: "F", basis: basis, conf: Likely}
	l.addDigests(v, f, c)
	local, _, _ := strings.Cut(f, "@")
	key := squeeze(local)
	if len(key) < 5 || known(key) || len(key) < 8 && digits(key) {
		return
	}
	if strings.ContainsAny(key, "0123456789") {
		l.put(key, c)
		return
	}
	if p := l.addWords(split(local), "F", basis, Likely); p != nil {
		p.plain = false // no everyday sequence of words
	}
}

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

func (l *lexicon) addPhrase(v string, c Class, basis string, conf Confidence) {
	l.addWords(split(foldString(v)), c, basis, conf)
}

// addWords enters a phrase, unless it is too short or there already: then nil.
func (l *lexicon) addWords(w []string, c Class, basis string, conf Confidence) *phrase {
	n, plain := 0, true
	for _, x := range w {
		n += len(x)
		plain = plain && (known(x) || len(x) < 4)
	}
	if n < 4 {
		return nil
	}
	t := l.term(w[0])
	for _, p := range t.phrases {
		if slices.Equal(p.words, w) {
			return nil
		}
	}
	p := &phrase{w, c, basis, conf, plain}
	t.phrases = append(t.phrases, p)
	return p
}

// hash adds c to the hash h of the characters before it.
func hash(h uint32, c byte) uint32 { return (h ^ uint32(c)) * 0x01000193 }

// index builds what a text is searched with: words, codes and their beginnings,
// names one letter off, and given names by their first letters.
func (l *lexicon) index() {
	n := 0
	for key := range l.codes {
		n += len(key)
	}
	l.codeBits, l.prefixes = newBitSet(2*len(l.codes)), newBitSet(n)
	for key := range l.codes {
		h := uint32(0)
		for k := range len(key) {
			h = hash(h, key[k])
			l.prefixes.add(h)
		}
		l.codeBits.add(h)
	}
	var ours []string // those of the roster, among a vocabulary of thousands
	for w, t := range l.terms {
		if len(t.rows) > 0 {
			ours = append(ours, w)
		}
	}
	slices.Sort(ours)
	for _, w := range ours {
		t := l.terms[w]
		if t.given && !t.word() && len(w) > 5 {
			l.givens = append(l.givens, w)
		}
		if !t.part && !t.weak && len(w) >= 4 {
			l.typos.add(t)
		}
	}
	l.typos.finish()
	l.shorts = newBitSet(8 * len(l.givens))
	for _, w := range l.givens {
		for n := 4; n+2 <= len(w); n++ {
			l.shorts.add(wordHash([]byte(w[:n])))
		}
	}
	l.inlays.finish()
	l.words = newWordTable(l.terms)
	l.terms = nil
}
