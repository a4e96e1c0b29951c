package leak

import (
	"strings"
	"unicode/utf8"
)

// addName adds every part of a name, and its parts written as one word, in all usual
// spellings.
func (l *lexicon) addName(row int32, col, v string) {
	if w := umlauts.Replace(v); w != v { // Müller, written Mueller
		l.addParts(row, col, w)
	}
	l.addParts(row, col, v)
	for _, w := range romanised(v) {
		l.addParts(row, col, w)
	}
}

// umlauts replaces letters by their usual spellings on keyboards without them.
var umlauts = strings.NewReplacer(
	"ä", "ae", "ö", "oe", "ü", "ue", "ø", "oe", "å", "aa",
	"Ä", "Ae", "Ö", "Oe", "Ü", "Ue", "Ø", "Oe", "Å", "Aa",
	"a\u0308", "ae", "o\u0308", "oe", "u\u0308", "ue", "ğ", "g", "ð", "dh",
)

// umlautsBack replaces these spellings by the folded letter, for a roster that was typed
// on such a keyboard.
var umlautsBack = strings.NewReplacer("ae", "a", "oe", "o", "ue", "u", "aa", "a")

// addParts adds the parts of the names in v, which ; or , separates.
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
				if col == "given_name" && (l.terms[short] == nil || len(l.terms[short].rows) == 0 ||
					l.terms[short].weak) {
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

// addPart adds the folded word w as a part of a name in this row.
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

// nicknames maps a folded given name to its short forms that are not its beginning, or
// that are everyday words.
var nicknames = wordsOf("nicknames")
