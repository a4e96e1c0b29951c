package site

import (
	"bytes"
	"errors"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// marked is a week whose log has three signed entries, with its files after the second
// and after the third.
func marked(t *testing.T) (w *week, two, three saved) {
	t.Helper()
	w = newWeek(t)
	w.note(2)
	two = w.save()
	w.now = w.now.Add(time.Hour)
	w.note(1)
	return w, two, w.save()
}

// contradictions are what can be wrong between a collection and its key folder, and how each
// is named. Afterwards an officer can take the collection for the present one.
var contradictions = map[string]struct {
	do   func(w *week, two, three saved)
	want ConflictError
	text string // of the error
}{
	"a log from a backup": {func(w *week, two, _ saved) { w.back(two, logFile, signatureFile) },
		ConflictError{Kind: Older, Here: 2, Known: 3, Signed: 2},
		"this collection is older than the key folder knows: 1 entry is missing from the end of custody.jsonl"},
	"a log that was cut": {func(w *week, two, _ saved) { w.back(two, logFile) },
		ConflictError{Kind: Older, Here: 2, Known: 3, Signed: -1, Unproven: 2},
		"has 2 entries, and the key folder knows 3, the last of 2026-03-06; no signature fits what is left"},
	"a key folder from a backup": {func(w *week, two, _ saved) { w.back(two, stateFile) },
		ConflictError{Kind: Newer, Here: 3, Known: 2, Signed: 3}, "has 1 entry that it does not know"},
	"an entry that nobody signed": {func(w *week, _, _ saved) { w.unsigned(1) },
		ConflictError{Kind: Added, Here: 4, Known: 3, Signed: 3, Unproven: 1},
		"nobody has signed the last 1 entry of custody.jsonl, and the key folder does not know it"},
	"entries that nobody signed, and an old signature": {func(w *week, two, _ saved) {
		w.unsigned(2)
		w.back(two, signatureFile)
	}, ConflictError{Kind: Added, Here: 5, Known: 3, Signed: 2, Unproven: 2}, "the last 2 entries"},
	"no state": {func(w *week, _, _ saved) { w.put(stateFile, nil) },
		ConflictError{Kind: NoState, Here: 3, Signed: 3},
		"has no state of this study, but custody.jsonl has 3 entries"},
	"no state and no signature": {func(w *week, _, _ saved) { w.put(stateFile, nil); w.put(signatureFile, nil) },
		ConflictError{Kind: NoState, Here: 3, Signed: -1, Unproven: 3}, "has no state of this study"},
	"a log unknown": {func(w *week, _, _ saved) {
		w.bend(func(s *State) { s.Logs[0].ID, s.Logs[0].Sessions = "other", nil })
	}, ConflictError{Kind: UnknownLog, Here: 3, Signed: 3}, "does not know custody.jsonl (3 entries"},
	"another log of these sessions": {func(w *week, _, _ saved) { w.bend(func(s *State) { s.Logs[0].ID = "other" }) },
		ConflictError{Kind: Rewritten, Here: 3, Known: 3, Signed: 3, Sessions: 3}, "another log than the key folder"},
	"a log that was only announced": {func(w *week, _, _ saved) {
		w.bend(func(s *State) { s.Logs[0].Length, s.Logs[0].Sessions = 0, nil })
	}, ConflictError{Kind: UnknownLog, Here: 3, Signed: 3}, "does not know custody.jsonl"},
	"no log": {func(w *week, _, _ saved) { w.put(logFile, nil); w.put(signatureFile, nil) },
		ConflictError{Kind: NoLog, Known: 3, Sessions: 3},
		"custody.jsonl is missing: the key folder knows 3 of this collection's sessions from a log of 3 entries"},
	"no log, and sessions of other names": {func(w *week, _, _ saved) {
		w.put(logFile, nil)
		w.put(signatureFile, nil)
		w.bend(func(s *State) {
			s.Logs[0].Sessions = nil
			s.Shipments = []Shipment{{Number: "WEIR-0001", Log: s.Logs[0].ID, What: custody.Sealed,
				Sessions: []Sealed{{Session: "x", Tubes: w.tubes()[:4]}}}}
		})
	}, ConflictError{Kind: NoLog, Known: 3, Tubes: 4}, "the key folder knows 4 of this collection's tubes"},
	"a log that was replaced": {func(w *week, _, _ saved) { w.bend(func(s *State) { s.Logs[0].Replaced = "other" }) },
		ConflictError{Kind: Replaced, Here: 3, Known: 3, Signed: 3}, "another log was put in the place of this"},
	"a log of other sessions": {func(w *week, _, _ saved) {
		w.bend(func(s *State) { s.Logs[0].Sessions = []string{"other"} })
	}, ConflictError{Kind: Foreign, Here: 3, Known: 3, Signed: 3}, "belongs to another collection"},
	"a log of fewer sessions than another": {func(w *week, _, _ saved) {
		w.bend(func(s *State) {
			all := s.Logs[0].Sessions
			s.Logs[0].Sessions = all[:1]
			s.Logs = append(s.Logs, KnownLog{ID: "other", Sessions: all[:2]})
		})
	}, ConflictError{Kind: Foreign, Here: 3, Known: 3, Signed: 3}, "belongs to another collection"},
	"a log written anew": {func(w *week, two, three saved) {
		w.back(two, logFile, signatureFile, stateFile)
		w.now = w.now.Add(time.Minute)
		w.note(1)
		w.back(three, stateFile)
	}, ConflictError{Kind: Rewritten, Here: 3, Known: 3, Signed: 3}, "is another log than the key folder knows"},
	"a log written anew and unsigned": {func(w *week, two, _ saved) {
		w.back(two, logFile)
		w.now = w.now.Add(time.Minute)
		w.unsigned(2)
	}, ConflictError{Kind: Rewritten, Here: 4, Known: 3, Signed: -1, Unproven: 4}, "is another log"},
	"no signature": {func(w *week, _, _ saved) { w.put(signatureFile, nil) },
		ConflictError{Kind: NoSignature, Here: 3, Known: 3, Signed: -1}, "the signature of custody.jsonl is missing"},
	"an old signature": {func(w *week, two, _ saved) { w.back(two, signatureFile) },
		ConflictError{Kind: OldSignature, Here: 3, Known: 3, Signed: 2},
		"covers 2 entries only, and 3 entries were signed"},
	"no signature of a line that was announced": {func(w *week, two, three saved) {
		w.announced(two, three)
		w.put(signatureFile, nil)
	}, ConflictError{Kind: NoSignature, Here: 3, Known: 2, Signed: -1}, "is missing"},
	"a signature of something else": {func(w *week, _, _ saved) {
		sig, err := w.site.Sign(namespace, []byte("something else"))
		w.must(err)
		w.put(signatureFile, sig)
	}, ConflictError{Kind: BadSignature, Here: 3, Known: 3, Signed: -1}, "is damaged or fits no beginning"},
	"a signature that is none": {func(w *week, _, _ saved) { w.put(signatureFile, []byte("none\n")) },
		ConflictError{Kind: BadSignature, Here: 3, Known: 3, Signed: -1}, "is damaged or fits no beginning"},
	"a signature beside no log": {func(w *week, _, _ saved) {
		w.put(logFile, nil)
		w.put(stateFile, nil)
	}, ConflictError{Kind: BadSignature, Signed: -1}, "is damaged or fits no beginning"},
	"a signature with another key": {func(w *week, _, three saved) {
		sig, err := newWeek(w.t).site.Sign(namespace, three[logFile])
		w.must(err)
		w.put(signatureFile, sig)
	}, ConflictError{Kind: OtherSigner, Here: 3, Known: 3, Signed: -1}, "was signed by another key"},
	"decisions added": {func(w *week, _, _ saved) { w.put(reviewFile, []byte("{}\n")) },
		ConflictError{Kind: Decisions, Here: 3, Signed: 3}, "decisions were changed, removed or added"},
	"a state that was altered": {func(w *week, _, three saved) {
		w.put(stateFile, bytes.Replace(three[stateFile], []byte(`"length":3`), []byte(`"length":2`), 1))
	}, ConflictError{Kind: StateAltered, Signed: -1}, "was changed, is damaged, or belongs to another pseudonym key"},
	"a state of another version": {func(w *week, _, _ saved) {
		w.must(w.site.ChangeState("LARK-2", func([]byte) ([]byte, error) { return []byte("{}\n"), nil }))
	}, ConflictError{Kind: StateAltered, Signed: -1}, "is not in the form"},
}

// tubes returns the barcodes of the collection.
func (w *week) tubes() (list []string) {
	w.t.Helper()
	for _, s := range w.load().Sessions {
		for _, t := range s.Tubes {
			list = append(list, schema.Barcode(t.Barcode))
		}
	}
	return list
}

// announced leaves the third line written, and the key folder as it was when the line was
// announced to it.
func (w *week) announced(two, three saved) {
	w.t.Helper()
	line := w.state().Logs[0].Head
	w.back(two, stateFile)
	w.bend(func(s *State) {
		s.Logs[0].Pending = &Pending{Line: line, Length: 2, Head: s.Logs[0].Head, When: w.now}
	})
	w.back(three, logFile)
}

// Whatever contradicts what the site remembers is refused by its name and changes nothing. An
// officer can take it for the present one; then the log says what was wrong, and nothing
// contradicts any more.
func TestContradictions(t *testing.T) {
	for name, c := range contradictions {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w, two, three := marked(t)
			last := w.state().Logs[0].Last
			c.do(w, two, three)
			before := w.save()
			_, err := Open(w.options())
			e, ok := errors.AsType[*ConflictError](err)
			if !ok {
				t.Fatalf("%v, want %s", err, c.want.Kind)
			}
			if !strings.Contains(err.Error(), c.text) {
				t.Errorf("%v, want %q", err, c.text)
			}
			got := *e
			got.Last, got.HeadHere, got.HeadKnown, got.cause = time.Time{}, "", "", nil
			if got != c.want {
				t.Errorf("%+v, want %+v", got, c.want)
			}
			if c.want.Known > 0 && e.HeadKnown == "" || c.want.Here > 0 && e.HeadHere == "" {
				t.Errorf("what is here or known has no digest: %+v", e)
			}
			if c.want.Known == 3 && !e.Last.Equal(last) {
				t.Errorf("the last entry is of %v, not %v", e.Last, last)
			}
			if _, err := OpenToAdd(w.options()); !errors.As(err, new(*ConflictError)) {
				t.Errorf("opened to add: %v", err)
			}
			for n, data := range w.save() {
				if !bytes.Equal(data, before[n]) {
					t.Errorf("%s was changed", w.file(n))
				}
			}
			w.restored(c.want)
		})
	}
}

// restored takes the collection for the present one.
func (w *week) restored(was ConflictError) {
	t := w.t
	t.Helper()
	here := was.Here
	if was.Kind == StateAltered {
		here = 3
	}
	w.now = w.now.Add(time.Hour)
	e := w.entry("")
	e.Who = "O. Officer"
	l, r, err := Restore(w.options(), e)
	if err != nil {
		t.Fatalf("restored: %v", err)
	}
	n := here + 1
	got := l.Entries[here]
	if got.What != Restored || got.Who != "O. Officer" || got.Facts["conflict"] != string(was.Kind) ||
		got.Facts["entries_here"] != strconv.Itoa(here) || r.Recalled != len(l.Entries)-n {
		t.Errorf("%+v, %+v", got, r)
	}
	unproven := ""
	if was.Unproven > 0 && was.Kind != StateAltered {
		unproven = strconv.Itoa(here-was.Unproven+1) + " to " + strconv.Itoa(here)
	}
	for fact, want := range map[string]string{"head_known": r.HeadKnown, "damaged": r.Damaged, "file": l.Torn} {
		if value, ok := got.Facts[fact]; value != want || ok != (want != "") {
			t.Errorf("%s is %q, want %q", fact, value, want)
		}
	}
	if _, ok := got.Facts["last_known"]; ok == r.Last.IsZero() {
		t.Errorf("last_known: %v, and the last entry is of %v", ok, r.Last)
	}
	if got.Facts[factUnprovenEntries] != unproven {
		t.Errorf("unproven are %q, want %q", got.Facts[factUnprovenEntries], unproven)
	}
	if l.Head() != w.state().log(l.id()).Head {
		t.Error("the key folder does not know the line")
	}
	l.Release()
	now := w.open()
	if now.Signed != len(now.Entries) {
		t.Errorf("%d of %d entries are signed", now.Signed, len(now.Entries))
	}
	if _, _, err := Restore(w.options(), e); !errors.Is(err, ErrNothing) {
		t.Errorf("restored twice: %v", err)
	}
	w.note(1)
}

// What a run leaves that was stopped between two of its steps contradicts nothing, and the
// next entry makes it whole.
func TestStopped(t *testing.T) {
	for name, c := range map[string]struct {
		do     func(w *week, two, three saved)
		here   int
		signed int
	}{
		"nothing happened": {func(*week, saved, saved) {}, 3, 3},
		"announced and not written": {func(w *week, two, three saved) {
			w.announced(two, three)
			w.back(two, logFile, signatureFile)
		}, 2, 2},
		"written and not signed": {func(w *week, two, three saved) {
			w.announced(two, three)
			w.back(two, signatureFile)
		}, 3, 2},
		"signed and not noted": {func(w *week, two, three saved) { w.announced(two, three) }, 3, 3},
		"never signed": {func(w *week, _, _ saved) {
			w.put(signatureFile, nil)
			w.bend(func(s *State) { s.Logs[0].Signed = 0 })
		}, 3, 0},
		"taken by an officer over a signature that was none": {func(w *week, two, three saved) {
			w.announced(two, three)
			w.put(signatureFile, []byte("none\n"))
			w.bend(func(s *State) { s.Logs[0].Pending.Restored = true })
		}, 3, 0},
		"a log of as many sessions as another": {func(w *week, _, _ saved) {
			w.bend(func(s *State) {
				all := s.Logs[0].Sessions
				s.Logs[0].Sessions = all[:1]
				s.Logs = append([]KnownLog{{ID: "other", Sessions: all[1:2]}}, s.Logs...)
			})
		}, 3, 3},
		"a log of fewer sessions than one that was replaced": {func(w *week, _, _ saved) {
			w.bend(func(s *State) {
				all := s.Logs[0].Sessions
				s.Logs[0].Sessions = all[:1]
				s.Logs = append(s.Logs, KnownLog{ID: "other", Sessions: all, Replaced: s.Logs[0].ID})
			})
		}, 3, 3},
		"a log that no session was noted of": {func(w *week, _, _ saved) {
			w.bend(func(s *State) { s.Logs[0].Sessions = nil })
		}, 3, 3},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w, two, three := marked(t)
			c.do(w, two, three)
			l := w.open()
			if len(l.Entries) != c.here || l.Signed != c.signed {
				t.Errorf("%d entries, %d signed", len(l.Entries), l.Signed)
			}
			if _, _, err := Restore(w.options(), w.entry("")); !errors.Is(err, ErrNothing) {
				t.Errorf("restored: %v", err)
			}
			w.note(1)
			l = w.open()
			known := w.state().log(l.id())
			if n := c.here + 1; len(l.Entries) != n || l.Signed != n || known.Length != n || known.Signed != n ||
				known.Pending != nil || known.Head != l.Head() || len(known.Sessions) != 3 {
				t.Errorf("after one more: %d entries, %d signed, known %+v", len(l.Entries), l.Signed, known)
			}
		})
	}
}

// A line that was announced is the one that was announced: another in its place was added.
func TestAnnouncedOther(t *testing.T) {
	for name, bend := range map[string]func(*Pending){
		"another line":  func(p *Pending) { p.Line = p.Head },
		"another place": func(p *Pending) { p.Length = 1 },
		"another log":   func(p *Pending) { p.Head = p.Line },
		"later":         func(p *Pending) { p.Length = 3 },
	} {
		w, two, three := marked(t)
		w.announced(two, three)
		w.bend(func(s *State) { bend(s.Logs[0].Pending) })
		_, err := Open(w.options())
		if e, ok := errors.AsType[*ConflictError](err); !ok || e.Kind != Newer {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A last line that was not written to its end is set aside, one that lacks its line feed
// only is ended; the log says so, and nothing else was lost.
func TestTornLine(t *testing.T) {
	for name, c := range map[string]struct {
		cut      func(two, three []byte) []byte
		entries  int // whole ones
		moved    bool
		announce bool
	}{
		"cut":                    {func(two, three []byte) []byte { return three[:len(two)+20] }, 2, true, true},
		"without its line feed":  {func(_, three []byte) []byte { return three[:len(three)-1] }, 3, false, false},
		"cut, and all was known": {func(two, _ []byte) []byte { return append(bytes.Clone(two), '{') }, 2, true, true},
	} {
		t.Run(name, func(t *testing.T) {
			w, two, three := marked(t)
			if c.announce {
				w.announced(two, three)
				w.back(two, signatureFile)
			}
			w.put(logFile, c.cut(two[logFile], three[logFile]))
			l, err := Open(w.options())
			if !errors.As(err, new(*custody.TornError)) || len(l.Entries) != c.entries || l.Ended != !c.moved {
				t.Fatalf("%v, %+v", err, l)
			}
			if _, _, err := Restore(w.options(), w.entry("")); !errors.Is(err, ErrNothing) {
				t.Errorf("restored: %v", err)
			}
			w.add(func(l *Log) {
				if (l.Torn != "") != c.moved || l.Ended == c.moved {
					t.Errorf("%q, ended %v", l.Torn, l.Ended)
				}
				last := l.Entries[len(l.Entries)-1]
				if len(l.Entries) != c.entries+1 || last.What != Repaired || last.Who != "W. Weir" ||
					last.Facts["file"] != l.Torn {
					t.Errorf("%+v", last)
				}
			})
			if l := w.open(); len(l.Entries) != c.entries+1 || l.Torn != "" {
				t.Errorf("%d entries afterwards", len(l.Entries))
			}
		})
	}
	// The only line lacks its line feed.
	w := newWeek(t)
	w.note(1)
	one := w.save()[logFile]
	w.put(logFile, one[:len(one)-1])
	w.add(func(l *Log) {
		if !l.Ended || len(l.Entries) != 2 || l.Entries[1].What != Repaired {
			t.Errorf("%v, %+v", l.Ended, l.Entries)
		}
	})
	// Another line in the place of the only one is not ended.
	w.note(1)
	w.put(logFile, bytes.Replace(one[:len(one)-1], []byte("Weir"), []byte("Wear"), 1))
	if l, err := Open(w.options()); err == nil || l != nil {
		t.Errorf("%+v, %v", l, err)
	}
	// What the key folder knows of this collection comes back in the same run.
	w, two, three := marked(t)
	w.announced(two, three)
	w.put(logFile, three[logFile][:len(two[logFile])+20])
	w.back(two, signatureFile)
	w.bend(func(s *State) {
		s.Shipments = []Shipment{{Number: "WEIR-0001", Log: s.Logs[0].ID, What: custody.Sealed,
			Makings: []Making{{What: custody.Sealed, When: w.now}}}}
	})
	w.add(func(l *Log) {
		if got := whats(l); !slices.Equal(got, []string{"note", "note", Repaired, "sealed WEIR-0001"}) {
			t.Errorf("%q", got)
		}
	})
	// Nothing but the first line, and that was cut: sessions that the site knows have no log.
	w, _, three = marked(t)
	w.put(logFile, three[logFile][:40])
	w.put(signatureFile, nil)
	_, err := Open(w.options())
	if e, ok := errors.AsType[*ConflictError](err); !ok || e.Kind != NoLog || !e.Torn ||
		!strings.Contains(err.Error(), "is damaged: it holds no whole entry") {
		t.Errorf("%v", err)
	}
	// The first line of a new collection: the site knows nothing of it yet.
	w = newWeek(t)
	w.put(logFile, []byte("{"))
	w.note(1)
	if l := w.open(); len(l.Entries) != 2 || l.Entries[0].What != Repaired {
		t.Errorf("%+v", l.Entries)
	}
}

// A log that is damaged in its middle is no contradiction and cannot be opened; an officer
// can go on without it, and what the key folder knows comes back.
func TestDamagedLog(t *testing.T) {
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	whole := w.save()
	w.put(logFile, bytes.Replace(whole[logFile], []byte("Sealer"), []byte("Sailor"), 1))
	if _, err := Open(w.options()); !errors.As(err, new(*custody.BrokenError)) {
		t.Fatalf("%v", err)
	}
	l, r, err := Restore(w.options(), w.entry(""))
	w.must(err)
	l.Release()
	if r.Kind != Damaged || r.Signed != -1 || r.Damaged == "" || r.Recalled != 1 || len(l.Entries) != 2 {
		t.Errorf("%+v, %+v", r, l.Entries)
	}
	was, ok := whole.sealed(w)
	now, _ := l.Of("WEIR-0001", custody.Sealed)
	delete(now.Facts, custody.FactRecalled)
	if !ok || !maps.Equal(was.Facts, now.Facts) {
		t.Errorf("came back as %+v, was %+v", now.Facts, was.Facts)
	}
	w.note(1)
	if l := w.open(); l.State.Shipment("WEIR-0001") == nil || !l.Own(l.State.Shipment("WEIR-0001")) {
		t.Error("the shipment is not this collection's any more")
	}
}

// sealed returns the entry "sealed" of the log as it was saved.
func (s saved) sealed(w *week) (custody.Entry, bool) {
	w.t.Helper()
	now := w.save()
	defer w.back(now, logFile, signatureFile)
	w.back(s, logFile, signatureFile)
	root := w.load().Root
	j, err := custody.Read(root, LogName)
	w.must(err)
	return j.Of("WEIR-0001", custody.Sealed)
}

// Two spellings of one study code are one study: its numbers are not forgotten under another.
func TestOneSpelling(t *testing.T) {
	w := newWeek(t)
	w.note(1)
	w.must(w.site.ChangeState("CRANE-1", func([]byte) ([]byte, error) { return []byte{}, nil }))
	first, others := w.open().FirstOfStudy()
	if !first || !slices.Equal(others, []string{"CRANE-1"}) {
		t.Errorf("%v, %v", first, others)
	}
	w.bend(func(s *State) { s.Shipments = []Shipment{{Number: "WEIR-0001"}} })
	if first, _ := w.open().FirstOfStudy(); first {
		t.Error("a study with a shipment is new")
	}
	w.bend(func(s *State) { s.Shipments, s.Withdrawn = nil, []Withdrawal{{Pseudonyms: []string{"x"}}} })
	if first, _ := w.open().FirstOfStudy(); first {
		t.Error("a study with a withdrawal is new")
	}
	w.must(w.site.ChangeState("lark2", func([]byte) ([]byte, error) { return []byte{}, nil }))
	_, err := Open(w.options())
	if e, ok := errors.AsType[*schema.ConfigError](err); !ok || e.File != "study.json" ||
		!strings.Contains(e.Message, "lark2") {
		t.Errorf("%v", err)
	}
}

// A log that was opened does not go on after another one was put in its place, and one that
// others have added to does.
func TestFollow(t *testing.T) {
	w, two, three := marked(t)
	l := w.open()
	w.note(1)
	w.must(l.ToAdd())
	if len(l.Entries) != 4 {
		t.Errorf("%d entries", len(l.Entries))
	}
	w.must(l.ToAdd()) // it is open already
	l.Release()
	l.Release()
	l = w.open()
	w.back(three, logFile, signatureFile, stateFile)
	if err := l.ToAdd(); !errors.As(err, new(*custody.ChangedError)) {
		t.Errorf("fewer entries: %v", err)
	}
	w.note(1)
	l = w.open()
	w.back(two, logFile, signatureFile, stateFile)
	w.now = w.now.Add(time.Minute)
	w.note(2)
	if err := l.ToAdd(); !errors.As(err, new(*custody.ChangedError)) {
		t.Errorf("as many entries: %v", err)
	}
	w.note(1) // what failed holds nothing
}

// A signature is judged by what is wrong with it; what is no judgement is an error.
func TestSignatureKind(t *testing.T) {
	failed := errors.New("the disk")
	for _, c := range []struct {
		err   error
		want  Kind
		other error
	}{
		{nil, "", nil}, {custody.ErrUnsigned, NoSignature, nil},
		{&keys.SignatureError{Reason: keys.UnknownSigner}, OtherSigner, nil},
		{&keys.SignatureError{Reason: keys.NotSignature}, BadSignature, nil},
		{&custody.AlteredError{}, BadSignature, nil}, {failed, "", failed},
	} {
		if got, err := signatureKind(c.err); got != c.want || err != c.other {
			t.Errorf("%v: %q, %v", c.err, got, err)
		}
	}
}

// What is found once only is no contradiction: another command has written in between.
func TestOpenLooksAgain(t *testing.T) {
	w, _, three := marked(t)
	o := w.options()
	o.Collection.Study.ReuseDays = 30
	x := *o.Collection.Sessions[0]
	x.Tubes = x.Tubes[:1]
	o.Collection.Sessions = []*schema.Session{&x}
	w.put(logFile, nil)
	w.put(signatureFile, nil)
	w.bend(func(s *State) {
		s.Logs[0].Sessions = nil
		s.Shipments = []Shipment{{Number: "WEIR-0001", Log: s.Logs[0].ID, Day: "2026-03-06", What: custody.Sealed,
			Sessions: []Sealed{{Session: "x", Tubes: []string{schema.Barcode(x.Tubes[0].Barcode)}}}}}
	})
	for _, back := range []int{1, 2, 3} {
		looks := 0
		w.put(logFile, nil)
		w.put(signatureFile, nil)
		o.Now = func() time.Time { // asked once a look, after the log was read
			if looks++; looks == back {
				w.back(three, logFile, signatureFile)
			}
			return w.now
		}
		l, err := Open(o)
		if gone := back == 3; (err != nil) != gone || !gone && len(l.Entries) != 3 {
			t.Errorf("back at look %d: %v", back, err)
		}
	}
}

// After the key folder was lost, it learns from the log what it must not forget.
func TestRestoreForgotten(t *testing.T) {
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	w.withdraw(oneSubject)
	before := w.state()
	w.put(stateFile, nil)
	l, _, err := Restore(w.options(), w.entry(""))
	w.must(err)
	l.Release()
	x, was := w.state().Shipment("WEIR-0001"), before.Shipment("WEIR-0001")
	if x == nil || x.Bag != was.Bag || x.What != custody.Sealed || !slices.Equal(x.Subjects, was.Subjects) {
		t.Errorf("%+v", x)
	}
	if got := w.open().LeaveOut(w.load()); len(got) != 2 {
		t.Errorf("%d records of the subject who has withdrawn are left out", len(got))
	}
}

// What nobody has signed stays unproven, whatever else had to be set aside.
func TestRestoreUnprovenBeside(t *testing.T) {
	w, _, three := marked(t)
	w.unsigned(2)
	w.put(stateFile, append(bytes.Clone(three[stateFile]), ' '))
	l, r, err := Restore(w.options(), w.entry(""))
	w.must(err)
	l.Release()
	if e := l.Entries[5]; r.Kind != StateAltered || r.Here != 5 || r.Unproven != 2 || e.What != Restored ||
		e.Facts[factUnprovenEntries] != "4 to 5" {
		t.Errorf("%+v, %+v", r.ConflictError, e)
	}
}

// A session whose id has no pseudonym is no reason to fail.
func TestNamelessSession(t *testing.T) {
	w := newWeek(t)
	o := w.options()
	o.Collection.Sessions[0].ID = "--"
	l, err := OpenToAdd(o)
	w.must(err)
	defer l.Release()
	w.must(l.Append(w.entry("note")))
	if known := w.state().Logs[0]; len(known.Sessions) != 2 {
		t.Errorf("%+v", known)
	}
}
