package deid

import (
	"errors"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

func TestReasons(t *testing.T) {
	dir, truth := invented(t, demo.Options{Seed: 3, Subjects: 3, Sessions: 3, RecordingSeconds: 60, SampleHz: 2})
	d := treat(t, load(t, dir))
	tubes := d.Tubes()
	if len(tubes) != 6 || tubes[0].Barcode >= tubes[1].Barcode || tubes[0].Session == "" {
		t.Fatalf("%v", tubes)
	}
	b := tubes[0].Barcode
	for _, good := range []string{"broke in the cold box", b + " broke", "thawed: the freezer of WEIR stood open"} {
		if err := d.Reason(b, good); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
	row := truth.Roster[0]
	for name, bad := range map[string]string{
		"empty": " ", "two lines": "a\nb", "long": strings.Repeat("a ", 300), "formula": "=1+1",
		"name": "with " + row["family_name"], "record number": "see " + row["mrn"],
		"telephone": "call " + row["phone"], "address": "ask x.y@example.org",
	} {
		err := d.Reason(b, bad)
		if e := new(ReasonError); !errors.As(err, &e) {
			t.Errorf("%s: %v", name, err)
		} else if strings.Contains(err.Error(), strings.TrimSpace(bad)) && bad != " " {
			t.Errorf("%s: repeated in %v", name, err)
		}
		if err := d.State([]Discrepancy{{b, TubeMissing, "broke"}, {"X", TubeUnexpected, bad}}); err == nil ||
			d.stated != nil {
			t.Errorf("%s: stated", name)
		}
	}
	if !d.NamesSomebody(row["mrn"]) || d.NamesSomebody(b) || d.NamesSomebody("LK07-0099-A") {
		t.Error("a roster value is taken for a tube, or a tube for a roster value")
	}
	if err := d.Reason(row["mrn"], "found"); err == nil || strings.Contains(err.Error(), row["mrn"]) {
		t.Errorf("%v", err)
	}

	if err := d.State([]Discrepancy{{"X-1", TubeUnexpected, "spare, clean"}, {b, TubeMissing, "broke"}}); err != nil {
		t.Fatal(err)
	}
	c, err := Release(d, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := string(payload(t, c)[DiscrepanciesName]),
		"barcode,kind,reason\n"+b+",missing,broke\nX-1,unexpected,\"spare, clean\"\n"; got != want {
		t.Errorf("%s", got)
	}
}
