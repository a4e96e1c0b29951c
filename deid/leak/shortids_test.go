package leak

import (
	"strings"
	"testing"

	"outbreath/schema"
)

// The short forms of subject numbers that people use among themselves.
func TestShortIDs(t *testing.T) {
	for _, c := range []struct{ id, found, notFound string }{
		{"LARK2-WEIR-017", "WEIR-017|weir 017|WEIR017|Weir-17|LARK2 WEIR 17|subject 017|subject 17|pt 17|pt. 17 was " +
			"late|patient no. 17|Subject #017|subject 17 coughed|pt 17, mask M|participant number 17 late|tubes of " +
			"subject 17 swapped|volunteer 017 breathes fast",
			"17|tube 17|pt 17 min late|subject 17 breaths a minute|patient coughed 17 times|17 pt|room " +
				"17|WEIR-018|subject 18|pt 3 x coughed|pt 17.5 kg|pt 17/20|WEIR-0017 sealed|number 17|pt 170 cm"},
		{"B03-132", "B03-132|B03 132|subject 132|pt 132", "132|flow 132|pt 132 ml"},
		{"S-7", "subject 7|pt 7", "7|pt 7 min|tube 7"},
		{"00417", "subject 00417|patient 00417", "00417 ml"},
	} {
		s := New(&schema.Roster{Columns: []string{"subject_id", "given_name", "family_name"},
			Rows: []map[string]string{{"subject_id": c.id, "given_name": "Käthe", "family_name": "Thistlewood"}}})
		for want, texts := range map[bool]string{true: c.found, false: c.notFound} {
			for text := range strings.SplitSeq(texts, "|") {
				found := false
				for _, m := range s.Scan(text, nil) {
					found = found || strings.HasPrefix(m.Basis, "roster: subject_id")
				}
				if found != want {
					t.Errorf("%s in %q: found %v", c.id, text, found)
				}
			}
		}
	}
}
