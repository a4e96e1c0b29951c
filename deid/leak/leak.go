// Package leak searches texts for identifiers: what the site's roster knows,
// and what has the shape of one.
//
// In: a roster and a text. Out: matches with byte offsets, and findings that a
// person decides on. Most callers need [New] and [Scanner.Scan].
//
// A text is folded once (fold.go), cut into words and numbers (token.go), each
// looked up once in a table of roster terms and everyday words (lexicon.go,
// vocabulary.go); detectors then read the tokens (names.go, codes.go, dates.go,
// places.go, patterns.go, encoded.go), and scan.go settles what overlaps.
//
// [Literals] is a second search, much simpler and sharing no code with the first:
// values of the roster as they stand there, in any bytes, at memory speed.
package leak

import (
	"outbreath/schema"
)

// A Class is the letter of the identifier class in 45 CFR 164.514(b)(2)(i).
type Class string

// Confidence says how certain a match is.
type Confidence string

const (
	Sure     Confidence = "sure"
	Likely   Confidence = "likely"
	Possible Confidence = "possible"
)

// A Match is one suspect stretch of a text. Start and End are byte offsets in
// the UTF-8 text as given, 0 <= Start < End <= len(text), at rune borders.
type Match struct {
	Start, End int
	Class      Class
	Basis      string // "roster: family_name", "pattern: e-mail"; never the value
	Confidence Confidence
}

// A Scanner searches texts for every value of one roster and for patterns. It
// is safe for concurrent use.
type Scanner struct{ scanner }

type scanner struct {
	lex                *lexicon
	quiet, quietFields quietSet
}

// New builds a scanner. A nil roster searches patterns only.
func New(r *schema.Roster) *Scanner { return &Scanner{scanner{lex: newLexicon(r)}} }
