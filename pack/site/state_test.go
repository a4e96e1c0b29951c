package site

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"outbreath/deid"
	"outbreath/pack/custody"
)

// FuzzParseState: what is taken is written again as it is read, and nothing else
// makes the reader fail but an error. The file itself is under a keyed checksum.
func FuzzParseState(f *testing.F) {
	day := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	s := &State{
		Logs: []KnownLog{{ID: "a", Length: 2, Head: "b", Last: day, Sessions: []string{"c"},
			Pending: &Pending{Line: "d", Length: 2, Head: "b", When: day, Restored: true, Replaces: []string{"e"},
				Sealing: &Shipment{Number: "WEIR-0001"}}}},
		Shipments: []Shipment{{Number: "WEIR-0001", Log: "a", Bag: "f", What: custody.Sealed,
			Sessions: []Sealed{{Session: "c", Subject: "h", Tubes: []string{"lk-1"}, Source: "g"}},
			Subjects: []string{"h"},
			Stated:   []deid.Discrepancy{{Barcode: "LK-1", Kind: deid.TubeMissing, Reason: "broke"}}}},
		Withdrawn: []Withdrawal{{Pseudonyms: []string{"h"}, When: day, Sessions: []string{"c"}, Tubes: []string{"lk-1"},
			Looks: []string{"i"}}},
	}
	data, err := s.encode()
	if err != nil {
		f.Fatal(err)
	}
	for _, seed := range []string{string(data), "", "{}", `{"format":"outbreath-site-1","logs":[{"length":-1}]}`,
		`{"format":"outbreath-site-2"}`, string(data) + "x"} {
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

// What no program of this version has written is refused: a state that is misread forgets withdrawals.
func TestParseState(t *testing.T) {
	if s, err := parseState(nil); s != nil || err != nil {
		t.Errorf("no bytes: %v, %v", s, err)
	}
	const good = `{"format":"outbreath-site-1","logs":[{"id":"a","length":0},` +
		`{"id":"b","length":1,"pending":{"length":0}}],"shipments":null,"withdrawn":null}`
	s, err := parseState([]byte(good + "\n"))
	if err != nil || len(s.Logs) != 2 || s.log("a") != &s.Logs[0] || s.log("b") != &s.Logs[1] || s.log("c") != nil {
		t.Errorf("%+v, %v", s, err)
	}
	for name, change := range map[string][2]string{
		"another version":            {"site-1", "site-2"},
		"no version":                 {`"format":"outbreath-site-1",`, ""},
		"a field that is not known":  {`"withdrawn"`, `"held"`},
		"a log of negative length":   {`"id":"a","length":0`, `"id":"a","length":-1`},
		"a pending negative length":  {`"pending":{"length":0}`, `"pending":{"length":-1}`},
		"something behind it":        {"null}", "null}{}"},
		"something behind it, alone": {"null}", "null}]"},
		"cut short":                  {"null}", "null"},
	} {
		bad := strings.Replace(good, change[0], change[1], 1)
		if s, err := parseState([]byte(bad)); bad == good || err == nil || s != nil {
			t.Errorf("%s: %+v, %v", name, s, err)
		}
	}
}

// A site that has no state yet has given no number and knows of nobody who has withdrawn.
func TestNoState(t *testing.T) {
	var s *State
	if s.log("a") != nil || s.Shipment("WEIR-0001") != nil || len(s.Gone()) != 0 {
		t.Error("nil knows something")
	}
}

// TestGive: a number takes its contents from what is sealed, once; from then on nothing but the same bag adds to it.
func TestGive(t *testing.T) {
	when := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	entry := func(what, bag, plan string) custody.Entry {
		return custody.Entry{What: what, Shipment: "WEIR-0001", When: when,
			Facts: map[string]string{"bag_sha256": bag, "key_id": "K1", "subjects": "P1 P2", "plan": plan}}
	}
	made := func(bag, session string) *Shipment {
		return &Shipment{Bag: bag, KeyID: "K2", Subjects: []string{"P3"}, Sessions: []Sealed{{Session: session}},
			Stated: []deid.Discrepancy{{Barcode: "LK-1"}}}
	}
	for name, c := range map[string]struct {
		made []*Shipment // of a first, a second entry
		bag  string      // of the second
		want Shipment
	}{
		"the log alone": {[]*Shipment{nil, nil}, "f", Shipment{KeyID: "K1", Subjects: []string{"P1", "P2"}}},
		"what was made": {[]*Shipment{made("f", "S1"), nil}, "f", *made("f", "S1")},
		"made later":    {[]*Shipment{nil, made("f", "S1")}, "f", *made("f", "S1")},
		"made twice":    {[]*Shipment{made("f", "S1"), made("f", "S2")}, "f", *made("f", "S1")},
		"of another bag": {[]*Shipment{nil, made("g", "S1")}, "g",
			Shipment{KeyID: "K1", Subjects: []string{"P1", "P2"}}},
	} {
		s := &State{}
		s.take("log", entry(custody.Sealing, "f", "plan-1"), c.made[0])
		s.take("log", entry(custody.Sealed, c.bag, "plan-2"), c.made[1])
		want := c.want
		want.Number, want.Log, want.Day, want.Bag, want.What = "WEIR-0001", "log", "2026-03-02", "f", custody.Sealed
		want.Plan = "plan-1"
		if len(s.Shipments) != 1 || len(s.Shipments[0].Makings) != 1 ||
			s.Shipments[0].Makings[0].What != custody.Sealed {
			t.Fatalf("%s: %+v", name, s.Shipments)
		}
		got := s.Shipments[0]
		got.Makings = nil
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// A shipment has arrived when a receipt about it says so, and no receipt takes that back.
func TestAcceptedStays(t *testing.T) {
	s := &State{Shipments: []Shipment{{Number: "WEIR-0001"}, {Number: "WEIR-0002"}}}
	for _, c := range []struct {
		number, decision string
		want             [2]bool
	}{
		{"WEIR-0001", "rejected", [2]bool{}}, {"WEIR-0009", "accepted", [2]bool{}},
		{"WEIR-0002", "accepted", [2]bool{false, true}},
		{"WEIR-0002", "rejected", [2]bool{false, true}}, {"WEIR-0001", "", [2]bool{false, true}},
	} {
		s.take("log", custody.Entry{What: custody.Receipt, Shipment: c.number,
			Facts: map[string]string{custody.FactDecision: c.decision}}, nil)
		if got := [2]bool{s.Shipments[0].Accepted, s.Shipments[1].Accepted}; got != c.want || len(s.Shipments) != 2 {
			t.Errorf("%s %s: %v", c.number, c.decision, got)
		}
	}
}

// A number that was abandoned or given up before it was known is known from then on, and not used again.
func TestAbandonedIsKnown(t *testing.T) {
	when := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for _, what := range []string{custody.Abandoned, custody.GivenUp} {
		s := &State{}
		s.take("log", custody.Entry{What: what, Shipment: "WEIR-0001", When: when}, nil)
		want := []Shipment{{Number: "WEIR-0001", Log: "log", Day: "2026-03-02", What: what}}
		if d := cmp.Diff(want, s.Shipments, cmpopts.EquateEmpty()); d != "" {
			t.Errorf("%s: %s", what, d)
		}
		// A copy that was about to be made is forgotten with it.
		s = &State{}
		s.take("log", custody.Entry{What: custody.Sealing, Shipment: "WEIR-0001", When: when}, nil)
		if n := len(s.Shipments[0].Makings); n != 1 {
			t.Fatalf("%d copies", n)
		}
		s.take("log", custody.Entry{What: what, Shipment: "WEIR-0001", When: when}, nil)
		if x := s.Shipments[0]; len(x.Makings) != 0 || x.What != what {
			t.Errorf("%s: %+v", what, x)
		}
	}
}

// Withdrawals that share a pseudonym are one subject's; what is known of it becomes more.
func TestWithdrawals(t *testing.T) {
	when := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	s := &State{}
	for i, facts := range []map[string]string{
		{factPseudonyms: "P1 P2", factSessions: "S1", factBarcodes: "lk-1", factLook: "L1"},
		{factPseudonyms: "P3"},
		{factPseudonyms: "P2 P4", factSessions: "S1 S2", factBarcodes: "lk-2 lk-1", factLook: "L2"},
	} {
		s.take("log", custody.Entry{What: Withdrawn, When: when.AddDate(0, 0, i), Facts: facts}, nil)
	}
	want := []Withdrawal{
		{Pseudonyms: []string{"P1", "P2", "P4"}, When: when, Sessions: []string{"S1", "S2"},
			Tubes: []string{"lk-1", "lk-2"}, Looks: []string{"L1", "L2"}},
		{Pseudonyms: []string{"P3"}, When: when.AddDate(0, 0, 1)},
	}
	if d := cmp.Diff(want, s.Withdrawn); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(map[string]bool{"P1": true, "P2": true, "P3": true, "P4": true}, s.Gone()); d != "" {
		t.Error(d)
	}
}

// A pending line that is in the log is taken over: the log is one longer, and replaces those that it was made to.
func TestPendingTakenOver(t *testing.T) {
	when := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	j := &custody.Journal{Entries: []custody.Entry{
		{What: custody.Sealing, Shipment: "WEIR-0001", When: when},
		{What: custody.Sealed, Shipment: "WEIR-0002", When: when.AddDate(0, 0, 1)},
	}}
	for _, restored := range []bool{false, true} {
		s := &State{Logs: []KnownLog{
			{ID: "a", Length: 1, Head: "h1", Replaced: "c", Pending: &Pending{Line: "h2", Length: 1, Head: "h1",
				Restored: restored, Replaces: []string{"a", "b", "x"}}},
			{ID: "b", Length: 3}, {ID: "c", Length: 4},
		}}
		s.settle(&s.Logs[0], j)
		want := []KnownLog{{ID: "a", Length: 2, Head: "h2", Last: when.AddDate(0, 0, 1), Replaced: "c"},
			{ID: "b", Length: 3, Replaced: "a"}, {ID: "c", Length: 4}}
		if restored {
			want[0].Replaced = ""
		}
		if d := cmp.Diff(want, s.Logs); d != "" {
			t.Errorf("restored %v: %s", restored, d)
		}
		if len(s.Shipments) != 1 || s.Shipments[0].Number != "WEIR-0002" {
			t.Errorf("taken: %+v", s.Shipments)
		}
	}
}

// TestOnlyMore: whatever entries a log tells, numbers and withdrawals never become
// fewer, and a number keeps its contents.
func TestOnlyMore(t *testing.T) {
	s := &State{}
	e := func(what, number, bag string) custody.Entry {
		return custody.Entry{What: what, Shipment: number, When: time.Now(), Facts: map[string]string{"bag_sha256": bag,
			"pseudonyms": "P1 P2", "subjects": "P1"}}
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
		{Number: "WEIR-0001", Bag: "b"}:                           "must never have two contents",
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
		return custody.Entry{What: custody.Sealed, Shipment: "WEIR-0001", When: when,
			Facts: map[string]string{"bag_sha256": "f", "label_sha256": label}}
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
