package leak

// A Finding is a match at a place of the collection. It never holds the value.
type Finding struct {
	ID         string     `json:"id"` // keyed hash; "" without a key
	File       string     `json:"file"`
	Pointer    string     `json:"pointer"`
	Start      int        `json:"start"`
	End        int        `json:"end"`
	Class      Class      `json:"class"`
	Basis      string     `json:"basis"`
	Confidence Confidence `json:"confidence"`
	Action     string     `json:"action"`   // "redact" or "review": the tool's proposal
	Decision   string     `json:"decision"` // "redact", "keep" or "" while open

	// Automatic: the tool itself decided to redact a sure finding in free text. A
	// person may still decide otherwise.
	Automatic bool `json:"automatic,omitempty"`

	// Moved: the finding is a date, which is not removed but moved with the subject's
	// other dates.
	Moved bool `json:"moved,omitempty"`
}

// Open reports whether a person still has to decide.
func (f Finding) Open() bool { return f.Decision == "" }
