package site

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"outbreath/deid"
	"outbreath/pack/custody"
)

// FuzzParseState: what is taken is written again as it is read, and nothing else
// makes the reader fail but an error. The file itself is under a keyed checksum.
func FuzzParseState(f *testing.F) {
	day := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	s := &State{
		Logs: []KnownLog{{ID: "a", Length: 2, Head: "b", Last: day, Sessions: []string{"c"},
			Pending: &Pending{Line: "d", Length: 2, Head: "b", When: day, Restored: true, Replaces: []string{"e"}, Sealing: &Shipment{Number: "WEIR-0001"}}}},
		Shipments: []Shipment{{Number: "WEIR-0001", Log: "a", Bag: "f", What: custody.Sealed, Sessions: []Sealed{{Session: "c", Subject: "h", Tubes: []string{"lk-1"}, Source: "g"}}, Subjects: []string{"h"},
			Stated: []deid.Discrepancy{{Barcode: "LK-1", Kind: deid.TubeMissing, Reason: "broke"}}}},
		Withdrawn: []Withdrawal{{Pseudonyms: []string{"h"}, When: day, Sessions: []string{"c"}, Tubes: []string{"lk-1"}, Looks: []string{"i"}}},
	}
	data, err := s.encode()
	if err != nil {
		f.Fatal(err)
	}
	for _, seed := range []string{string(data), "", "{}", `{"format":"outbreath-site-1","logs":[{"length":-1}]}`, `{"format":"outbreath-site-2"}`, string(data) + "x"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := parseState(data)
		if err != nil || s == nil {
			return
		}
		once, err := s.encode()
		if err != nil {
			t.Skip() // a time that JSON cannot say
		}
		again, err := parseState(once)
		if err != nil {
			t.Fatal(err)
		}
		twice, err := again.encode()
		if err != nil || !bytes.Equal(once, twice) {
			t.Errorf("%s\n%s", once, twice)
		}
	})
}

// TestOnlyMore: whatever entries a log tells, numbers and withdrawals never become
// fewer, and a number keeps its contents.
func TestOnlyMore(t *testing.T) {
	s := &State{}
	e := func(what, number, bag string) custody.Entry {
		return custody.Entry{What: what, Shipment: number, When: time.Now(), Facts: map[string]string{"bag_sha256": bag, "pseudonyms": "P1 P2", "subjects": "P1"}}
	}
	for _, c := range []struct {
		entry custody.Entry
		what  string // of WEIR-0001 afterwards
	}{
		{e(custody.Sealing, "WEIR-0001", "a"), custody.Sealing},
		{e(custody.Sealed, "WEIR-0001", "a"), custody.Sealed},
		{e(custody.Sealing, "WEIR-0001", "b"), custody.Sealed}, // what a forged log would tell
		{e(custody.Abandoned, "WEIR-0001", ""), custody.Sealed},
		{e(Withdrawn, "", ""), custody.Sealed},
		{e(custody.GivenUp, "WEIR-0001", ""), custody.GivenUp},
		{e(custody.Sealed, "WEIR-0001", "a"), custody.GivenUp},
	} {
		s.take("log", c.entry, nil)
		if x := s.Shipment("WEIR-0001"); len(s.Shipments) != 1 || x.What != c.what || x.Bag != "a" {
			t.Fatalf("after %s: %+v", c.entry.What, s.Shipments)
		}
	}
	if gone := s.Gone(); len(gone) != 2 || !gone["P1"] || !gone["P2"] {
		t.Errorf("withdrawn: %v", gone)
	}
	for made, want := range map[*Shipment]string{
		{Number: "WEIR-0001", Bag: "b"}:                           "must never stand for two contents",
		{Number: "WEIR-0002", Bag: "b", Subjects: []string{"P2"}}: "a subject who has withdrawn",
		{Number: "WEIR-0002", Bag: "b", Subjects: []string{"P3"}}: "",
	} {
		if err := s.mayGive(made); (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v", made, err)
		}
	}
}

// TestTwoCopiesOfOneSecond: copies that were sealed within one second are two, and
// each comes back as itself.
func TestTwoCopiesOfOneSecond(t *testing.T) {
	when := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	entry := func(label string) custody.Entry {
		return custody.Entry{What: custody.Sealed, Shipment: "WEIR-0001", When: when, Facts: map[string]string{"bag_sha256": "f", "label_sha256": label}}
	}
	s := &State{}
	for _, label := range []string{"1", "2", "1"} {
		s.take("a", entry(label), nil)
	}
	x := s.Shipment("WEIR-0001")
	if len(x.Makings) != 2 {
		t.Fatalf("%d copies are known, not 2: %+v", len(x.Makings), x.Makings)
	}
	for i, label := range []string{"1", "2"} {
		back := entry(label)
		back.When = when.Add(time.Hour)
		back.Facts[custody.FactRecalled] = when.Format(time.RFC3339)
		for j := range x.Makings {
			if x.Makings[j].isIn(back) != (i == j) {
				t.Errorf("the entry that brought back copy %d tells of copy %d: %v", i+1, j+1, i != j)
			}
		}
	}
}
