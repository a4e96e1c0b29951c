package leak

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

	// Automatic says that the decision is the tool's own, which a person may
	// still turn over: a sure finding in free text is taken out.
	Automatic bool `json:"automatic,omitempty"`

	// Moved says that what is redacted is a date, which moves with the subject's
	// other dates and stays in the text.
	Moved bool `json:"moved,omitempty"`
}

// Open reports whether a person still has to decide.
func (f Finding) Open() bool { return f.Decision == "" }
