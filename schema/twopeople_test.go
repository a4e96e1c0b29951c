package schema

import (
	"slices"
	"strings"
	"testing"
)

// TestTwoPeople: rows that share an identifier are named by their lines, a record of
// another birth date by its file; others are not.
func TestTwoPeople(t *testing.T) {
	c := &Collection{
		Roster: &Roster{Lines: []int{2, 4, 5, 7}, Rows: []map[string]string{
			{"subject_id": "S-1", "birth_date": "1970-01-02"}, {"subject_id": "S-2", "birth_date": "1971-01-02"},
			{"subject_id": "s 1", "birth_date": "1972-01-02"}, {"subject_id": "S-3", "birth_date": "unknown"},
		}},
		Sessions: []*Session{{File: "a", Subject: "S-1", BirthDate: "1970-01-02"},
			{File: "b", Subject: "s2", BirthDate: "1972-01-02"},
			{File: "c", Subject: "S-2", BirthDate: "1971-01-02"}, {File: "d", Subject: "S-2"},
			{File: "e", Subject: "S-3", BirthDate: "1972-01-02"}},
	}
	for id, want := range map[string][]string{"ſ１": {"roster.csv"}, "S-2": {"b"}, "S-3": nil, "S-9": nil, "": nil} {
		var files []string
		for _, p := range c.TwoPeople(id) {
			files = append(files, p.File)
			if p.Rule == "roster.twice" && (p.Line != 5 || !strings.Contains(p.Message, "line 2")) {
				t.Errorf("%+v", p)
			}
		}
		if !slices.Equal(files, want) {
			t.Errorf("%q: %v, want %v", id, files, want)
		}
	}
}
