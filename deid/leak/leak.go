// Package leak searches texts for identifiers: values of the site's roster, and
// whatever has the form of an identifier.
//
// In: a roster and a text. Out: matches with byte offsets, and findings that a
// person decides on. Most callers need [New] and [Scanner.Scan].
//
// A text is folded once (fold.go) and split into words and numbers (token.go). Each
// word is looked up once in a table of the roster's words (lexicon.go, roster*.go)
// and of everyday words, which words/*.txt classifies as cues (cue.go). Detectors then
// read the tokens. There is a file for each kind of identifier:
//
//	names.go namechains.go misspelt.go namewords.go   names of the roster
//	unlisted.go                                       names after titles, not in the roster
//	codes.go glued.go parted.go spoken.go             numbers and values of the roster
//	dates.go datelayouts.go births.go ages.go         dates and ages
//	places.go addresses.go                            streets; e-mail, URLs, hosts
//	phones.go accounts.go national.go numberform.go   numbers by their form
//	encoded.go escapes.go wide.go                     values in other encodings
//
// Tables of rules (rules.go) make the decisions; each rule is described in the table.
// scan.go merges matches that overlap.
//
// [Literals] is a second, much simpler search. It finds values of the roster as they
// are written there, in any bytes, at memory speed. It shares no matching code with the
// first search: a fault in folding, words or rules cannot hide a value from both. The
// values themselves are chosen with the vocabulary, folding and dates of the first.
package leak

import (
	"outbreath/schema"
)

// A Class is the letter of the identifier class in 45 CFR 164.514(b)(2)(i).
type Class string

// A Confidence is how certain a match is.
type Confidence string

// The confidences, highest first. In free text a sure match is redacted without a
// person's decision.
const (
	Sure     Confidence = "sure"
	Likely   Confidence = "likely"
	Possible Confidence = "possible"
)

// A Match is one suspect span of a text. Start and End are byte offsets in the UTF-8
// text as given, 0 <= Start < End <= len(text), at rune borders.
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

// New returns a scanner for r. With a nil roster it searches for patterns only.
func New(r *schema.Roster) *Scanner { return &Scanner{scanner{lex: newLexicon(r)}} }
