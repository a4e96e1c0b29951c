package schema

import "fmt"

// TwoPeople returns the evidence that a subject's identifier may belong to two people: rows of
// the roster that share it, and records whose birth date differs from the roster's. It protects
// acts on one person, such as a withdrawal, from affecting somebody else.
func (c *Collection) TwoPeople(id string) (out []Problem) {
	var at []int // rows
	for i, row := range c.Roster.Rows {
		if SameID(row["subject_id"], id) {
			at = append(at, i)
		}
	}
	for _, i := range at[min(1, len(at)):] {
		out = append(out, Problem{File: rosterFile, Line: c.Roster.Lines[i], Column: 1, Rule: "roster.twice",
			Severity: Error,
			Message: fmt.Sprintf("this row and line %d have one subject_id (%s)", c.Roster.Lines[at[0]],
				sameCanonical)})
	}
	if len(at) != 1 {
		return out
	}
	born := c.Roster.Rows[at[0]]["birth_date"]
	for _, s := range c.Sessions {
		if SameID(s.Subject, id) && s.BirthDate != "" && isDate(born) && s.BirthDate != born {
			out = append(out, Problem{File: s.File, Pointer: "/subject/birth_date", Rule: "subject.birth-date",
				Severity: Error,
				Message:  "this record has the subject_id, but another birth date than roster.csv"})
		}
	}
	return out
}
