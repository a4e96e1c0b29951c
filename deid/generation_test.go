package deid

import (
	"slices"
	"strings"
	"testing"

	"outbreath/keys"
	"outbreath/schema"
)

// twoGenerations are a site's keys, newest first, and a collection of three subjects: one
// with two records, one in the roster only, and one in a record only.
func twoGenerations() ([]Generation, *schema.Collection) {
	newest, before := keys.NewPseudonymKey([32]byte{2}), keys.NewPseudonymKey([32]byte{1})
	all := Generations([]*keys.PseudonymKey{newest, before}, "LARK-2")
	record := func(id, subject string, tubes ...string) *schema.Session {
		s := &schema.Session{File: "sessions/" + id + ".json", ID: id, Subject: subject}
		for _, t := range tubes {
			s.Tubes = append(s.Tubes, schema.Tube{Barcode: t})
		}
		return s
	}
	return all, &schema.Collection{
		Roster: &schema.Roster{Rows: []map[string]string{{"subject_id": "S-1"}, {"subject_id": "S-2"}, {}}},
		Sessions: []*schema.Session{record("V-1", "S-1", "T2", "T1"), record("V-2", "s 1", "T3", "T1"),
			record("V-3", "S-3", "T4")},
	}
}

// A pseudonym of any generation leads back to its subject or its session, and nothing else does.
func TestTrace(t *testing.T) {
	all, c := twoGenerations()
	for i, g := range all {
		for id, want := range map[string]Traced{
			"S-1": {"S-1", g.KeyID, "subject", []string{"sessions/V-1.json", "sessions/V-2.json"}},
			"S-2": {"S-2", g.KeyID, "subject", nil},
			"S-3": {"S-3", g.KeyID, "subject", []string{"sessions/V-3.json"}},
		} {
			name, err := g.Subject(id)
			if err != nil {
				t.Fatal(err)
			}
			got, ok := Trace(all, c, name)
			if !ok || got.SubjectID != want.SubjectID || got.KeyID != want.KeyID || got.Kind != want.Kind ||
				!slices.Equal(got.Records, want.Records) {
				t.Errorf("generation %d, %s: %+v, %v", i, id, got, ok)
			}
		}
		name, err := g.Session("V-2")
		if err != nil {
			t.Fatal(err)
		}
		if got, ok := Trace(all, c, name); !ok || got.SubjectID != "s 1" || got.Kind != "session" ||
			got.KeyID != g.KeyID || !slices.Equal(got.Records, []string{"sessions/V-2.json"}) {
			t.Errorf("generation %d: %+v, %v", i, got, ok)
		}
	}
	other := Generations([]*keys.PseudonymKey{keys.NewPseudonymKey([32]byte{3})}, "LARK-2")[0]
	name, err := other.Subject("S-1")
	if err != nil {
		t.Fatal(err)
	}
	c.Roster.Rows = append(c.Roster.Rows, map[string]string{"subject_id": "--"}) // an id that has no pseudonym
	c.Sessions = append(c.Sessions, &schema.Session{ID: " ", Subject: "S-3"})
	for _, name := range []string{name, ""} {
		if got, ok := Trace(all, c, name); ok || got.SubjectID != "" {
			t.Errorf("%q: %+v", name, got)
		}
	}
}

// A subject has one pseudonym in each generation, however the id is written.
func TestPseudonyms(t *testing.T) {
	all, c := twoGenerations()
	a, err := Pseudonyms(all, "S-1")
	if err != nil || len(a) != 2 || a[0] == a[1] {
		t.Fatalf("%v, %v", a, err)
	}
	if b, err := Pseudonyms(all, "s 1"); err != nil || !slices.Equal(a, b) {
		t.Errorf("%v, %v", b, err)
	}
	if b, err := Pseudonyms(all, "--"); err == nil || b != nil {
		t.Errorf("%v, %v", b, err)
	}
	if id, ok := Known(c, "s_2"); !ok || id != "S-2" {
		t.Errorf("%q, %v", id, ok)
	}
	for _, typed := range []string{"S-4", ""} {
		if id, ok := Known(c, typed); ok || id != "" {
			t.Errorf("%q: %q", typed, id)
		}
	}
	if got := TubesOf(c, "s1"); !slices.Equal(got, []string{"T1", "T2", "T3"}) {
		t.Errorf("%q", got)
	}
	if got := subjects(c); !slices.Equal(got, []string{"S-1", "S-2", "s 1", "S-3"}) {
		t.Errorf("%q", got)
	}
}

// Who has withdrawn under any generation is left out with all records, and nobody else.
func TestLeaveOutOfEveryGeneration(t *testing.T) {
	for n := range 2 {
		all, c := twoGenerations()
		gone, err := all[n].Subject("S-1")
		if err != nil {
			t.Fatal(err)
		}
		c.Sessions = append(c.Sessions, &schema.Session{ID: "V-4", Subject: "--"})
		out := LeaveOut(all, c, map[string]bool{gone: true, "": true})
		if len(out) != 2 || out[0].ID != "V-1" || out[1].ID != "V-2" || len(c.Sessions) != 2 ||
			c.Sessions[0].ID != "V-3" {
			t.Errorf("generation %d: %d left out, %d stay", n, len(out), len(c.Sessions))
		}
	}
}

// The list that joins two generations has a row for each subject who has not withdrawn.
func TestLinkageRows(t *testing.T) {
	all, c := twoGenerations()
	row := func(id string) string {
		p, err := Pseudonyms(all, id)
		if err != nil {
			t.Fatal(err)
		}
		return p[1] + "," + p[0]
	}
	check := func(gone map[string]bool, ids ...string) {
		t.Helper()
		var want []string
		for _, id := range ids {
			want = append(want, row(id))
		}
		slices.Sort(want)
		got, err := Linkage(all, c, gone)
		if err != nil || string(got) != "before,after\n"+strings.Join(want, "\n")+"\n" {
			t.Errorf("%s, %v", got, err)
		}
	}
	check(nil, "S-1", "S-2", "S-3")
	for _, g := range all {
		name, err := g.Subject("S-2")
		if err != nil {
			t.Fatal(err)
		}
		check(map[string]bool{name: true}, "S-1", "S-3")
	}
	c.Sessions[2].Subject = "--"
	if got, err := Linkage(all, c, nil); err == nil || got != nil {
		t.Errorf("an id without a pseudonym: %s", got)
	}
}
