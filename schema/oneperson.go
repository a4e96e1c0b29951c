package schema

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// sameValue are the columns whose value no two people share.
var sameValue = []string{"mrn", "national_id"}

// OnePerson returns rows of the roster that may be one person's under two subject_ids, as
// warnings: alike in birth date and name, whatever the accents and capitals, the middle
// names, and the order of given and family name; or with one record or national number.
func (r *Roster) OnePerson() []Problem {
	var out []Problem
	seen := make(map[string]int) // the row that had a key first
	for i, row := range r.Rows {
		if _, err := usable(row["subject_id"]); err != nil {
			continue // which is an error of its own
		}
		keys := personKeys(row)
		for _, column := range sameValue {
			if id, err := Canonical(row[column]); err == nil && len(id) >= 4 {
				keys = append(keys, column+"\x00"+id)
			}
		}
		told := false
		for _, k := range keys {
			j, twice := seen[k]
			if !twice {
				seen[k] = i
				continue
			}
			if told || SameID(r.Rows[j]["subject_id"], row["subject_id"]) {
				continue
			}
			told = true
			what := "name and birth date"
			if column, _, of := strings.Cut(k, "\x00"); of && slices.Contains(sameValue, column) {
				what = column
			}
			out = append(out, Problem{File: rosterFile, Line: r.Lines[i], Column: 1, Rule: "roster.one-person",
				Severity: Warning,
				Message: fmt.Sprintf("this row and line %d are alike in %s and have two subject_ids: if they are one "+
					"person, keep one row and use its subject_id in the records; if they are two people, leave them",
					r.Lines[j], what)})
		}
	}
	return out
}

// personKeys returns what is equal in two rows that are alike in name and birth date.
func personKeys(row map[string]string) []string {
	given, family := nameWords(row["given_name"]), nameWords(row["family_name"])
	if !isDate(row["birth_date"]) || len(given) == 0 || len(family) == 0 {
		return nil
	}
	key := func(names ...string) string {
		slices.Sort(names)
		return row["birth_date"] + " " + strings.Join(names, " ")
	}
	longest := slices.MaxFunc(family, func(a, b string) int { return len(a) - len(b) }) // not "van" or "de"
	first := key(given[0], longest)
	whole := key(strings.Join(given, ""), strings.Join(family, ""))
	return slices.Compact([]string{first, whole})
}

// nameWords splits a name into words of small letters without accents.
func nameWords(name string) []string {
	plain := strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Mn, r), r == '\'', r == '’':
			return -1
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			return unicode.ToLower(r)
		}
		return ' '
	}, norm.NFKD.String(unstroked.Replace(name)))
	return strings.Fields(plain)
}

// unstroked writes the Latin letters that Unicode does not take apart as they are written
// without their sign (common practice, no source).
var unstroked = strings.NewReplacer("ß", "ss", "ø", "o", "Ø", "O", "ł", "l", "Ł", "L", "đ", "d", "Đ", "D", "æ", "ae",
	"Æ", "AE", "œ", "oe", "Œ", "OE", "ð", "d", "Ð", "D", "þ", "th", "Þ", "Th", "ı", "i")
