package deid

import (
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"outbreath/deid/leak"
	"outbreath/schema"

	"pgregory.net/rapid"
)

func testSearcher(keyed bool) *searcher {
	return &searcher{keyed: keyed, key: [32]byte{1}, scan: leak.New(&schema.Roster{
		Columns: []string{"subject_id", "given_name", "family_name", "email"},
		Rows: []map[string]string{{"subject_id": "LARK2-WEIR-001", "given_name": "Zebulon",
			"family_name": "Quennell", "email": "zq@example.org"}},
	})}
}

// decide makes the same decision on all findings.
func decide(t testing.TB, action string, findings ...leak.Finding) *leak.Decisions {
	t.Helper()
	var lines []byte
	for _, f := range findings {
		lines = append(lines, leak.Decision{ID: f.ID, Action: action, Reason: "checked", Who: "co-ordinator",
			When: time.Date(2026, 3, 6, 9, 0, 0, 0, time.UTC)}.Format()...)
	}
	dec, err := leak.ParseDecisions(lines)
	if err != nil {
		t.Fatal(err)
	}
	return dec
}

func TestSettle(t *testing.T) {
	s := testSearcher(true)
	p := place{file: "sessions/1.json", pointer: "/notes", text: "asked Zebulon Quennell, then zq@example.org wrote",
		manner: words}
	first := s.settle(p, nil)
	const redacted = "asked [removed: name], then [removed: e-mail address] wrote"
	if len(first.findings) == 0 || first.text != redacted {
		t.Fatalf("%+v", first)
	}
	fixedPlace := p
	fixedPlace.manner = masked // where nothing is taken out without a decision
	if open := s.settle(fixedPlace, nil); len(open.findings) != len(first.findings) || open.text != p.text ||
		slices.ContainsFunc(open.findings, func(f leak.Finding) bool {
			return !f.Open() || f.Automatic ||
				f.Action != "review"
		}) {
		t.Errorf("%+v", open)
	}
	seen := map[string]bool{}
	for _, f := range first.findings {
		if !f.Automatic || f.Confidence != leak.Sure || f.Action != "redact" || f.Decision != "redact" ||
			seen[f.ID] || len(f.ID) != 9 || f.ID[4] != '-' || f.File != p.file || f.Pointer != p.pointer {
			t.Errorf("%+v", f)
		}
		seen[f.ID] = true
		if got := p.text[f.Start:f.End]; !strings.ContainsAny(got, "Zz") {
			t.Errorf("finding at %q", got)
		}
	}
	done := s.settle(p, decide(t, "redact", first.findings...))
	for _, f := range done.findings {
		if f.Decision != "redact" || f.Automatic {
			t.Errorf("not decided by a person: %+v", f)
		}
	}
	if done.text != redacted {
		t.Errorf("%q, want %q", done.text, redacted)
	}
	kept := s.settle(p, decide(t, "keep", first.findings...))
	if kept.text != p.text || slices.ContainsFunc(kept.findings,
		func(f leak.Finding) bool { return f.Decision != "keep" }) {
		t.Errorf("%+v", kept)
	}
	// A changed text asks again.
	p.text += "."
	if again := s.settle(p, decide(t, "keep", first.findings...)); len(again.findings) == 0 ||
		!again.findings[0].Automatic || again.text == p.text {
		t.Errorf("decided by the decision on another text: %+v", again.findings)
	}
}

// A roster may hold the very words of our masks.
func TestSettleOwnWords(t *testing.T) {
	s := &searcher{keyed: true, scan: leak.New(&schema.Roster{
		Columns: []string{"subject_id", "family_name", "street"},
		Rows: []map[string]string{{"subject_id": "LARK2-WEIR-001", "family_name": "Quennell"},
			{"subject_id": "LARK2-WEIR-002", "street": "Removed"}},
	})}
	if len(s.scan.Scan("by [removed: name] x", nil)) == 0 {
		t.Fatal("the test needs a roster that matches")
	}
	p := place{file: "f", text: "by Quennell x", manner: words}
	done := s.settle(p, decide(t, "redact", s.settle(p, nil).findings...))
	if len(done.findings) != 1 || done.text != "by [removed: name] x" {
		t.Errorf("%q, %+v", done.text, done.findings)
	}
}

func TestSettleManners(t *testing.T) {
	s := testSearcher(true)
	for _, m := range []manner{fixed, words, masked, name} {
		p := place{file: "f", base: 100, text: "by Quennell at 2", manner: m}
		open := s.settle(p, nil)
		if len(open.findings) != 1 || open.findings[0].Start != 103 || open.findings[0].End != 111 {
			t.Fatalf("%+v", open.findings)
		}
		if want := map[bool]string{true: "review",
			false: "redact"}[m == fixed]; open.findings[0].Confidence == leak.Sure && open.findings[0].Action != want {
			t.Errorf("manner %d proposes %q", m, open.findings[0].Action)
		}
		done := s.settle(p, decide(t, "redact", open.findings...))
		want := map[manner]string{fixed: p.text, words: "by [removed: name] at 2", masked: "by XXXXXXXX at 2",
			name: "by [removed: name] at 2"}[m]
		if done.text != want || done.findings[0].Open() != (m == fixed) {
			t.Errorf("manner %d: %q, %+v", m, done.text, done.findings)
		}
	}
}

// A plan that keeps the postal code means the postal code, and nothing else
// that is written into that field.
func TestKeptPostalCode(t *testing.T) {
	s := &searcher{scan: leak.New(&schema.Roster{
		Columns: []string{"subject_id", "family_name", "street", "postal_code", "phone"},
		Rows: []map[string]string{{"subject_id": "LARK2-WEIR-001", "family_name": "Quennell",
			"street": "17 Zebulon Row", "postal_code": "81707", "phone": "+1 212 555 0143"}},
	})}
	for _, test := range []struct {
		pointer, text string
		manner        manner
		found         bool
	}{
		{"/subject/postal_code", "81707", fixed, false},
		{"/subject/postal_code", "81707 Quennell", fixed, true},
		{"/subject/postal_code", "Quennell", fixed, true},
		{"/subject/postal_code", "17 Zebulon Row", fixed, true},
		{"/subject/postal_code", "+1 212 555 0143", fixed, true},
		{"/kit/lot", "81707", fixed, true},
		{"/notes/postal_code", "81707", words, true},
	} {
		p := place{file: "f", pointer: test.pointer, text: test.text, manner: test.manner}
		if got := len(s.matches(&p, p.text)) > 0; got != test.found {
			t.Errorf("%s, %q: found %v", test.pointer, test.text, got)
		}
	}
}

func TestSettleWithoutKey(t *testing.T) {
	s := testSearcher(false)
	p := place{file: "f", text: "by Quennell", manner: words}
	for _, f := range s.settle(p, decide(t, "redact", leak.Finding{ID: "7Q4K-9M2B"})).findings {
		if f.ID != "" || !f.Open() && !f.Automatic {
			t.Errorf("%+v", f)
		}
	}
}

// Settling ends with any decisions, leaves no finding except those that were kept, and
// changes nothing outside the findings.
func TestSettleProperties(t *testing.T) {
	s := testSearcher(true)
	word := rapid.SampledFrom([]string{"Zebulon", "Quennell", "zq@example.org", "LARK2-WEIR-001", "tube", "name:",
		"removed", "12", "March", "2026", "call", "Mr", "\u00e9t\u00e9", "[", "]", ",", "+1 212 555 0143", " "})
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(word, 1, 12).Draw(t, "words"),
			rapid.SampledFrom([]string{" ", "", "  ", "-"}).Draw(t, "between"))
		how := rapid.SampledFrom([]manner{words, masked}).Draw(t, "manner")
		p := place{file: "f", pointer: "/notes", text: text, manner: how}
		var lines []byte
		decided := map[string]string{}
		for range 20 {
			dec, err := leak.ParseDecisions(lines)
			if err != nil {
				t.Fatal(err)
			}
			done := s.settle(p, dec)
			open := 0
			for _, f := range done.findings {
				if f.Start < 0 || f.Start >= f.End || f.End > len(text) {
					t.Fatalf("offsets %d to %d in %d bytes", f.Start, f.End, len(text))
				}
				if decided[f.ID] != f.Decision && !(f.Automatic && decided[f.ID] == "" && f.Decision == "redact" &&
					how == words) {
					t.Fatalf("%+v was decided %q", f, decided[f.ID])
				}
				if f.Open() || f.Automatic && rapid.IntRange(0, 3).Draw(t, "turned over") == 0 {
					open++
					decided[f.ID] = rapid.SampledFrom([]string{"redact", "redact", "keep"}).Draw(t, "action")
					lines = append(lines, leak.Decision{ID: f.ID, Action: decided[f.ID], Reason: "r",
						Who: "w"}.Format()...)
				}
			}
			if open > 0 {
				continue
			}
			if how == masked && len(done.text) != len(text) {
				t.Fatalf("%d bytes became %d", len(text), len(done.text))
			}
			for _, f := range done.findings {
				if value := text[f.Start:f.End]; f.Decision == "redact" &&
					strings.Count(done.text, value) >= strings.Count(text, value) &&
					!strings.Contains("[removed: name, e-mail address, telephone number, date, identifying number, "+
						"record number]XXXX", value) {
					t.Fatalf("%q is still in %q", value, done.text)
				}
			}
			return
		}
		t.Fatal("there is no end of findings")
	})
}

func TestCutsMerge(t *testing.T) {
	const text = "ab cd,ef  gh"
	var c cuts
	for _, m := range []leak.Match{{Start: 3, End: 5, Class: "A"}, {Start: 0, End: 2, Class: "D"},
		{Start: 6, End: 8, Class: "A"}, {Start: 10, End: 12, Class: "A"}} {
		c = c.add(text, m, "")
	}
	got, ps := c.apply(text, words)
	if want := "[removed: telephone number, name],[removed: name]"; got != want {
		t.Fatalf("%q, want %q", got, want)
	}
	if from, to := ps.origin(3, len(got)-2); from != 0 || to != 12 {
		t.Errorf("origin %d to %d", from, to)
	}
	if from, to := ps.origin(33, 34); from != 5 || to != 6 || ps.within(33, 34) || !ps.within(0, 33) ||
		ps.within(0, 34) {
		t.Errorf("the comma comes from %d to %d", from, to)
	}
	if got, _ := c.apply(text, masked); got != "XXXXX,XXXXXX" {
		t.Errorf("%q", got)
	}
}

func TestClassWords(t *testing.T) {
	seen := map[string]bool{}
	for c := 'A'; c <= 'R'; c++ {
		w := leak.Class(c).Words().Removed
		if w == "identifier" || seen[w] {
			t.Errorf("class %c is called %q", c, w)
		}
		seen[w] = true
	}
	for _, c := range []leak.Class{"", "S", "AB", "a"} {
		if c.Words().Removed != "identifier" {
			t.Errorf("class %q is called %q", c, c.Words().Removed)
		}
	}
}

func FuzzSettle(f *testing.F) {
	f.Add("asked Zebulon Quennell, then zq@example.org wrote", true, uint16(5))
	f.Add("name: Zebulon [removed: name] Quennell", false, uint16(1))
	s := testSearcher(true)
	f.Fuzz(func(t *testing.T, text string, mask bool, keep uint16) {
		if len(text) > 1000 || !utf8.ValidString(text) {
			return
		}
		p := place{file: "f", pointer: "/n", text: text, manner: words}
		if mask {
			p.manner = masked
		}
		var lines []byte
		for n := range 100 {
			dec, err := leak.ParseDecisions(lines)
			if err != nil {
				t.Fatal(err)
			}
			done := s.settle(p, dec)
			open := 0
			for i, f := range done.findings {
				if f.Start < 0 || f.Start >= f.End || f.End > len(text) {
					t.Fatalf("offsets %d to %d in %d bytes", f.Start, f.End, len(text))
				}
				if f.Open() {
					open++
					action := "redact"
					if keep>>((i+n)%16)&1 == 1 {
						action = "keep"
					}
					lines = append(lines, leak.Decision{ID: f.ID, Action: action, Reason: "r", Who: "w"}.Format()...)
				}
			}
			if open > 0 {
				continue
			}
			if !utf8.ValidString(done.text) || mask && len(done.text) != len(text) {
				t.Fatalf("%q became %q", text, done.text)
			}
			return
		}
		t.Fatal("there is no end of findings")
	})
}
