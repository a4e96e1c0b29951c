package site

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema"
)

func TestClockGoesOn(t *testing.T) {
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	l := &Log{Journal: &custody.Journal{}}
	if err := l.ClockGoesOn(at); err != nil {
		t.Errorf("no entry yet: %v", err)
	}
	for ahead, ok := range map[time.Duration]bool{
		-time.Hour: true, 0: true, 10 * time.Minute: true, 10*time.Minute + time.Second: false,
		24 * 365 * time.Hour: false,
	} {
		l.Entries = []custody.Entry{{When: at.Add(ahead)}}
		err := l.ClockGoesOn(at)
		if e, is := errors.AsType[*ClockError](err); (err == nil) != ok || !ok && (!is || !e.Now.Equal(at) ||
			!e.Last.Equal(at.Add(ahead)) ||
			!strings.Contains(err.Error(), "2026-11-25 12:00:00")) {
			t.Errorf("an entry %v ahead: %v", ahead, err)
		}
		s := &Seal{Log: l, order: Order{When: at, ClockIsRight: true}}
		if err := s.clock(); err != nil || s.clockBehind == ok {
			t.Errorf("an entry %v ahead, and the operator knows better: %v, %v", ahead, err, s.clockBehind)
		}
	}
}

func TestParseNumber(t *testing.T) {
	for typed, want := range map[string]string{
		"12": "WEIR-0012", "0012": "WEIR-0012", "WEIR-0012": "WEIR-0012", "WEIR-12": "WEIR-0012", "9999": "WEIR-9999",
		"": "", "0": "", "0000": "", "WEIR-0000": "", "12345": "", "-1": "", "+1": "", "1.": "", "WEIR-": "",
		"HOLM-0012": "", "weir-0012": "", " 12": "", "١٢": "",
	} {
		got, err := ParseNumber("WEIR", typed)
		if e, ok := errors.AsType[*NumberError](err); got != want || (want == "") != (ok && e.Reason == NotANumber &&
			e.Site == "WEIR") {
			t.Errorf("%q: %q, %v; want %q", typed, got, err, want)
		}
		if err != nil && typed != "" && strings.Contains(err.Error(), typed) {
			t.Errorf("%q is repeated: %v", typed, err)
		}
	}
}

// history is a site of one subject's two sessions and another's one, which has given
// some numbers, and the collection of all three.
func history(t *testing.T, withdrawn ...string) (*Log, *schema.Collection, func(sessions ...string) []Sealed) {
	t.Helper()
	newest := keys.NewPseudonymKey([32]byte{7})
	l := &Log{Journal: &custody.Journal{}, State: &State{}, study: "LARK-2", Keys: []*keys.PseudonymKey{newest}}
	l.Generations = deid.Generations(l.Keys, l.study)
	c := &schema.Collection{Study: &schema.Study{Study: "LARK-2", Site: "WEIR"}}
	for _, id := range []string{"S-1", "S-2", "S-3"} {
		c.Sessions = append(c.Sessions, &schema.Session{ID: id, Subject: "P-" + id[2:]})
	}
	sealed := func(sessions ...string) (list []Sealed) {
		for _, s := range sessions {
			p, err := l.Generations[0].Session(s)
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, Sealed{Session: p})
		}
		return list
	}
	for _, p := range withdrawn {
		l.State.Withdrawn = append(l.State.Withdrawn, Withdrawal{Pseudonyms: []string{p}})
	}
	return l, c, sealed
}

// What a seal may be asked for, in every state that a number can be in.
func TestChoose(t *testing.T) {
	l, c, sealed := history(t, "GONE")
	id := l.Generations[0].KeyID
	l.State.Shipments = []Shipment{
		{Number: "WEIR-0001", Day: "2026-11-02", What: custody.Sealed, KeyID: id, Sessions: sealed("X-1")},
		{Number: "WEIR-0002", Day: "2026-11-03", What: custody.Sealed, KeyID: "other", Subjects: []string{"GONE"},
			Sessions: sealed("X-2")},
		{Number: "WEIR-0003", Day: "2026-11-04", What: custody.GivenUp},
		{Number: "WEIR-0004", Day: "2026-11-05", What: custody.Abandoned, Sessions: sealed("S-1")},
		{Number: "WEIR-0005", Day: "2026-11-06", What: custody.Sealed, Sessions: sealed("X-3")},
		{Number: "WEIR-0006", Day: "2026-11-07", What: custody.Sealed, Sessions: sealed("X-4")},
	}
	l.Entries = []custody.Entry{
		{What: custody.Receipt, Shipment: "WEIR-0005", When: time.Date(2026, 11, 9, 0, 0, 0, 0, time.UTC),
			Facts: map[string]string{custody.FactDecision: "accepted"}},
		{What: custody.Receipt, Shipment: "WEIR-0006", Facts: map[string]string{custody.FactDecision: "rejected"}},
	}
	for _, w := range []struct {
		wish   Wish
		number string // "" with a reason
		copied bool
		reason NumberReason
		day    string
	}{
		{Wish{}, "", false, "", ""},
		{Wish{Anew: true}, "", false, "", ""},
		{Wish{Number: "7"}, "WEIR-0007", false, "", ""},
		{Wish{Number: "1"}, "WEIR-0001", true, "", ""},
		{Wish{Again: "1"}, "WEIR-0001", true, "", ""},
		{Wish{Again: "6"}, "WEIR-0006", true, "", ""}, // rejected: it may be made again
		{Wish{Number: "4", Anew: true}, "WEIR-0004", true, "", ""},
		{Wish{Number: "x"}, "", false, NotANumber, ""},
		{Wish{Again: "5"}, "", false, NumberAcknowledged, "2026-11-09"},
		{Wish{Number: "5"}, "", false, NumberAcknowledged, "2026-11-09"},
		{Wish{Again: "3"}, "", false, NumberGivenUp, ""},
		{Wish{Number: "3", Anew: true}, "", false, NumberGivenUp, ""},
		{Wish{Again: "7"}, "", false, NumberNeverSealed, ""},
		{Wish{Number: "1", Anew: true}, "", false, NumberUsed, "2026-11-02"},
		{Wish{Again: "2"}, "", false, NumberWithdrawn, ""},
		{Wish{Number: "207"}, "WEIR-0207", false, "", ""},
		{Wish{Number: "208"}, "", false, NumberFar, ""},
	} {
		got, err := l.Choose(c, w.wish)
		if w.reason == "" {
			if err != nil || got.Number != w.number || (got.Copy != nil) != w.copied || got.Copy != nil &&
				got.Copy.Number != w.number {
				t.Errorf("%+v: %+v, %v", w.wish, got, err)
			}
			continue
		}
		if e, ok := errors.AsType[*NumberError](err); !ok || e.Reason != w.reason || e.Day != w.day ||
			got.Number != "" || e.Reason == NumberFar && e.Next != "WEIR-0007" {
			t.Errorf("%+v: %+v, %v", w.wish, got, err)
		}
	}
	if got, _ := l.Choose(c, Wish{Again: "1"}); got.Key != l.Keys[0] {
		t.Error("a copy is not made with the key of its generation")
	}
	if got, _ := l.Choose(c, Wish{Again: "6"}); got.Key != nil {
		t.Error("a copy is made with a key that did not make it")
	}
}

// Sessions that left before do not leave under a new number, unless that is wanted.
func TestNotTwice(t *testing.T) {
	all := []string{"S-1", "S-2", "S-3"}
	for name, w := range map[string]struct {
		sessions []string
		subjects []string
		receipt  bool
		others   int
		want     SentReason
	}{
		"same":         {all, nil, false, 0, SentSame},
		"several":      {all, nil, false, 2, SentSame},
		"fewer":        {all[:2], nil, false, 0, SentChanged},
		"more":         {append([]string{"X-1"}, all...), nil, false, 0, SentChanged},
		"withdrawn":    {all, []string{"GONE"}, false, 0, SentWithdrawn},
		"acknowledged": {all, nil, true, 0, SentAcknowledged},
	} {
		l, c, sealed := history(t, "GONE")
		l.State.Shipments = []Shipment{{Number: "WEIR-0001", Day: "2026-11-02", What: custody.Sealed,
			Subjects: w.subjects, Sessions: sealed(w.sessions...)}}
		for n := range w.others {
			l.State.Shipments = append(l.State.Shipments, Shipment{Number: number("WEIR", n+2), What: custody.Sealing,
				Sessions: sealed("S-1")})
		}
		if w.receipt {
			l.Entries = []custody.Entry{{What: custody.Receipt, Shipment: "WEIR-0001",
				Facts: map[string]string{custody.FactDecision: "accepted"}}}
		}
		for _, wish := range []Wish{{}, {Number: "50"}} {
			_, err := l.Choose(c, wish)
			e, ok := errors.AsType[*SentError](err)
			if !ok || e.Reason != w.want || e.Number != "WEIR-0001" || e.Others != w.others ||
				e.Sessions != min(len(w.sessions), 3) {
				t.Errorf("%s: %+v, %v", name, e, err)
			}
		}
		if _, err := l.Choose(c, Wish{Anew: true}); err != nil {
			t.Errorf("%s, under a new number: %v", name, err)
		}
	}
}

// The facts of a copy come back from an entry as they went into it.
func TestCopyFacts(t *testing.T) {
	word := rapid.StringMatching(`[a-z0-9.]{1,12}`)
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(0, 1<<20)
		f := CopyFacts{Bag: word.Draw(t, "bag"), Sessions: count.Draw(t, "sessions"), Recordings: count.Draw(t,
			"recordings"), Tubes: count.Draw(t, "tubes"),
			Copies: count.Draw(t, "copies"), Program: word.Draw(t, "program"), Plan: word.Draw(t, "plan"),
			Stated: count.Draw(t, "stated"), Logs: rapid.SliceOfN(word, 0, 3).Draw(t, "logs"),
			Inside: rapid.MapOf(word, word).Draw(t, "inside"), Parts: rapid.MapOf(word, word).Draw(t, "parts")}
		for range rapid.IntRange(1, 3).Draw(t, "readers") {
			f.Readers = append(f.Readers, Reader{rapid.SampledFrom([]string{"", "LAB", "ARK"}).Draw(t, "name"),
				word.Draw(t, "print")})
		}
		got := CopyFactsOf(custody.Entry{Facts: f.encode()})
		if !maps.Equal(got.Inside, f.Inside) || !maps.Equal(got.Parts, f.Parts) || fmt.Sprint(got) != fmt.Sprint(f) {
			t.Fatalf("%+v\n%+v", got, f)
		}
	})
	if f := CopyFactsOf(custody.Entry{}); f.Sessions != -1 || f.Tubes != -1 || f.Stated != 0 || len(f.Readers) != 0 {
		t.Errorf("of an entry without facts: %+v", f)
	}
}

// One number never has two contents, and the error says what differs now.
func TestSameContents(t *testing.T) {
	before := CopyFacts{Bag: "a", Sessions: 3, Recordings: 2, Tubes: 9, Program: "p 1",
		Inside: map[string]string{"sessions": "1", "recordings": "1", "tubes.csv": "1", "treatment.json": "1"}}
	change := func(do func(*CopyFacts)) CopyFacts {
		f := before
		f.Bag, f.Inside = "b", maps.Clone(before.Inside)
		do(&f)
		return f
	}
	l := &Log{Journal: &custody.Journal{Entries: []custody.Entry{{What: custody.Sealed, Shipment: "WEIR-0001",
		Facts: before.encode()}}},
		State: &State{Shipments: []Shipment{{Number: "WEIR-0001", Day: "2026-11-02", Bag: "a"},
			{Number: "WEIR-0002", Day: "2026-11-02", Bag: "a"}, {Number: "WEIR-0003"}}}}
	for _, c := range []struct {
		number string
		now    CopyFacts
		text   string // "" for none
	}{
		{"WEIR-0001", before, ""},
		{"WEIR-0003", change(func(*CopyFacts) {}), ""},
		{"WEIR-0004", change(func(*CopyFacts) {}), ""},
		{"WEIR-0001", change(func(*CopyFacts) {}), "other contents: the data are the same, but the site's signing " +
			"key or this program's version has changed; one number"},
		{"WEIR-0001", change(func(f *CopyFacts) { f.Inside["sessions"] = "2"; f.Sessions = 4 }),
			"(changed: the records); 3 sessions then, 4 now; one number"},
		{"WEIR-0001", change(func(f *CopyFacts) { f.Inside["tubes.csv"], f.Inside["sessions"] = "2", "2" }),
			"(changed: the records, the tubes); one number"},
		{"WEIR-0001", change(func(f *CopyFacts) { f.Program, f.Inside["treatment.json"] = "p 2", "2" }),
			"it was sealed with p 1, and this is p 2"},
		{"WEIR-0001", change(func(f *CopyFacts) { f.Inside[deid.DiscrepanciesName] = "1" }), "what was said of tubes"},
		{"WEIR-0002", change(func(*CopyFacts) {}), "WEIR-0002 was sealed before, on 2026-11-02, with other contents; " +
			"one number must never have two contents"},
	} {
		err := l.sameContents(c.number, c.now, true)
		e, ok := errors.AsType[*ContentsError](err)
		if c.text == "" && err != nil || c.text != "" && (!ok || !e.Copy || !strings.Contains(err.Error(), c.text)) {
			t.Errorf("%s: %v, want %q", c.number, err, c.text)
		}
	}
}

// A seal that was interrupted is found by the digests of its archive, and by nothing less.
func TestWhole(t *testing.T) {
	medium := t.TempDir()
	folder := filepath.Join(medium, "WEIR-0001")
	if err := os.Mkdir(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	sum := strings.Repeat("ab", 32)
	write := func(text string) {
		if err := os.WriteFile(filepath.Join(folder, "SHA256SUMS"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	e := custody.Entry{Shipment: "WEIR-0001", Facts: CopyFacts{Parts: map[string]string{"a.age": sum,
		"b.age": sum}}.encode()}
	for text, want := range map[string]bool{
		sum + "  a.age\n" + sum + "  b.age\n":       true,
		sum + "  a.age\n":                           false,
		sum + "  a.age\n" + sum + "  b.age":         false,
		sum + "  a.age\n" + sum[2:] + "cd  b.age\n": false,
		"": false,
	} {
		write(text)
		if got := whole(medium, e); got != want {
			t.Errorf("%q: %v", text, got)
		}
	}
	write(sum + "  a.age\n")
	if whole(medium, custody.Entry{Shipment: "WEIR-0001"}) || whole(filepath.Join(medium, "none"), e) {
		t.Error("an entry without digests, or no medium, is found whole")
	}
}

// Whatever a person or a program did to a file that a seal reads is noticed; what this
// program writes itself is not.
func TestUnchanged(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, sub := range []string{"sessions", "recordings"} {
		if err := os.Mkdir(filepath.Join(dir, sub), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	write("sessions/0001.json", "one")
	write("study.json", "{}")
	h, err := Hold(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer h.Release()
	if len(h.before) != 2 {
		t.Fatal(h.before)
	}
	see := func(file, how string) {
		t.Helper()
		err := h.Unchanged()
		if e, ok := errors.AsType[*SourceChangedError](err); how == "" && err != nil || how != "" &&
			(!ok || *e != SourceChangedError{file, how}) {
			t.Errorf("%v, want %s %s", err, file, how)
		}
	}
	write(LogName, "ours")
	write(LogName+".sig", "ours")
	write(PackingName, "ours")
	write("sessions/.swap", "an editor's")
	see("", "")
	write("recordings/a.csv", "")
	see("recordings/a.csv", "added")
	write("sessions/0001.json", "longer")
	see("sessions/0001.json", "changed")
	if err := os.Remove(filepath.Join(dir, "sessions", "0001.json")); err != nil {
		t.Fatal(err)
	}
	see("sessions/0001.json", "removed")
	if _, err := Hold(filepath.Join(dir, "none")); err != nil {
		t.Errorf("a folder that is not there: %v", err)
	}
}

// Another plan than that of the shipment before needs a reason, the same none; another
// copy keeps its own.
func TestSamePlan(t *testing.T) {
	l, c, _ := history(t)
	c.Plan = &schema.Plan{Name: "here"}
	for _, w := range []struct {
		before, reason string
		copied         bool
		want           string
	}{
		{"", "", false, ""}, {PlanName(c.Plan), "", false, ""}, {"other 0", "as decided", false, ""},
		{"other 0", "", true, ""}, {"", "as decided", true, ""},
		{"other 0", "", false, "treats fields otherwise than WEIR-0001 of 2026-11-02"}, {PlanName(c.Plan), "as decided",
			false, ErrSamePlan.Error()}, {"", "as decided", false, ErrSamePlan.Error()},
	} {
		l.State.Shipments = []Shipment{{Number: "WEIR-0001", Day: "2026-11-02", What: custody.Sealed, Plan: w.before}}
		s := &Seal{Log: l, col: c, order: Order{NewPlan: w.reason}}
		if w.copied {
			s.Choice.Copy = &l.State.Shipments[0]
		}
		err := s.samePlan()
		if (err == nil) != (w.want == "") || err != nil && !strings.Contains(err.Error(), w.want) {
			t.Errorf("%+v: %v", w, err)
		}
	}
}

// Amended records need a reason, but not in another copy.
func TestAmendments(t *testing.T) {
	list := make([]Amendment, 7)
	for i := range list {
		list[i] = Amendment{File: fmt.Sprintf("sessions/%d.json", i), Shipment: "WEIR-0001"}
	}
	for _, w := range []struct {
		n      int
		reason string
		copied bool
		want   string
	}{
		{0, "", false, ""}, {1, "a slip of the pen", false, ""}, {1, "", true, ""},
		{1, "", false, "1 record was changed since it was sealed: sessions/0.json (WEIR-0001)"},
		{1, " \t", false, "1 record was changed"},
		{7, "", false, "7 records were changed since they were sealed: sessions/0.json (WEIR-0001), sessions/1.json " +
			"(WEIR-0001), sessions/2.json (WEIR-0001), sessions/3.json (WEIR-0001), sessions/4.json " +
			"(WEIR-0001), and 2 more"},
	} {
		s := &Seal{order: Order{Amended: w.reason}, amended: list[:w.n]}
		if w.copied {
			s.Choice.Copy = &Shipment{}
		}
		if err := s.amendments(); (err == nil) != (w.want == "") || err != nil &&
			!strings.HasPrefix(err.Error(), w.want) {
			t.Errorf("%+v: %v", w, err)
		}
	}
}

// Every law has a rule and a test, in the order of the steps.
func TestLaws(t *testing.T) {
	seen := map[string]bool{}
	last := atKeys
	for _, law := range laws {
		if law.rule == "" || law.file == "" || law.test == nil || law.at < last || seen[law.rule] {
			t.Errorf("%+v", law)
		}
		seen[law.rule], last = true, law.at
	}
}
