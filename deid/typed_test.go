package deid

import (
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// TestTyped: what is typed about an act is one visible line, and names no subject.
func TestTyped(t *testing.T) {
	dir, truth := invented(t, demo.Options{Seed: 3, Subjects: 3, Sessions: 3, RecordingSeconds: 60, SampleHz: 2})
	row := truth.Roster[0]
	site, lab := NewTyped(load(t, dir)), NewTyped(nil)
	form := map[string]string{
		"empty": "", "blanks": "  ", "two lines": "a\nb", "return": "a\rb", "tab": "a\tb", "escape": "a\x1b[2J",
		"bidi":     "a\u202eb",
		"no width": "a\u200bb", "tag": "a\U000e0041", "not UTF-8": "a\xff", "line separator": "a\u2028b",
		"long": strings.Repeat("a ", 1500),
	}
	for name, text := range form {
		for judge, f := range map[string]func(string) error{
			"why": func(s string) error { return site.Why(s) }, "who": site.Who,
			"why at the laboratory": func(s string) error { return lab.Why(s) }, "who at the laboratory": lab.Who,
		} {
			if err := f(text); err == nil {
				t.Errorf("%s passes as %s", name, judge)
			} else if text = strings.TrimSpace(text); len(text) > 1 && strings.Contains(err.Error(), text) {
				t.Errorf("%s: repeated in %v", name, err)
			}
		}
	}
	name := row["given_name"] + " " + row["family_name"]
	for what, text := range map[string]string{
		"name": name, "name's": name + "'s", "record number": row["mrn"], "subject": row["subject_id"],
		"telephone": row["phone"], "e-mail": "x.y@example.org",
	} {
		for _, s := range []string{text, "asked by " + text} {
			if err := site.Why(s); err == nil || strings.Contains(err.Error(), text) {
				t.Errorf("why: %s: %v", what, err)
			}
			if err := site.Who(s); err == nil || strings.Contains(err.Error(), text) {
				t.Errorf("who: %s: %v", what, err)
			}
		}
	}
	if err := site.Who(strings.ToLower(row["family_name"])); err == nil {
		t.Error("who: a name of the roster in small letters passes")
	}
	// what patterns alone know; the numbers are kept for fiction by Ofcom
	for _, s := range []string{"x.y@example.org", "call 020 7946 0018"} {
		if lab.Why(s) == nil || lab.Who(s) == nil {
			t.Errorf("%q passes at the laboratory", s)
		}
	}
	for _, s := range []string{"coordinator", "O. Officer", "Dr Larkspur", "tb", "night shift 2", "privacy officer"} {
		if err := site.Who(s); err != nil {
			t.Errorf("who: %q: %v", s, err)
		}
	}
	for _, s := range []string{"consent withdrawn in writing", "WEIR-0003 was crushed before it left",
		"protocol 7, approved by the committee", "the valve stuck; typed again"} {
		if err := site.Why(s); err != nil {
			t.Errorf("why: %q: %v", s, err)
		}
		if err := lab.Why(s); err != nil {
			t.Errorf("why at the laboratory: %q: %v", s, err)
		}
	}
	if err := site.Why("LK07-0001-A and 12345678 broke", "12345678"); err != nil {
		t.Errorf("a declared barcode: %v", err)
	}
}
