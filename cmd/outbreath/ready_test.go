package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"outbreath/deid/leak"
	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

// traced returns the record of the session whose recording is EDF.
func traced(t *testing.T, truth *demo.Truth) string {
	t.Helper()
	for _, s := range truth.Sessions {
		for _, r := range s.Recordings {
			if r.Format == "edf" {
				return s.File
			}
		}
	}
	t.Fatal("no session has an EDF recording")
	return ""
}

// decideAll decides on every finding of the collection.
func decideAll(t *testing.T, dir, site, action string) (findings int) {
	t.Helper()
	_, out, errOut := runHere("review", dir, "--keys", site, "--json")
	var doc struct{ Leaks []leak.Finding }
	if err := json.Unmarshal([]byte(out), &doc); err != nil || len(doc.Leaks) == 0 {
		t.Fatalf("%v: %s%s", err, out, errOut)
	}
	line := []string{"review", dir, "--keys", site, "--by", "the test", "--reason", "it is invented"}
	for _, l := range doc.Leaks {
		line = append(line, "--decide", l.ID+"="+action)
	}
	runHere(line...)
	return len(doc.Leaks)
}

// The text after a title is taken for a name. It must not be taken for one
// when it is the mask that the treatment put there.
func TestMaskBehindTitle(t *testing.T) {
	for _, text := range []string{"Dr. Whitlock came in", "seen by Frau Hollbeck", "asked Mr Tamsin", "Dr Whitlock"} {
		t.Run(text, func(t *testing.T) {
			j := newJob(t, smallDemo)
			planted, err := planting.Put(j.collection, planting.Identifier{Place: planting.InAnnotation,
				Session: traced(t, j.truth), Column: "family_name", Value: text})
			if err != nil {
				t.Fatal(err)
			}
			if status, _, _ := runHere("check", j.collection, "--keys", j.site); status != exitResolve {
				t.Fatalf("check does not see %q in %s: status %d", text, planted.File, status)
			}
			decideAll(t, j.collection, j.site, "redact")
			must(t, "check", j.collection, "--keys", j.site)
			j.seal(t)
			must(t, "open", j.shipment, "--into", j.at("opened"), "--keys", j.lab)
			for name, data := range files(t, j.at("opened")) {
				for _, word := range []string{"Whitlock", "Hollbeck", "Tamsin"} {
					if strings.Contains(string(data), word) {
						t.Errorf("%s holds the name", name)
					}
				}
			}
		})
	}
}

// A mask that a person typed is found like any name, and leaves only by decision.
func TestTypedMask(t *testing.T) {
	for _, action := range []string{"redact", "keep"} {
		j := newJob(t, smallDemo)
		if _, err := planting.Put(j.collection, planting.Identifier{Place: planting.InAnnotation,
			Session: traced(t, j.truth), Column: "family_name", Value: "Dr. XXXXXXXX came in"}); err != nil {
			t.Fatal(err)
		}
		if status, out, errOut := runHere("check", j.collection, "--keys", j.site); status != exitResolve ||
			!strings.Contains(out, "title and name") {
			t.Fatalf("%s: check passes over it: status %d\n%s%s", action, status, out, errOut)
		}
		if status, _, _ := runHere("seal", j.collection, "--to", j.media, "--keys", j.site); status != exitResolve {
			t.Fatalf("%s: sealed undecided: status %d", action, status)
		}
		decideAll(t, j.collection, j.site, action)
		j.seal(t)
	}
}

// The rehearsal writes nothing: neither in the collection, nor on the medium, nor
// in the system's folder for temporary files.
func TestRehearsalWritesNothing(t *testing.T) {
	j := newJob(t, smallDemo)
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	before := files(t, j.dir)
	must(t, "check", j.collection, "--keys", j.site, "--to", j.media)
	after := files(t, j.dir)
	for name, data := range after {
		if was, ok := before[name]; !ok || string(was) != string(data) {
			t.Errorf("check wrote %s", name)
		}
	}
	if len(after) != len(before) {
		t.Errorf("%d files before, %d after", len(before), len(after))
	}
	for _, dir := range []string{temporary, j.media} {
		if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
			t.Errorf("%v, %v", left, err)
		}
	}
}
