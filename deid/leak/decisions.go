package leak

import "time"

// A Decision is one line of review.jsonl.
type Decision struct {
	ID     string    `json:"id"`
	Action string    `json:"action"` // "redact" or "keep"
	Reason string    `json:"reason"` // required for keep; never the value
	Who    string    `json:"who"`
	When   time.Time `json:"when"` // UTC
}

// Decisions are the decisions in force: of several on one id the last counts.
type Decisions struct{ byID map[string]Decision }

// ParseDecisions reads review.jsonl. The error names the line.
func ParseDecisions(data []byte) (*Decisions, error) { panic("todo") }

// Of returns the decision on a finding's id. A nil receiver knows none.
func (d *Decisions) Of(id string) (Decision, bool) { panic("todo") }

// Format returns the line that records d, with its line feed.
func (d Decision) Format() []byte { panic("todo") }
