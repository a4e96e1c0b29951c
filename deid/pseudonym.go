package deid

import "outbreath/keys"

// A Pseudonymiser makes the pseudonyms and day shifts of one study. It
// remembers what it has made, so that a collision between two identifiers is
// an error. Not safe for concurrent use.
type Pseudonymiser struct{ pseudonymiser }

type pseudonymiser struct{}

// NewPseudonymiser derives the per-purpose keys of study from key.
func NewPseudonymiser(key *keys.PseudonymKey, study string) *Pseudonymiser { panic("todo") }

// Subject, Session and Operator return the pseudonym of an identifier as typed
// at the site: 21 ASCII bytes, "XXXX-XXXX-XXXX-XXXX-C".
func (p *Pseudonymiser) Subject(id string) (string, error)  { panic("todo") }
func (p *Pseudonymiser) Session(id string) (string, error)  { panic("todo") }
func (p *Pseudonymiser) Operator(id string) (string, error) { panic("todo") }

// ShiftDays returns by how many whole days, 1 to 364, the dates of a subject
// are moved back.
func (p *Pseudonymiser) ShiftDays(subjectID string) (int, error) { panic("todo") }
