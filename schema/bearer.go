package schema

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// What a recording says of a person and of the time, compared with what the site knows. Check asks
// it of the recordings that records name, and filling of those that no record names yet.

// codeColumns are those whose value a recorder may have been given for the subject.
var codeColumns = []string{"subject_id", "mrn", "national_id"}

// HasCode reports whether code is one of the identifiers in a row of the roster.
func HasCode(row map[string]string, code string) bool {
	return slices.ContainsFunc(codeColumns, func(column string) bool { return SameID(code, row[column]) })
}

// HasName reports whether a text has the family name and the first given name of a row of the
// roster as words, in any order, with or without accents, with ä written as a or ae.
func HasName(row map[string]string, text string) bool {
	words := nameWords(text)
	has := func(names []string) bool {
		return len(names) > 0 && !slices.ContainsFunc(names, func(w string) bool { return !slices.Contains(words, w) })
	}
	given, family := nameWords(row["given_name"]), nameWords(row["family_name"])
	return len(given) > 0 && (has(given[:1]) || has(nameWords(Spelt(row["given_name"]))[:1])) &&
		(has(family) || has(nameWords(Spelt(row["family_name"]))))
}

// Spelt writes the letters of German that keyboards lack as two (common practice, no source).
func Spelt(s string) string {
	return strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "Ä", "Ae", "Ö", "Oe", "Ü", "Ue").Replace(s)
}

// SexesDiffer reports whether one is female and the other male. EDF can say no more.
func SexesDiffer(a, b string) bool {
	a, b = sexWord(a), sexWord(b)
	return a == "female" && b == "male" || a == "male" && b == "female"
}

// Apart says by how much one time is from another, and to which side: "12 minutes after".
func Apart(d time.Duration) string {
	side := "after"
	if d < 0 {
		d, side = -d, "before"
	}
	switch {
	case d >= 48*time.Hour:
		return fmt.Sprintf("%.0f days %s", d.Hours()/24, side)
	case d >= 2*time.Hour:
		return fmt.Sprintf("%.1f hours %s", d.Hours(), side)
	}
	return fmt.Sprintf("%.0f minutes %s", d.Minutes(), side)
}
