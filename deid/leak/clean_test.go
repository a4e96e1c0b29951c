package leak

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// A scanner returns the same matches for a text each time, whatever it scanned
// before, with any declared codes.
func TestAskedAgain(t *testing.T) {
	r := manyRows(5)
	used := New(r)
	parts := []string{"valve", "ok", r.Rows[0]["given_name"], r.Rows[1]["family_name"], r.Rows[2]["mrn"],
		r.Rows[3]["phone"], "2026-03-02", "K-0001", "SMP-207", "Dr", "450 ml"}
	matched := 0
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(rapid.SampledFrom(parts), 1, 4).Draw(t, "text"), " ")
		declared := rapid.SliceOfN(rapid.SampledFrom(parts), 0, 3).Draw(t, "declared")
		want := New(r).Scan(text, Declare(declared...))
		for range 2 {
			if got := used.Scan(text, Declare(declared...)); !reflect.DeepEqual(got, want) {
				t.Fatalf("%q: %v, at first %v", text, got, want)
			}
		}
		matched += len(want)
	})
	if matched == 0 {
		t.Error("nothing was ever found")
	}
}

// The cache of clean texts is bounded.
func TestCleanTextsAreBounded(t *testing.T) {
	s := New(nil)
	for i := range 3 * maxClean {
		s.Scan(fmt.Sprintf("pump %c%c%c steady", 'a'+i%26, 'a'+i/26%26, 'a'+i/676%26), nil)
	}
	s.Scan(strings.Repeat("a long and quiet text ", 3), nil)
	kept := 0
	s.clean.texts.Range(func(k, _ any) bool {
		if len(k.(string)) > maxCleanText {
			t.Errorf("a text of %d bytes is kept", len(k.(string)))
		}
		kept++
		return true
	})
	if kept != maxClean {
		t.Errorf("%d texts are kept", kept)
	}
}
