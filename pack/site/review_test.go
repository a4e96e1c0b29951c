package site

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/deid/leak"
	"outbreath/pack/custody"
	"outbreath/schema"
)

func undecided(string) string { return "" }

func (w *week) decide(ids ...string) {
	w.t.Helper()
	w.add(func(l *Log) { w.must(l.Decide(w.entry(""), "keep", "a place", ids, undecided)) })
}

// Every decision is in the log, with what was decided before, and in the file that people read.
func TestDecide(t *testing.T) {
	w := newWeek(t)
	w.add(func(l *Log) {
		w.must(l.Decide(w.entry(""), "keep", "a place", []string{"f1", "f2"}, undecided))
		w.must(l.Decide(w.entry(""), "redact", "", []string{"f2"}, func(id string) string { return "keep" }))
	})
	l := w.open()
	a, b := l.Entries[0], l.Entries[1]
	if a.What != Decided || a.Why != "a place" || a.Facts["ids"] != "f1 f2" || a.Facts["was"] != "- -" ||
		a.Facts["action"] != "keep" || b.Why == "" || b.Facts["was"] != "keep" || b.Facts["action"] != "redact" {
		t.Errorf("%+v\n%+v", a, b)
	}
	dec, err := leak.ParseDecisions(l.Review)
	w.must(err)
	for id, want := range map[string]leak.Decision{
		"f1": {ID: "f1", Action: "keep", Reason: "a place", Who: "W. Weir", When: w.now},
		"f2": {ID: "f2", Action: "redact", Who: "W. Weir", When: w.now},
	} {
		if got, ok := dec.Of(id); !ok || got != want {
			t.Errorf("%s: %+v", id, got)
		}
	}
	if text := w.save()[reviewFile]; !bytes.Equal(text, l.Review) || bytes.Count(text, []byte("\n")) != 3 {
		t.Errorf("%s", text)
	}
	// Many decisions are several entries, and all are there.
	var many []string
	for i := range 2*contentsPerEntry + 1 {
		many = append(many, fmt.Sprintf("g%d", i))
	}
	w.decide(many...)
	l = w.open()
	if len(l.Entries) != 5 || bytes.Count(l.Review, []byte("\n")) != 3+len(many) {
		t.Errorf("%d entries, %d lines", len(l.Entries), bytes.Count(l.Review, []byte("\n")))
	}
	// A run without decisions adds nothing.
	w.decide()
	if len(w.open().Entries) != 5 {
		t.Error("an entry about nothing")
	}
}

// A run that was stopped after the entry and before its lines: they are completed, but only as
// the entry has them.
func TestDecisionsCompleted(t *testing.T) {
	for name, c := range map[string]struct {
		text func(before, all []byte) []byte
		done bool // what lacks is completed
	}{
		"all there":            {func(_, all []byte) []byte { return all }, false},
		"none written":         {func(before, _ []byte) []byte { return before }, true},
		"one byte":             {func(before, all []byte) []byte { return all[:len(before)+1] }, true},
		"all but one byte":     {func(_, all []byte) []byte { return all[:len(all)-1] }, true},
		"one byte less before": {func(before, _ []byte) []byte { return before[:len(before)-1] }, false},
		"another byte": {func(before, all []byte) []byte {
			return append(bytes.Clone(all[:len(before)]), '[')
		}, false},
		"another before": {func(before, all []byte) []byte {
			text := bytes.Clone(all[:len(before)+1])
			text[3]++
			return text
		}, false},
		"more": {func(_, all []byte) []byte { return append(bytes.Clone(all), '\n') }, false},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWeek(t)
			w.decide("f1", "f2")
			before := w.save()[reviewFile]
			w.decide("f3", "f4")
			all := w.save()[reviewFile]
			text := c.text(before, all)
			w.put(reviewFile, text)
			l, err := Open(w.options())
			if !c.done && !bytes.Equal(text, all) {
				if e, ok := errors.AsType[*ConflictError](err); !ok || e.Kind != Decisions {
					t.Errorf("%v", err)
				}
				return
			}
			w.must(err)
			if l.Completed != c.done || !bytes.Equal(l.Review, all) || !bytes.Equal(w.save()[reviewFile], text) {
				t.Errorf("completed %v: %s", l.Completed, l.Review)
			}
			w.note(1)
			if now := w.save()[reviewFile]; !bytes.Equal(now, all) {
				t.Errorf("the file: %s", now)
			}
			if l := w.open(); l.Completed {
				t.Error("completed once more")
			}
			// Once another entry follows, nothing may lack.
			w.put(reviewFile, before)
			if _, err := Open(w.options()); !errors.As(err, new(*ConflictError)) {
				t.Errorf("lines of an entry that is not the last: %v", err)
			}
		})
	}
}

// The first decision of all is completed like any other.
func TestFirstDecisionCompleted(t *testing.T) {
	w := newWeek(t)
	w.decide("f1")
	all := w.save()[reviewFile]
	w.put(reviewFile, nil)
	w.note(1)
	if now := w.save()[reviewFile]; !bytes.Equal(now, all) {
		t.Errorf("%s", now)
	}
}

// The file of decisions has a bound, and only ever grows.
func TestReviewFull(t *testing.T) {
	w := newWeek(t)
	w.add(func(l *Log) {
		e := w.entry("")
		e.Why, e.Facts = "a place", map[string]string{"action": "keep", "ids": "f1"}
		line := decisionLines(e)
		l.Review = make([]byte, maxReview-len(line)+1)
		err := l.Decide(w.entry(""), "keep", "a place", []string{"f1"}, undecided)
		if e, ok := errors.AsType[*schema.ConfigError](err); !ok || e.File != ReviewName || len(l.Entries) != 0 {
			t.Fatalf("%v", err)
		}
		l.Review = l.Review[1:]
		w.must(l.Decide(w.entry(""), "keep", "a place", []string{"f1"}, undecided))
	})
}

func TestReviewGrew(t *testing.T) {
	w := newWeek(t)
	w.add(func(l *Log) {
		w.must(l.Decide(w.entry(""), "keep", "a place", []string{"f1"}, undecided))
		w.must(l.writeReview()) // it lacks nothing
		w.put(reviewFile, append(bytes.Clone(l.Review), l.Review...))
		err := l.writeReview()
		if e, ok := errors.AsType[*custody.ChangedError](err); !ok || e.Path != ReviewName {
			t.Errorf("%v", err)
		}
	})
}

// Decisions that no proven entry of the log holds do not count after an officer took the
// collection for the present one; the file with them is kept.
func TestRestoreDecisions(t *testing.T) {
	w := newWeek(t)
	w.decide("f1", "f2")
	good := w.save()[reviewFile]
	line := leak.Decision{ID: "f3", Action: "keep", Reason: "x", Who: "y", When: w.now}
	w.put(reviewFile, append(bytes.Clone(good), line.Format()...))
	restore := func() *Restoration {
		t.Helper()
		l, r, err := Restore(w.options(), w.entry(""))
		w.must(err)
		l.Release()
		if got := w.save()[reviewFile]; !bytes.Equal(got, good) || !bytes.Equal(l.Review, good) {
			t.Errorf("%s, want %s", got, good)
		}
		e := l.Entries[len(l.Entries)-1]
		if e.Facts["decisions_set_aside"] != r.Decisions || (e.Facts["decisions_void"] != "") != (r.Decisions != "") ||
			e.Facts[factReview] != sum(good) {
			t.Errorf("%+v", e)
		}
		return r
	}
	if r := restore(); r.Kind != Decisions || r.Void != 1 || r.Decisions != "review.aside-1.jsonl" {
		t.Errorf("%+v", r)
	}
	aside, err := os.ReadFile(filepath.Join(w.dir, "review.aside-1.jsonl"))
	if err != nil || !bytes.HasSuffix(aside, line.Format()) {
		t.Errorf("%s, %v", aside, err)
	}
	// A decision that somebody added to log and file without the key.
	root, err := os.OpenRoot(w.dir)
	w.must(err)
	defer root.Close()
	j, err := custody.Read(root, LogName)
	w.must(err)
	e := w.entry(Decided)
	e.Facts = map[string]string{"action": "keep", "ids": "f4 f5", "was": "- -"}
	forged := append(bytes.Clone(good), decisionLines(e)...)
	e.Facts[factReview], e.Facts[factBytes] = sum(forged), fmt.Sprint(len(forged))
	w.must(j.Append(e))
	w.put(reviewFile, forged)
	if r := restore(); r.Kind != Added || r.Void != 2 || r.Unproven != 1 || r.Decisions != "review.aside-2.jsonl" {
		t.Errorf("%+v", r)
	}
	// It stays void, whatever is restored later, and what was decided since counts.
	w.now = w.now.Add(time.Hour)
	w.decide("f6")
	good = w.save()[reviewFile]
	w.put(signatureFile, nil)
	if r := restore(); r.Kind != NoSignature || r.Void != 0 || r.Decisions != "" {
		t.Errorf("%+v", r)
	}
	// All of the file is gone: it comes back.
	w.put(reviewFile, nil)
	if r := restore(); r.Kind != Decisions || r.Void != 0 || r.Decisions != "" {
		t.Errorf("%+v", r)
	}
	dec, err := leak.ParseDecisions(w.open().Review)
	w.must(err)
	for id, want := range map[string]bool{"f1": true, "f2": true, "f3": false, "f4": false, "f5": false, "f6": true} {
		if _, ok := dec.Of(id); ok != want {
			t.Errorf("%s counts: %v", id, ok)
		}
	}
}

// After its log was lost, a collection has its shipments back: they are its own, can be
// copied, and their receipts are recorded.
func TestRecall(t *testing.T) {
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	w.emptied()
	w.now = w.now.Add(time.Hour)
	_, err = w.seal(Order{Wish: Wish{Again: "1"}})
	w.must(err)
	_, err = w.seal(Order{Wish: Wish{Anew: true}})
	w.must(err)
	w.add(func(l *Log) { w.must(l.GiveUp("WEIR-0003", w.entry(""))) })
	w.bend(func(s *State) {
		s.Shipments = append(s.Shipments, Shipment{Number: "WEIR-0004", Log: "other", What: custody.Sealed,
			Makings: []Making{{What: custody.Sealed, When: w.now}}},
			Shipment{Number: "WEIR-0005", Log: s.Logs[0].ID, What: custody.Sealing,
				Makings: []Making{{What: custody.Sealing, When: w.now}}},
			Shipment{Number: "WEIR-0006", Log: s.Logs[0].ID, What: custody.Abandoned})
	})
	before := w.open()
	w.put(logFile, nil)
	w.put(signatureFile, nil)
	w.now = w.now.Add(24 * time.Hour)
	l, r, err := Restore(w.options(), w.entry(""))
	w.must(err)
	l.Release()
	want := []string{Restored, "sealed WEIR-0001", "sealed WEIR-0001", "sealed WEIR-0002", "given-up WEIR-0003",
		"sealing WEIR-0005"}
	if got := whats(l); !slices.Equal(got, want) || r.Recalled != 5 {
		t.Fatalf("%q, %d", got, r.Recalled)
	}
	for i, e := range l.Entries[1:4] {
		had := before.Entries[[]int{1, 3, 5}[i]]
		if e.Facts[custody.FactRecalled] != had.When.Format(time.RFC3339) || e.Facts[factBag] != had.Facts[factBag] ||
			!strings.Contains(e.Why, "recalled from the key folder: sealed on 2026-03-06") {
			t.Errorf("%+v", e)
		}
	}
	l = w.open()
	if x := l.State.Shipment("WEIR-0001"); !l.Own(x) || len(x.Makings) != 2 || x.What != custody.Sealed {
		t.Errorf("%+v", x)
	}
	if known := l.State.Logs[0]; known.Replaced != l.id() {
		t.Errorf("%+v", known)
	}
	n := len(l.Entries)
	w.note(1)
	if l = w.open(); len(l.Entries) != n+1 {
		t.Errorf("recalled twice: %q", whats(l)[n:])
	}
	// A run that was killed in between leaves the rest to the next one.
	w.bend(func(s *State) {
		x := s.Shipment("WEIR-0002")
		x.Makings = append(x.Makings, Making{What: custody.Sealed, When: w.now,
			Facts: map[string]string{factBag: x.Bag}})
	})
	w.note(1)
	if l = w.open(); whats(l)[n+1] != "sealed WEIR-0002" || len(l.Entries) != n+3 {
		t.Errorf("%q", whats(l)[n:])
	}
}

// A log takes the place of one all of whose sessions are here, and of no other.
func TestSuperseded(t *testing.T) {
	l := &Log{Journal: &custody.Journal{}, sessions: [][]string{{"a", "a-"}, {"b"}, {"c"}}}
	l.State = &State{Logs: []KnownLog{
		{ID: "all", Sessions: []string{"a", "b", "c"}}, {ID: "some", Sessions: []string{"a-", "b"}},
		{ID: "more", Sessions: []string{"a", "b", "c", "d"}}, {ID: "none"}, {ID: "other", Sessions: []string{"d"}},
	}}
	if got := l.superseded(); !slices.Equal(got, []string{"all", "some"}) {
		t.Errorf("%q", got)
	}
	l.State = nil
	if got := l.superseded(); len(got) != 0 {
		t.Errorf("%q", got)
	}
	s := &State{Logs: []KnownLog{{ID: "a", Replaced: "b"}, {ID: "b", Replaced: "c"}, {ID: "c"},
		{ID: "x", Replaced: "y"}, {ID: "y", Replaced: "x"}}}
	l.State = s
	for id, want := range map[string]string{"a": "c", "b": "c", "c": "c", "unknown": "unknown"} {
		if got := l.successor(id); got != want {
			t.Errorf("%s: %s", id, got)
		}
	}
	l.successor("x") // comes back, whatever the state says
}

// What an officer takes over makes numbers and withdrawals more, never fewer.
func TestRestoringTakes(t *testing.T) {
	s := &State{Shipments: []Shipment{{Number: "WEIR-0001", What: custody.Sealing, Bag: "b"}},
		Withdrawn: []Withdrawal{{Pseudonyms: []string{"P"}}}}
	j := &custody.Journal{Entries: []custody.Entry{
		{What: custody.Abandoned, Shipment: "WEIR-0001"}, {What: custody.Abandoned, Shipment: "WEIR-0002"},
		{What: custody.Sealed, Shipment: "WEIR-0003"},
		{What: Withdrawn, Facts: map[string]string{factPseudonyms: "Q"}},
	}}
	(*restoring)(nil).take(s, "log", j)
	if s.Shipment("WEIR-0001").What != custody.Sealing || s.Shipment("WEIR-0002").What != custody.Abandoned ||
		s.Shipment("WEIR-0003") == nil || len(s.Withdrawn) != 2 {
		t.Errorf("%+v", s)
	}
}

// Decisions count that a proven entry holds, and those of entries that an officer took over
// although nobody had signed them do not.
func TestDecided(t *testing.T) {
	decision := func(seq int, id string) custody.Entry {
		return custody.Entry{Seq: seq, What: Decided, Why: "x", Who: "w",
			Facts: map[string]string{"action": "keep", "ids": id}}
	}
	restored := func(seq int, unproven string) custody.Entry {
		return custody.Entry{Seq: seq, What: Restored, Facts: map[string]string{factUnprovenEntries: unproven}}
	}
	for name, c := range map[string]struct {
		entries []custody.Entry
		proven  int
		want    string
	}{
		"all":              {[]custody.Entry{decision(1, "a"), {Seq: 2}, decision(3, "b")}, 3, "a b"},
		"not the last":     {[]custody.Entry{decision(1, "a"), decision(2, "b")}, 1, "a"},
		"none":             {[]custody.Entry{decision(1, "a")}, 0, ""},
		"fewer than none":  {[]custody.Entry{decision(1, "a")}, -1, ""},
		"taken over":       {[]custody.Entry{decision(1, "a"), decision(2, "b"), restored(3, "2 to 2")}, 3, "a"},
		"taken over, many": {[]custody.Entry{decision(1, "a"), decision(2, "b"), restored(3, "1 to 2")}, 3, ""},
		"and later ones": {[]custody.Entry{decision(1, "a"), decision(2, "b"), restored(3, "2 to 2"),
			decision(4, "c")}, 4, "a c"},
		"nothing unproven": {[]custody.Entry{decision(1, "a"), restored(2, "")}, 2, "a"},
	} {
		dec, err := leak.ParseDecisions(decided(c.entries, c.proven))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, id := range []string{"a", "b", "c"} {
			if _, ok := dec.Of(id); ok != slices.Contains(strings.Fields(c.want), id) {
				t.Errorf("%s: %s counts: %v", name, id, ok)
			}
		}
	}
}
