// Package leak searches texts for identifiers: what the site's roster knows,
// and what has the shape of one.
//
// In: a roster and a text. Out: matches with byte offsets, and findings that a
// person decides on. Most callers need [New] and [Scanner.Scan].
//
// A text is folded once (fold.go) and cut into words and numbers (token.go). Each
// word is looked up once in a table of the roster's words (lexicon.go, roster*.go)
// and everyday words, of which words/*.txt says what they are cues for (cue.go).
// Detectors then read the tokens, a file for each thing they recognise:
//
//	names.go namechains.go misspelt.go namewords.go   names of the roster
//	strangers.go                                      names behind titles and the like
//	codes.go glued.go parted.go spoken.go             numbers and values of the roster
//	dates.go datelayouts.go births.go ages.go         dates and ages
//	places.go addresses.go                            streets; e-mail, URLs, hosts
//	phones.go accounts.go national.go numberform.go   numbers by their form
//	encoded.go escapes.go wide.go                     values in other encodings
//
// What decides is tables of rules (rules.go), each with what it is for. scan.go
// settles what overlaps.
//
// [Literals] is a second search, much simpler, of values of the roster as they are
// written, in any bytes, at memory speed. It matches without the code of the first,
// so that a fault in folding, words or rules does not hide a value from both; the
// values themselves are chosen with the vocabulary, folding and dates of the first.
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
	clean, cleanFields cleanTexts
}

// New builds a scanner. A nil roster searches patterns only.
func New(r *schema.Roster) *Scanner { return &Scanner{scanner{lex: newLexicon(r)}} }
