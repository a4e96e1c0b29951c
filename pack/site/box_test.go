package site

import (
	"errors"
	"os"
	"slices"
	"testing"
	"time"

	"outbreath/deid"
	"outbreath/pack"
)

func TestWrongBox(t *testing.T) {
	list := func(n int) []string { return make([]string, n) }
	for _, c := range []struct {
		matched, unexpected int
		want                bool
	}{
		{0, 0, false}, {0, 2, false}, {0, 3, true}, {1, 9, false}, {1, 10, true}, {10, 3, false}, {10, 91, true},
	} {
		m := &pack.TubeMatch{Matched: list(c.matched), Unexpected: list(c.unexpected)}
		if got := WrongBox(m); got != c.want {
			t.Errorf("%d matched, %d not: %v", c.matched, c.unexpected, got)
		}
	}
}

// What looks like a barcode is a scan, and what does not is a reason.
func TestIsBarcode(t *testing.T) {
	b := &Box{Tubes: []deid.ClearedTube{{Barcode: "LK-0017"}, {Barcode: "LARK"}},
		gone: map[string]bool{"gone tube": true, "GONE": true}}
	for text, want := range map[string]bool{
		"LK-0017": true, "LK-9999": true, "QQ-1234": true, "LARK": true, "GONE": true, "scanned": true,
		"LK-001": false, "LK 0017": false, "BROKE": false, "lost": false, "gone tube": false, "": false,
	} {
		if got := b.IsBarcode(text, []string{"scanned", "two words"}); got != want {
			t.Errorf("%q: %v", text, got)
		}
	}
}

// Reasons belong to the tubes that differ, by the longest barcode that fits; a misread
// scan has none.
func TestDifferences(t *testing.T) {
	m := &pack.TubeMatch{Notes: []pack.TubeNote{
		{Barcode: "A", Kind: pack.NoteMissing}, {Barcode: "A=B", Kind: pack.NoteUnknown},
		{Barcode: "C", Kind: pack.NoteTwice},
		{Barcode: "D", Kind: pack.NoteMissing}, {Barcode: "E", Kind: pack.NoteReturn},
		{Barcode: "F", Kind: pack.NoteMissing},
	}}
	reasons, err := Given(m, []string{"A=broke", "A=B=found", "E=misread"},
		[]deid.Discrepancy{{Barcode: "A", Reason: "older"}, {Barcode: "C", Reason: "stated"}})
	if err != nil {
		t.Fatal(err)
	}
	kept := &Packing{Reasons: []deid.Discrepancy{{Barcode: "D", Kind: deid.TubeMissing, Reason: "kept"},
		{Barcode: "F", Kind: deid.TubeTwice, Reason: "of another kind"}}}
	list, open := Differences(m, reasons, kept)
	want := []deid.Discrepancy{{Barcode: "A", Kind: deid.TubeMissing, Reason: "broke"},
		{Barcode: "A=B", Kind: deid.TubeUnexpected, Reason: "found"},
		{Barcode: "C", Kind: deid.TubeTwice, Reason: "stated"}, {Barcode: "D", Kind: deid.TubeMissing, Reason: "kept"}}
	if !slices.Equal(list, want) || len(open) != 2 || open[0].Barcode != "E" || open[1].Barcode != "F" {
		t.Errorf("%+v\n%+v", list, open)
	}
	for _, given := range []string{"B=no such tube", "A", "=x", ""} {
		if _, err := Given(m, []string{given}, nil); !errors.Is(err, ErrNoSuchTube) {
			t.Errorf("%q: %v", given, err)
		}
	}
	if list, open := Differences(m, nil, nil); len(list) != 0 || len(open) != len(m.Notes) {
		t.Errorf("without a reason: %v, %v", list, open)
	}
}

// What was scanned and given outlives a run that was stopped; a box that is scanned and
// a list in a file are not mixed up.
func TestPacking(t *testing.T) {
	root, err := os.OpenRoot(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	open := func(scan bool) *Packing {
		t.Helper()
		p, err := OpenPacking(root, scan, func() time.Time { return at })
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	p := open(true)
	d := deid.Discrepancy{Barcode: "B", Kind: deid.TubeMissing, Reason: "broke"}
	if p.Any() || p.Take([]string{"A"}) != nil || p.Give(d) != nil {
		t.Fatal("a new one holds something, or keeps nothing")
	}
	if p := open(true); !p.Any() || !slices.Equal(p.Scanned, []string{"A"}) || p.Reason(d) != "broke" ||
		!p.When.Equal(at) {
		t.Errorf("%+v", p)
	}
	if p := open(false); len(p.Scanned) != 0 || p.Reason(d) != "broke" ||
		p.Reason(deid.Discrepancy{Barcode: "B", Kind: deid.TubeTwice}) != "" {
		t.Errorf("%+v", p)
	}
	for range 2 {
		if err := p.Clear(); err != nil || open(true).Any() {
			t.Errorf("after it was cleared: %v", err)
		}
	}
	if err := root.WriteFile(PackingName, []byte(`{"scan":true} {}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenPacking(root, true, nil); err == nil {
		t.Error("a damaged file is taken")
	}
	var none *Packing
	if none.Any() || none.Reason(d) != "" || none.Clear() != nil {
		t.Error("none holds something")
	}
}

func FuzzPacking(f *testing.F) {
	f.Add([]byte(`{"when":"2026-03-02T10:00:00Z","scan":true,"scanned":["LK07-0001-A"],` +
		`"reasons":[{"barcode":"a","kind":"missing","reason":"b"}]}`))
	f.Add([]byte(`{"scanned":null}{}`))
	f.Add([]byte(`{"root":{}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var p Packing
		if p.parse(data) == nil && p.root != nil {
			t.Error("the file names a folder")
		}
	})
}
