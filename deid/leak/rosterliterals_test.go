package leak

import (
	"slices"
	"strings"
	"testing"

	"outbreath/schema"
)

// finds searches text for what of r is searched byte for byte, and returns the
// columns of what it found.
func finds(t testing.TB, r *schema.Roster, known, text string) (columns []string) {
	t.Helper()
	l, err := NewLiterals(RosterLiterals(r, known, true))
	if err != nil {
		t.Fatal(err)
	}
	s := l.Stream(func(h Hit, _ []byte) { columns = append(columns, h.Column) })
	s.Write([]byte(text))
	s.Close()
	slices.Sort(columns)
	return slices.Compact(columns)
}

func TestRosterLiterals(t *testing.T) {
	r := &schema.Roster{
		Columns: []string{"subject_id", "given_name", "family_name", "other_names", "birth_date", "mrn", "national_id",
			"phone", "email", "street", "city", "postal_code", "emergency_contact_name", "arm", "device"},
		Rows: []map[string]string{
			{"subject_id": "LK-2-0107", "given_name": "Tamsin", "family_name": "Orrell",
				"other_names": `Minna "Nan" Jo; Ottoline`, "birth_date": "1947-01-09", "mrn": "MRN 30417788",
				"national_id": "QQ 12 34 56 C", "phone": "+44 20 7946 0018", "email": "t.orrell@example.org",
				"street": "17 Quarry Road", "city": "Brambleford", "postal_code": "LK7 4QZ99",
				"emergency_contact_name": "Wystan Orrell", "arm": "delayed start", "device": "QX-7700-31"},
			{"subject_id": "LK-2-0108", "given_name": "Björn", "family_name": "Grünwald", "birth_date": "1950-02-02",
				"arm": "delayed start", "phone": "not known yet", "device": "end-tidal"},
			{"subject_id": "LK-2-0109", "given_name": "Rose", "family_name": "Hill", "birth_date": "1951-02-02",
				"phone": "not known yet"},
			{"subject_id": "LK-2-0110", "given_name": "Will", "family_name": "Frost", "birth_date": "1952-02-02",
				"phone": "not known yet"},
			{"subject_id": "LK-2-0111", "given_name": "小明", "family_name": "王", "birth_date": "1952-02-03",
				"phone": "not known yet"},
			{"subject_id": "LK-2-0112", "given_name": "Ida", "family_name": "Sampler", "birth_date": "1952-02-04",
				"phone": "not known yet"},
		},
	}
	const known = `"sampler", "end-tidal"`
	for _, test := range []struct{ text, columns string }{
		{"so tamsin orrell coughed", "family_name+given_name+given_name, family_name"},
		{"Orrell, Tamsin", "family_name+given_name+given_name, family_name"},
		{"ORRELL TAMSIN", "family_name+given_name+given_name, family_name"},
		{"Ms Orrell", "family_name"},
		{"Orrells", ""},
		{`minna "nan" jo`, "other_names"},
		{`Minna \"Nan\" Jo`, "other_names"},
		{"Ottoline", "other_names"},
		{"Wystan", "emergency_contact_name"},
		{"see LK-2-0107", "subject_id"},
		{"LK-2-01075", ""},
		{"MRN 30417788", "mrn"},
		{"no. 30417788.", "mrn"},
		{"2.30417788", ""},
		{"QQ 12 34 56 C", "national_id"},
		{"+44 20 7946 0018", "phone"},
		{"not known yet", ""}, // of many subjects
		{"mail T.Orrell@Example.org", "email+family_name"},
		{"17 quarry road", "street"},
		{"117 Quarry Road", ""},
		{"in Brambleford, LK7 4QZ99 on 1947-01-09", ""}, // not searched here
		{"QX-7700-31", "device"},
		{"end-tidal", ""},     // the plan's own
		{"delayed start", ""}, // of several subjects
		{"Björn", "given_name"},
		{"BJÖRN GRÜNWALD", "family_name+given_name+given_name, family_name"},
		{"björn", "given_name"},
		{"Bjo\u0308rn", "given_name"},
		{"Rose Hill", "given_name, family_name"},
		{"rose hill", ""}, // everyday words
		{"Frost", ""},
		{"will frost", ""},
		{"王小明来了", "given_name, family_name"},
		{"a sampler", ""}, // the plan's own
		{"Ida Sampler", "given_name, family_name"},
		{"Ida", ""}, // too short
	} {
		if got := strings.Join(finds(t, r, known, test.text), "+"); got != test.columns {
			t.Errorf("%q: found by %q, want %q", test.text, got, test.columns)
		}
	}
	if got := RosterLiterals(nil, "", true); got != nil {
		t.Errorf("%v without a roster", got)
	}
}

// What this search finds in a text that may leave, the other has found before:
// else nobody could decide on it, and the seal would be stopped for good.
func TestRosterLiteralsAreFindings(t *testing.T) {
	for _, r := range []*schema.Roster{roster, manyRows(300)} {
		l, err := NewLiterals(RosterLiterals(r, "", true))
		if err != nil {
			t.Fatal(err)
		}
		scan, n := New(r), 0
		texts := append(strings.Split(strangers+"\n"+remarks, "\n"), harmless...)
		texts = append(texts, strings.Split(prose(r, 1<<18, false), "\n")...)
		for _, row := range r.Rows {
			for _, v := range row {
				texts = append(texts, v, strings.ToLower(v), "saw "+strings.ToUpper(v)+" today")
			}
		}
		for _, text := range texts {
			s := l.Stream(func(h Hit, there []byte) {
				n++
				start, end := int(h.Offset), int(h.Offset)+h.Size
				if !slices.ContainsFunc(scan.Scan(text, nil), func(m Match) bool {
					return m.Start < end &&
						start < m.End
				}) {
					t.Errorf("%q in %q (%s) is found here alone", there, text, h.Column)
				}
			})
			s.Write([]byte(text))
			s.Close()
		}
		if n < 500 && r != roster || n < 20 {
			t.Errorf("%d places only", n)
		}
	}
}

// Without the literals for samples a text is searched for the same: every hit that
// there is with them is there without them, names spelt in ASCII letters included.
func TestRosterLiteralsOfTexts(t *testing.T) {
	spelt := &schema.Roster{Columns: []string{"subject_id", "given_name", "family_name"}}
	texts := []string{strangers, remarks, prose(manyRows(300), 1<<18, false)}
	for _, row := range roster.Rows {
		for _, v := range row {
			texts = append(texts, v, strings.ToUpper(v))
		}
	}
	for _, x := range spelledInASCII {
		spelt.Rows = append(spelt.Rows, map[string]string{"given_name": x.given, "family_name": x.family})
		texts = append(texts, x.given+" "+x.family+", "+x.family+"_"+x.given+"; "+x.ascii)
	}
	for _, r := range []*schema.Roster{roster, manyRows(300), spelt} {
		hits := map[bool]map[Hit]bool{}
		count := map[bool]int{}
		for _, samples := range []bool{false, true} {
			l, err := NewLiterals(RosterLiterals(r, "", samples))
			if err != nil {
				t.Fatal(err)
			}
			hits[samples], count[samples] = map[Hit]bool{}, l.Count()
			s := l.Stream(func(h Hit, _ []byte) {
				hits[samples][Hit{Offset: h.Offset, Size: h.Size, Column: h.Column, Border: h.Border}] = true
			})
			for _, text := range texts {
				s.Write([]byte(text))
				s.Skip(1)
			}
			s.Close()
		}
		if len(hits[true]) == 0 || count[false] >= count[true] {
			t.Errorf("%d hits; %d literals without those for samples, %d with them", len(hits[true]), count[false],
				count[true])
		}
		for h := range hits[true] {
			if !hits[false][h] {
				t.Errorf("a hit of %q at byte %d is not there without the literals for samples", h.Column, h.Offset)
			}
		}
	}
}
