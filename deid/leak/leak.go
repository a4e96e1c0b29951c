// Package leak searches texts for identifiers: what the site's roster knows,
// and what has the shape of one.
//
// In: a roster and a text. Out: matches with byte offsets, and findings that a
// person decides on. Most callers need [New] and [Scanner.Scan].
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

type scanner struct{}

// New builds a scanner. A nil roster searches patterns only.
func New(r *schema.Roster) *Scanner { panic("todo") }

// Scan returns the matches in text, ordered by Start, not overlapping (of
// overlapping ones the surer, then the longer, stays and covers both). declared
// are values that the record itself declares (tube barcodes, kit lots, device
// serials, study and site codes): a pattern match that lies within one of them
// is no match; a roster match always is.
func (s *Scanner) Scan(text string, declared []string) []Match { panic("todo") }

// A Finding is a match in a place of the collection. It never holds the value.
type Finding struct {
	ID         string     `json:"id"` // keyed; "" when no key was at hand
	File       string     `json:"file"`
	Pointer    string     `json:"pointer"`
	Start      int        `json:"start"`
	End        int        `json:"end"`
	Class      Class      `json:"class"`
	Basis      string     `json:"basis"`
	Confidence Confidence `json:"confidence"`
	Action     string     `json:"action"`   // "redact" or "review": what is proposed
	Decision   string     `json:"decision"` // "redact", "keep" or "" while open
}

// Open says whether a person still has to decide.
func (f Finding) Open() bool { return f.Decision == "" }
