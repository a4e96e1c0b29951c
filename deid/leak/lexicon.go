package leak

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"outbreath/schema"
)

// A term is a word of the roster or of the vocabulary.
type term struct {
	cues    cueSet
	text    string
	rows    []int32 // rows in which it is part of a name, ascending
	col     string  // column of the first of them
	part    bool    // a particle or single letter: not a name by itself
	whole   bool    // some row has it as a whole name, even if it is a particle
	given   bool    // some row has it as a given name
	weak    bool    // a short form that no row lists
	phrases []*phrase
}

// word reports whether the term is an everyday word, which counts as a name only where
// it is written as one. Names of months are everyday words only if they have another
// meaning in English. One or two letters are a word, but two Chinese characters are a
// name.
func (t *term) word() bool {
	return t.weak || t.cues.beyond(monthCue) || utf8.RuneCountInString(t.text) <= 2 && len(t.text) < 6
}

// A phrase is a value that is searched as a sequence of words and numbers.
type phrase struct {
	words []string
	class Class
	basis string
	conf  Confidence
	plain bool // made of ordinary words: needs capitals or a number next to it
}

// A code is a value that is searched as a run of letters and digits with any grouping.
type code struct {
	class   Class
	basis   string
	conf    Confidence
	context cueSet // one of these cues must precede; empty: none needed
	whole   bool   // counts only in one piece
	cut     bool   // lacks a prefix or an area code: does not count alone in a cell of a table
	near    bool   // counts only right after a word for a person
}

// A lexicon is the knowledge of a scanner: the roster and the vocabulary.
type lexicon struct {
	terms    map[string]*term // only while the lexicon is built; afterwards words
	words    wordTable
	kinds    []code // the different codes; codes, digests and embedded hold indices of it
	codes    map[string]uint16
	codeLen  [maxCode + 1]bool
	codeBits bitSet // hashes of the codes, to exclude most look-ups
	prefixes bitSet // hashes of all beginnings of codes
	births   map[birth]bool
	emails   map[string]bool
	digests  map[uint64]uint16 // first eight bytes of a digest of an identifier
	initials []string          // of each row's given and other names
	typos    typoIndex
	givens   []string // ascending
	shorts   bitSet   // wordHash of the beginnings of givens
	embedded embeddedIndex
}

// nameColumns are the columns of names, the one that explains a match best first.
var nameColumns = []string{"family_name", "given_name", "other_names", "emergency_contact_name"}

// newLexicon builds the lexicon of the vocabulary and r, which may be nil.
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
		if row["given_name"] != "" && row["family_name"] != "" {
			given, family := squeeze(foldString(row["given_name"])), squeeze(foldString(row["family_name"]))
			l.addPart(int32(i), "given_name, family_name", given+family)
			l.addPart(int32(i), "given_name, family_name", family+given)
		}
		for _, c := range r.Columns {
			l.addValue(c, row[c], shared)
			if row[c] != "" {
				l.addEmbedded(column(c), row[c])
			}
		}
	}
	l.index()
	return l
}

// column returns a column name of the roster as the code below compares it.
func column(c string) string { return strings.ToLower(strings.TrimSpace(c)) }

// sharedValues counts the rows by column and value. Values that several subjects share,
// such as a study arm, identify nobody for certain.
func sharedValues(r *schema.Roster) map[[2]string]int {
	n := make(map[[2]string]int)
	for _, row := range r.Rows {
		for c, v := range row {
			n[[2]string{c, v}]++
		}
	}
	return n
}

// addValue adds one value that is not a name, as the kind that its column has.
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

// squeeze returns the letters, marks and digits of s.
func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.L, unicode.M, unicode.N) {
			return r
		}
		return -1
	}, s)
}

// split splits a folded text into words and numbers as tokenize does.
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

// term returns the term of the folded word w, and adds it if necessary.
func (l *lexicon) term(w string) *term {
	t := l.terms[w]
	if t == nil {
		t = &term{text: w}
		l.terms[w] = t
	}
	return t
}

// index builds the tables for the search: words, codes and their beginnings, misspelt
// names, and given names by their beginnings. Nothing can be added afterwards.
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
	var ours []string // words of names of the roster
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
	l.embedded.finish()
	l.words = newWordTable(l.terms)
	l.terms = nil
}
