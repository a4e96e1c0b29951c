package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/deid"
	"outbreath/deid/leak"
	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

// thirty makes 30 findings in 8 groups, as a week of notes gives them.
func thirty() []*group {
	var all []*group
	for i := range 8 {
		g := &group{passage: deid.Passage{Before: "seen by ", Suspect: fmt.Sprintf("Name%d", i), After: " at once"},
			redact: i != 7}
		for k := range 3 + i%3 {
			g.findings = append(g.findings, leak.Finding{ID: fmt.Sprintf("%d-%d", i, k), Class: "A",
				Basis: fmt.Sprintf("roster: kind%d", i%2), Confidence: "likely"})
		}
		all = append(all, g)
	}
	return all
}

// script walks with the keys and lines given and returns what was recorded.
func script(t *testing.T, groups []*group, keys string, lines ...string) (recorded []string, shown string) {
	t.Helper()
	var out strings.Builder
	w := &walker{out: &out, mark: [2]string{">>", "<<"}}
	w.key = func() (byte, error) {
		if keys == "" {
			return 0, io.EOF
		}
		k := keys[0]
		keys = keys[1:]
		return k, nil
	}
	w.line = func() (string, error) {
		l := lines[0]
		lines = lines[1:]
		return l + "\n", nil
	}
	w.mayStay = func(reason string) error {
		if strings.Contains(reason, "Mrs") {
			return errors.New("may hold a name")
		}
		return nil
	}
	w.record = func(g *group, action, reason string) error {
		g.decision = action
		for _, f := range g.findings {
			recorded = append(recorded, f.ID+"="+action+" "+reason)
		}
		return nil
	}
	if err := w.walk(groups); err != nil {
		t.Fatal(err)
	}
	if keys != "" {
		t.Errorf("keys %q were not asked for", keys)
	}
	return recorded, out.String()
}

func TestWalk(t *testing.T) {
	groups := thirty()
	n := 0
	for _, g := range groups {
		n += len(g.findings)
	}
	if n < 30 {
		t.Fatalf("only %d findings", n)
	}
	// one after the other: 7 redacted, the last kept with a reason
	recorded, shown := script(t, groups, "rrrrrrrk", "a ward")
	if len(recorded) != n || !strings.HasSuffix(recorded[n-1], "=keep a ward") {
		t.Errorf("recorded %q", recorded)
	}
	if !strings.Contains(shown, "1 of 8: likely name (class A, roster: kind0), in 3 places") ||
		!strings.Contains(shown, "seen by >>Name0<< at once") {
		t.Errorf("shown: %s", shown)
	}
	// "a" takes the rest of its kind; the one that cannot be redacted stays
	recorded, _ = script(t, thirty(), "arrrs")
	if len(recorded) == 0 {
		t.Error("nothing was recorded")
	}
	// stopping half-way keeps what was decided
	if recorded, _ = script(t, thirty(), "rsq"); len(recorded) != 3 {
		t.Errorf("after stopping: %q", recorded)
	}
	// back, a key without meaning, a field that cannot be redacted, an empty
	// reason, and a reason that holds the words
	last := thirty()[7:]
	recorded, shown = script(t, last, "xb\rrkkk", "", "it is name7 of the ward", "a lot number")
	if len(recorded) != len(last[0].findings) || !strings.HasSuffix(recorded[0], "=keep a lot number") {
		t.Errorf("recorded %q", recorded)
	}
	if !strings.Contains(shown, "leaves unchanged") || !strings.Contains(shown, "The reason repeats the words") {
		t.Errorf("shown: %s", shown)
	}
}

// TestGroups plants one name in the notes of all sessions and wants one group.
func TestGroups(t *testing.T) {
	dir := t.TempDir()
	c := filepath.Join(dir, "c")
	truth, err := demo.Write(c, smallDemo)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range truth.Sessions {
		if _, err := planting.Put(c, planting.Identifier{Place: planting.InNotes, Session: s.File, Row: 1,
			Column: "family_name"}); err != nil {
			t.Fatal(err)
		}
	}
	if err := makeKeys(filepath.Join(dir, "site"), filepath.Join(dir, "lab"), demo.Site); err != nil {
		t.Fatal(err)
	}
	r, err := read(t.Context(), newUI(strings.NewReader(""), io.Discard, io.Discard),
		&options{keysDir: filepath.Join(dir, "site")}, c, true)
	if err != nil {
		t.Fatal(err)
	}
	defer r.col.Root.Close()
	groups := r.groups()
	if len(groups) != 1 || len(groups[0].findings) != len(truth.Sessions) {
		t.Fatalf("%d groups for %d findings", len(groups), len(r.findings))
	}
	if got, want := groups[0].passage.Suspect, truth.Roster[1]["family_name"]; !strings.EqualFold(got, want) {
		t.Errorf("the passage shows other words than those planted")
	}
}

// Unicode Standard Annex 9 names the characters that turn the direction.
func TestPrintable(t *testing.T) {
	const unchanged = "Zoë \u0e01, سلام\n\t1"
	if got := printable(unchanged); got != unchanged {
		t.Errorf("%q became %q", unchanged, got)
	}
	for _, r := range "\x00\x07\x1b\x7f\u0085\u009b\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069" {
		if got := printable("a" + string(r) + "b"); got != "a\uFFFDb" {
			t.Errorf("%U is printed as %q", r, got)
		}
	}
}
