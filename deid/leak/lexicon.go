package leak

import (
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
// months only those that are everyday words in English count as words; one or two
// letters are a word, but two Chinese characters are a name.
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
		if row["given_name"] != "" && row["family_name"] != "" {
			given, family := squeeze(foldString(row["given_name"])), squeeze(foldString(row["family_name"]))
			l.addPart(int32(i), "given_name, family_name", given+family)
			l.addPart(int32(i), "given_name, family_name", family+given)
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
