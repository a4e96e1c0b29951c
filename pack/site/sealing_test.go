package site

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/deid"
	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// whats are the entries of a log by what they are, with their shipments.
func whats(l *Log) (list []string) {
	for _, e := range l.Entries {
		list = append(list, strings.TrimSpace(e.What+" "+e.Shipment))
	}
	return list
}

// changeRecord makes a record another than it was: a tube of it held a little more.
func (w *week) changeRecord() {
	w.t.Helper()
	file := filepath.Join(w.dir, "sessions", "0001.json")
	text, err := os.ReadFile(file)
	w.must(err)
	at := bytes.Index(text, []byte(`"volume_ml": `))
	if at < 0 {
		w.t.Fatal("no volume")
	}
	at += len(`"volume_ml": `)
	text[at] = map[bool]byte{true: '2', false: '1'}[text[at] == '1']
	w.must(os.WriteFile(file, text, 0o600))
}

// emptied is the medium without anything that lies on it.
func (w *week) emptied() {
	w.t.Helper()
	entries, err := os.ReadDir(w.medium)
	w.must(err)
	for _, e := range entries {
		w.must(os.RemoveAll(filepath.Join(w.medium, e.Name())))
	}
}

// onMedium returns the shipments that have their name on the medium.
func (w *week) onMedium() (list []string) {
	w.t.Helper()
	entries, err := os.ReadDir(w.medium)
	w.must(err)
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") {
			list = append(list, e.Name())
		}
	}
	return list
}

// A seal notes in the log and in the key folder what left, before it gets its name and after.
func TestSeal(t *testing.T) {
	w := newWeek(t)
	s, err := w.seal(Order{})
	w.must(err)
	l := w.open()
	if got := whats(l); !slices.Equal(got, []string{"sealing WEIR-0001", "sealed WEIR-0001"}) {
		t.Fatal(got)
	}
	for _, e := range l.Entries {
		f := CopyFactsOf(e)
		if e.Who != "S. Sealer" || e.Why != "sealed for the laboratory" || !e.When.Equal(w.now) ||
			f.Bag != s.done.Bag || f.Sessions != 3 || f.Recordings != 3 || f.Tubes != 6 || f.Copies != 1 ||
			f.Parts[s.done.Parts[0].Name] != s.done.Parts[0].SHA256 || f.Plan != PlanName(s.col.Plan) ||
			!maps.Equal(f.Inside, s.done.Inside) || len(f.Readers) != 1 || f.Readers[0].Name != "harbour-lab" {
			t.Errorf("%+v", e)
		}
	}
	x := l.State.Shipment("WEIR-0001")
	if x == nil || x.Bag != s.done.Bag || x.What != custody.Sealed || x.Day != "2026-03-06" || len(x.Sessions) != 3 ||
		len(x.Subjects) != 2 || x.KeyID != l.Generations[0].KeyID || !l.Own(x) || len(x.Makings) != 1 {
		t.Fatalf("%+v", x)
	}
	var tubes []string
	for _, r := range x.Sessions {
		tubes = append(tubes, r.Tubes...)
		if !slices.Contains(x.Subjects, r.Subject) || len(r.Source) != 64 {
			t.Errorf("%+v", r)
		}
	}
	want := w.tubes()
	slices.Sort(tubes)
	slices.Sort(want)
	if !slices.Equal(tubes, want) {
		t.Errorf("tubes %q, want %q", tubes, want)
	}
	if got := s.Draft.Ledger(nil, nil).Program; got != "outbreath 1.0 go1.25" {
		t.Errorf("treatment.json names the program %q", got)
	}
	if l.ProgramOf("WEIR-0001") != "outbreath 1.0 go1.25" || l.ProgramOf("WEIR-0002") != "" {
		t.Error("the program is not known, or of another shipment")
	}
	if got := w.onMedium(); !slices.Equal(got, []string{"WEIR-0001"}) {
		t.Error(got)
	}
}

// Sessions leave twice only when that is wanted: as another copy of the same bytes, made as
// then, or under a new number.
func TestSealAgain(t *testing.T) {
	w := newWeek(t)
	first, err := w.seal(Order{})
	w.must(err)
	_, err = w.seal(Order{})
	if e, ok := errors.AsType[*SentError](err); !ok || e.Reason != SentSame || e.Sessions != 3 {
		t.Fatalf("%v", err)
	}
	// Another program, another key and no reason for anything: a copy is what was sealed.
	w.must(w.site.Rotate())
	w.emptied()
	w.now = w.now.Add(time.Hour)
	again, err := w.seal(Order{Wish: Wish{Again: "1"}, Program: "outbreath 2.0 go1.25"})
	w.must(err)
	if got := again.Draft.Ledger(nil, nil).Program; got != "outbreath 1.0 go1.25" {
		t.Errorf("the copy's treatment.json names the program %q", got)
	}
	if again.done.Bag != first.done.Bag || again.Choice.Number != "WEIR-0001" {
		t.Errorf("another copy is another bag: %s, %s", again.done.Bag, first.done.Bag)
	}
	l := w.open()
	if got := whats(l); !slices.Equal(got[2:], []string{"sealing WEIR-0001", "sealed WEIR-0001"}) {
		t.Error(got)
	}
	if e := l.Entries[3]; e.Why != "another copy of the same contents" {
		t.Errorf("%+v", e)
	}
	if x := l.State.Shipment("WEIR-0001"); len(x.Makings) != 2 || x.KeyID != l.Generations[1].KeyID {
		t.Errorf("%+v", x)
	}
	// Under a new number it is made with the new key.
	anew, err := w.seal(Order{Wish: Wish{Anew: true}})
	w.must(err)
	l = w.open()
	if x := l.State.Shipment("WEIR-0002"); x == nil || x.KeyID != l.Generations[0].KeyID ||
		anew.done.Bag == first.done.Bag {
		t.Errorf("%+v", x)
	}
	// The laboratory has it: no copy of that.
	w.add(func(l *Log) {
		e := w.entry(custody.Receipt)
		e.Shipment, e.Facts = "WEIR-0001", map[string]string{custody.FactDecision: "accepted"}
		w.must(l.Append(e))
	})
	_, err = w.seal(Order{Wish: Wish{Again: "1"}})
	if e, ok := errors.AsType[*NumberError](err); !ok || e.Reason != NumberAcknowledged {
		t.Errorf("%v", err)
	}
}

// A record that was changed after it was sealed needs a reason, which the log keeps; another
// copy of what was sealed then is refused.
func TestSealAmended(t *testing.T) {
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	w.changeRecord()
	_, err = w.seal(Order{Wish: Wish{Anew: true}})
	e, ok := errors.AsType[*AmendedError](err)
	if !ok || len(e.List) != 1 || e.List[0].File != "sessions/0001.json" || e.List[0].Shipment != "WEIR-0001" ||
		e.List[0].Was == e.List[0].Now {
		t.Fatalf("%v", err)
	}
	w.emptied()
	_, err = w.seal(Order{Wish: Wish{Again: "1"}})
	if e, ok := errors.AsType[*ContentsError](err); !ok || e.Number != "WEIR-0001" || !e.Copy {
		t.Errorf("%v", err)
	}
	if got := w.onMedium(); len(got) != 0 {
		t.Errorf("%v on the medium", got)
	}
	if got := whats(w.open()); len(got) != 2 {
		t.Errorf("a seal that came to nothing is in the log: %v", got)
	}
	_, err = w.seal(Order{Wish: Wish{Anew: true}, Amended: "a slip of the pen"})
	w.must(err)
	l := w.open()
	if got := whats(l); !slices.Equal(got[2:], []string{"amended", "sealing WEIR-0002", "sealed WEIR-0002"}) {
		t.Fatal(got)
	}
	note := l.Entries[2]
	if note.Why != "a slip of the pen" || len(note.Facts) != 1 ||
		note.Facts["session "+e.List[0].Session] != e.List[0].Was+" "+e.List[0].Now {
		t.Errorf("%+v", note)
	}
	// What was sealed last is what counts now.
	_, err = w.seal(Order{Wish: Wish{Anew: true}})
	w.must(err)
	if got := whats(w.open()); slices.Contains(got[5:], Amended) {
		t.Error(got)
	}
}

// Records of subjects who have withdrawn are left out, whatever is asked for.
func TestSealWithdrawn(t *testing.T) {
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	c := w.load()
	id := c.Sessions[0].Subject
	of := func(id string) (n int) {
		for _, s := range c.Sessions {
			if schema.SameID(s.Subject, id) {
				n++
			}
		}
		return n
	}
	w.add(func(l *Log) { _, err := l.WithdrawSubject(id, w.entry("")); w.must(err) })
	_, err = w.seal(Order{Wish: Wish{Again: "1"}})
	if e, ok := errors.AsType[*NumberError](err); !ok || e.Reason != NumberWithdrawn {
		t.Errorf("%v", err)
	}
	_, err = w.seal(Order{})
	if e, ok := errors.AsType[*SentError](err); !ok || e.Reason != SentWithdrawn {
		t.Errorf("%v", err)
	}
	s, err := w.seal(Order{Wish: Wish{Anew: true}})
	w.must(err)
	if len(s.gone) != of(id) || s.done.Sessions != 3-of(id) {
		t.Errorf("%d left out, %d sealed", len(s.gone), s.done.Sessions)
	}
	for _, x := range s.gone {
		if !schema.SameID(x.Subject, id) {
			t.Errorf("%s was left out", x.File)
		}
	}
	for _, s := range c.Sessions {
		if id = s.Subject; of(id) < 3 && !schema.SameID(id, c.Sessions[0].Subject) {
			break
		}
	}
	w.add(func(l *Log) { _, err := l.WithdrawSubject(id, w.entry("")); w.must(err) })
	s, err = w.seal(Order{Wish: Wish{Anew: true}})
	if !errors.Is(err, ErrNobodyLeft) || len(s.gone) != 3 {
		t.Errorf("%v, %d left out", err, len(s.gone))
	}
}

// What changes between the first look and the name stops the seal: nothing gets a name.
func TestSealStopped(t *testing.T) {
	failed := errors.New("the slip cannot be written")
	is := func(target error) func(error) bool { return func(err error) bool { return errors.Is(err, target) } }
	for name, c := range map[string]struct {
		do    func(w *week) error // just before the shipment gets its name
		want  func(error) bool
		after []string // of the log
	}{
		"the caller refuses": {func(*week) error { return failed }, is(failed), nil},
		"a withdrawal": {func(w *week) error {
			w.add(func(l *Log) {
				_, err := l.WithdrawSubject(l.o.Collection.Sessions[0].Subject, w.entry(""))
				w.must(err)
			})
			return nil
		}, func(err error) bool {
			e, ok := errors.AsType[*WithdrawnError](err)
			return ok && e.Number == "WEIR-0001"
		}, []string{"withdrawn"}},
		"the number went to another collection": {func(w *week) error {
			w.bend(func(s *State) {
				s.Shipments = []Shipment{{Number: "WEIR-0001", Day: "2026-03-05", Bag: "other", What: custody.Sealed}}
			})
			return nil
		}, func(err error) bool {
			e, ok := errors.AsType[*NumberError](err)
			return ok && e.Reason == NumberTaken && e.Day == "2026-03-05"
		}, nil},
		"decisions": {func(w *week) error {
			w.add(func(l *Log) {
				w.must(l.Decide(w.entry(""), "keep", "a place", []string{"f1"}, func(string) string { return "" }))
			})
			return nil
		}, func(err error) bool {
			e, ok := errors.AsType[*custody.ChangedError](err)
			return ok && e.Path == ReviewName
		}, []string{"decided"}},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWeek(t)
			s, err := w.begin(Order{})
			w.must(err)
			w.must(s.clear())
			if err := s.write(w, func() error { return c.do(w) }); !c.want(err) {
				t.Errorf("%v", err)
			}
			if got := w.onMedium(); len(got) != 0 {
				t.Errorf("%v on the medium", got)
			}
			if got := whats(w.open()); !slices.Equal(got, c.after) {
				t.Errorf("%v, want %v", got, c.after)
			}
		})
	}
	w := newWeek(t)
	s, err := w.begin(Order{})
	w.must(err)
	w.must(s.clear())
	w.must(os.WriteFile(filepath.Join(w.dir, "roster.csv.bak"), nil, 0o600))
	if err := s.write(w, nil); !errors.As(err, new(*SourceChangedError)) || len(w.onMedium()) != 0 {
		t.Errorf("%v", err)
	}
}

// A seal that fails after it was announced came to nothing, unless something of that name is on
// the medium: then the next seal looks. In either case the number is not used again.
func TestSealAbandoned(t *testing.T) {
	for name, c := range map[string]struct {
		do    func(w *week, cancel func())
		after []string
	}{
		"stopped by a person": {func(_ *week, cancel func()) { cancel() },
			[]string{"sealing WEIR-0001", "abandoned WEIR-0001"}},
		"the name is taken": {func(w *week, _ func()) { w.must(os.Mkdir(filepath.Join(w.medium, "WEIR-0001"), 0o755)) },
			[]string{"sealing WEIR-0001"}},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWeek(t)
			s, err := w.begin(Order{})
			w.must(err)
			w.must(s.clear())
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			_, err = s.Write(ctx, Writing{Number: "WEIR-0001", Date: w.now,
				Named: func(*deid.Cleared, *pack.Sealed) error { c.do(w, cancel); return nil }})
			s.Log.Release()
			s.held.Release()
			if err == nil {
				t.Fatal("sealed")
			}
			l := w.open()
			if got := whats(l); !slices.Equal(got, c.after) {
				t.Fatalf("%v, want %v", got, c.after)
			}
			if e := l.Entries[len(l.Entries)-1]; e.What == custody.Abandoned && (len(e.Facts) != 0 ||
				!strings.Contains(e.Why, "before the shipment got its name")) {
				t.Errorf("%+v", e)
			}
			next, err := w.begin(Order{})
			w.must(err)
			if n, err := next.Number(); err != nil || n != "WEIR-0002" {
				t.Errorf("%s, %v", n, err)
			}
			if got := whats(w.open()); !slices.Equal(got, []string{"sealing WEIR-0001", "abandoned WEIR-0001"}) {
				t.Errorf("after the next seal began: %v", got)
			}
		})
	}
}

// Another plan than that of the shipment before needs a reason, which the log keeps.
func TestSealNewPlan(t *testing.T) {
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	plan := w.load().Study.Plan
	if plan == "limited" {
		t.Fatal("the collection has that plan already")
	}
	file := filepath.Join(w.dir, "study.json")
	text, err := os.ReadFile(file)
	w.must(err)
	w.must(os.WriteFile(file, bytes.Replace(text, []byte(`"`+plan+`"`), []byte(`"limited"`), 1), 0o600))
	_, err = w.seal(Order{Wish: Wish{Anew: true}})
	if e, ok := errors.AsType[*PlanError](err); !ok || e.Number != "WEIR-0001" || e.Plan != "limited" {
		t.Fatalf("%v", err)
	}
	_, err = w.seal(Order{Wish: Wish{Anew: true}, NewPlan: "as the officer decided"})
	w.must(err)
	l := w.open()
	if e := l.Entries[len(l.Entries)-1]; e.Why != "sealed for the laboratory; under another plan than before: "+
		"as the officer decided" {
		t.Errorf("%+v", e)
	}
	if _, err = w.seal(Order{Wish: Wish{Anew: true}, NewPlan: "again"}); !errors.Is(err, ErrSamePlan) {
		t.Errorf("%v", err)
	}
}

// A clock that goes back is refused, unless the operator knows better; then the log says so.
func TestSealClock(t *testing.T) {
	w := newWeek(t)
	w.note(1)
	w.now = w.now.Add(-time.Hour)
	if _, err := w.seal(Order{}); !errors.As(err, new(*ClockError)) {
		t.Fatalf("%v", err)
	}
	_, err := w.seal(Order{ClockIsRight: true})
	w.must(err)
	l := w.open()
	if e := l.Entries[len(l.Entries)-1]; !strings.Contains(e.Why, "the operator says that it is right") {
		t.Errorf("%+v", e)
	}
}

// A seal that was cut off is settled by what lies on the medium.
func TestSettleInterrupted(t *testing.T) {
	for name, c := range map[string]struct {
		copied bool // of a shipment that was sealed before
		found  bool
		last   string
	}{
		"found on the medium":       {false, true, "sealed WEIR-0001"},
		"not found":                 {false, false, "abandoned WEIR-0001"},
		"a copy that was found":     {true, true, "sealed WEIR-0001"},
		"a copy that was not found": {true, false, "abandoned WEIR-0001"},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWeek(t)
			if c.copied {
				_, err := w.seal(Order{})
				w.must(err)
				w.emptied()
				w.now = w.now.Add(time.Hour)
			}
			before := w.save()
			o := Order{}
			if c.copied {
				o.Again = "1"
			}
			_, err := w.seal(o)
			w.must(err)
			after := w.save()
			// The last entry, "sealed", was never written: the key folder knows of none either.
			if before[logFile] == nil {
				before[logFile] = []byte{}
			}
			lines := bytes.SplitAfter(after[logFile], []byte("\n"))
			w.cutBack(bytes.Join(lines[:len(lines)-2], nil))
			if !c.found {
				w.emptied()
			}
			w.now = w.now.Add(time.Hour)
			s, err := w.begin(Order{Wish: Wish{Anew: true}})
			w.must(err)
			if len(s.settled) != 1 || s.settled[0] != (Interrupted{Number: "WEIR-0001", Found: c.found,
				Copy: c.copied}) {
				t.Errorf("%+v", s.settled)
			}
			l := w.open()
			got := whats(l)
			last := l.Entries[len(l.Entries)-1]
			if got[len(got)-1] != c.last || last.Who != "S. Sealer" || (len(last.Facts) > 0) != c.found {
				t.Errorf("%v, %+v", got, last)
			}
			x := l.State.Shipment("WEIR-0001")
			want := custody.Sealed
			if !c.copied && !c.found {
				want = custody.Abandoned
			}
			if x.What != want || slices.ContainsFunc(x.Makings, func(m Making) bool {
				return m.What == custody.Sealing
			}) {
				t.Errorf("%+v", x)
			}
			// An abandoned number is not used again.
			if n, err := s.Number(); err != nil || n != "WEIR-0002" {
				t.Errorf("%s, %v", n, err)
			}
			if len(l.Unfinished()) != 0 {
				t.Errorf("unfinished: %v", l.Unfinished())
			}
		})
	}
}

// cutBack takes log, signature and key folder back to a log of fewer lines, as if the run had
// been stopped there.
func (w *week) cutBack(log []byte) {
	w.t.Helper()
	w.put(logFile, log)
	sig, err := w.site.Sign(namespace, log)
	w.must(err)
	w.put(signatureFile, sig)
	j, err := custody.Read(w.load().Root, LogName)
	w.must(err)
	n := len(j.Entries)
	w.bend(func(s *State) {
		k := &s.Logs[0]
		k.Length, k.Head, k.Signed, k.Last = n, j.Head(), n, j.Entries[n-1].When
		x := s.Shipment("WEIR-0001")
		had := x.Makings[:len(x.Makings)-1]
		x.What, x.Makings = custody.Sealing, had
		if len(had) > 0 {
			x.What = custody.Sealed
		}
		x.made(j.Entries[n-1])
	})
}

// Whose data a shipment holds is noted of every subject, in as many entries as it takes.
func TestSealingManySubjects(t *testing.T) {
	for n, entries := range map[int]int{1: 1, contentsPerEntry: 1, contentsPerEntry + 1: 2, 2*contentsPerEntry + 1: 3} {
		w := newWeek(t)
		var all []string
		for i := range n {
			all = append(all, fmt.Sprintf("P%05d", i))
		}
		w.add(func(l *Log) {
			e := w.entry("")
			e.Shipment, e.Facts = "WEIR-0001", map[string]string{factBag: "b"}
			w.must(l.Sealing(e, &Shipment{Number: "WEIR-0001", Bag: "b", KeyID: "k", Subjects: all}))
			if l.made != nil {
				t.Error("the next entry would be about it as well")
			}
		})
		l := w.open()
		var got []string
		for i, e := range l.Entries {
			last := i == len(l.Entries)-1
			if want := map[bool]string{true: custody.Sealing, false: Contents}[last]; e.What != want ||
				e.Facts[factKey] != "k" || !last && e.Facts[factShipment] != "WEIR-0001" {
				t.Errorf("%d: %s", i, e.What)
			}
			list := strings.Fields(e.Facts[factSubjects])
			if len(list) > contentsPerEntry || len(list) == 0 {
				t.Errorf("%d in one entry", len(list))
			}
			got = append(got, list...)
		}
		if len(l.Entries) != entries || !slices.Equal(got, all) {
			t.Errorf("%d: %d subjects in %d entries", n, len(got), len(l.Entries))
		}
		if x := l.State.Shipment("WEIR-0001"); !slices.Equal(x.Subjects, all) {
			t.Errorf("%d are known", len(x.Subjects))
		}
	}
}

// What a seal would be refused for is listed all at once, and nothing is written.
func TestRefusals(t *testing.T) {
	rules := func(s *Seal) (list []string) {
		for _, r := range s.Refusals() {
			list = append(list, r.Rule)
			if r.Err == nil || r.File == "" {
				t.Errorf("%+v", r)
			}
		}
		return list
	}
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	w.changeRecord()
	before := w.save()
	key, err := w.site.PseudonymKey()
	w.must(err)
	s := NewSeal(nil, w.load(), w.site, key, Order{When: w.now.Add(-24 * time.Hour)})
	s.Log = w.open()
	if got := rules(s); !slices.Equal(got, []string{"seal.clock", RuleNumber}) {
		t.Errorf("without a draft: %v", got)
	}
	w.must(s.Treat())
	s.Log.Release()
	if got := rules(s); !slices.Equal(got, []string{"seal.clock", RuleNumber, RuleAmended}) {
		t.Errorf("%v", got)
	}
	w.bend(func(st *State) {
		st.Shipments = append(st.Shipments, Shipment{Number: "WEIR-9999", What: custody.Sealed})
	})
	after := w.save()
	s.Log = w.open()
	s.order = Order{When: w.now, Wish: Wish{Anew: true}, Amended: "a slip"}
	if got := rules(s); !slices.Equal(got, []string{"seal.last-number"}) {
		t.Errorf("%v", got)
	}
	empty, err := keys.Create(filepath.Join(t.TempDir(), "site"), keys.NewOptions{Role: keys.Site, Name: "WEIR"})
	w.must(err)
	s.folder = empty
	s.order.Number = "2"
	if got := rules(s); !slices.Equal(got, []string{"seal.recipients"}) {
		t.Errorf("%v", got)
	}
	if now := w.save(); !bytes.Equal(now[logFile], before[logFile]) || !bytes.Equal(now[stateFile], after[stateFile]) {
		t.Error("something was written")
	}
}

// Box and records are compared by barcode; a tube of a record that is left out, and what is in
// the roster, are told from others.
func TestBox(t *testing.T) {
	w := newWeek(t)
	c := w.load()
	key, err := w.site.PseudonymKey()
	w.must(err)
	d, err := deid.Treat(c, key)
	w.must(err)
	gone := &schema.Session{Tubes: []schema.Tube{{Barcode: "LK-GONE-1"}}}
	b := NewBox(d, []*schema.Session{gone})
	var scanned []string
	for _, x := range b.Tubes {
		scanned = append(scanned, x.Barcode)
	}
	if m := b.Compare(scanned); !m.Agrees() || len(m.Matched) != 6 || len(m.Notes) != 0 {
		t.Errorf("%+v", m)
	}
	subject := c.Roster.Rows[0]["subject_id"]
	other := append(slices.Clone(scanned[1:]), "LK-GONE-1", "LK-OTHER-9", subject)
	m := b.Compare(other)
	if !slices.Equal(m.Missing, scanned[:1]) || len(m.Unexpected) != 3 {
		t.Errorf("%+v", m)
	}
	for _, n := range m.Notes {
		if (n.Detail == goneTubeDetail) != (n.Barcode == "LK-GONE-1") {
			t.Errorf("%+v", n)
		}
	}
	err = b.Strangers(m, other)
	if e, ok := errors.AsType[*StrangerError](err); !ok || e.At != len(other) ||
		strings.Contains(err.Error(), subject) {
		t.Errorf("%v", err)
	}
	if err := b.Strangers(b.Compare(other[:len(other)-1]), other); err != nil {
		t.Errorf("without one: %v", err)
	}
	if err := b.Strangers(&pack.TubeMatch{Unexpected: []string{subject}}, []string{"a", subject + "\r"}); err == nil ||
		err.(*StrangerError).At != 2 {
		t.Errorf("with a carriage return: %v", err)
	}
	// A reason that names somebody does not leave, and one that was kept is looked at again.
	p := &Packing{Reasons: []deid.Discrepancy{{Barcode: scanned[0], Reason: "broke"},
		{Barcode: scanned[1], Reason: "given to " + subject}}}
	p.Recheck(b)
	if len(p.Reasons) != 1 || p.Reasons[0].Reason != "broke" {
		t.Errorf("%+v", p.Reasons)
	}
	if b.MayLeave(scanned[0], "broke") != nil || b.MayLeave(scanned[0], "given to "+subject) == nil {
		t.Error("a reason is judged wrongly")
	}
}

// Records that cannot be treated are named.
func TestSealUntreated(t *testing.T) {
	w := newWeek(t)
	s, err := w.begin(Order{})
	w.must(err)
	s.col.Sessions[1].ID = s.col.Sessions[0].ID
	if err := s.clear(); !errors.As(err, new(*schema.QueriesError)) {
		t.Errorf("%v", err)
	}
}

// A collection without records is no collection of subjects who have withdrawn.
func TestLeaveOutOfNothing(t *testing.T) {
	w := newWeek(t)
	w.withdraw(oneSubject)
	c := w.load()
	c.Sessions = nil
	s := &Seal{Log: w.open(), col: c}
	if gone, err := s.LeaveOut(); err != nil || len(gone) != 0 {
		t.Errorf("%d, %v", len(gone), err)
	}
}

// Every seal that was cut off is settled, not only the first.
func TestSettleSeveral(t *testing.T) {
	w := newWeek(t)
	w.add(func(l *Log) {
		for n := range 2 {
			e := w.entry("")
			e.Shipment, e.Facts = number("WEIR", n+1), map[string]string{factBag: "b"}
			w.must(l.Sealing(e, &Shipment{Number: e.Shipment, Bag: "b"}))
		}
		got, err := l.SettleInterrupted([]string{w.medium}, w.entry(""))
		w.must(err)
		if len(got) != 2 || len(l.Unfinished()) != 0 || len(l.Entries) != 4 {
			t.Errorf("%+v, %q", got, whats(l))
		}
	})
}

// What a copy is made with is the program that sealed the shipment, not one that began to.
func TestProgramOf(t *testing.T) {
	entry := func(what, number, program string) custody.Entry {
		return custody.Entry{What: what, Shipment: number, Facts: map[string]string{factProgram: program}}
	}
	l := &Log{Journal: &custody.Journal{Entries: []custody.Entry{
		entry(custody.Sealed, "WEIR-0001", "outbreath 1.0 go1.25"),
		entry(custody.Sealing, "WEIR-0002", "outbreath 1.0 go1.25"), {What: custody.Abandoned, Shipment: "WEIR-0002"},
		entry(custody.Sealing, "WEIR-0002", "outbreath 2.0 go1.25"),
		entry(custody.Sealed, "WEIR-0002", "outbreath 2.0 go1.25"),
		entry(custody.Sealed, "WEIR-0002", "outbreath 3.0 go1.25"),
		entry(custody.Sealed, "WEIR-0003", "no program's name"),
	}}}
	for number, want := range map[string]string{"WEIR-0001": "outbreath 1.0 go1.25",
		"WEIR-0002": "outbreath 2.0 go1.25", "WEIR-0003": "", "WEIR-0004": ""} {
		if got := l.ProgramOf(number); got != want {
			t.Errorf("%s: %q", number, got)
		}
	}
}

// Errors say how many of what, in words that fit the number.
func TestNumbersInErrors(t *testing.T) {
	five := []Amendment{{File: "a"}, {File: "b"}, {File: "c"}, {File: "d"}, {File: "e"}}
	for want, err := range map[string]error{
		"WEIR-0001 of 2026-03-06 holds 1 session of this collection already": &SentError{Number: "WEIR-0001",
			Day: "2026-03-06", Sessions: 1},
		"2 sessions of this collection already; 1 other shipment holds some too": &SentError{Sessions: 2, Others: 1},
		"already; 2 other shipments hold some too":                               &SentError{Sessions: 2, Others: 2},
		"all 9999 shipment numbers of site WEIR are used":                        &LastNumberError{Site: "WEIR"},
		"WEIR-9999 was given, so no shipment number follows; lower ones are free": &LastNumberError{Site: "WEIR",
			Free: "WEIR-0001"},
		"b (), c (), d (), e ()":   &AmendedError{five},
		"0 recordings then, 2 now": &ContentsError{Before: CopyFacts{}, Now: CopyFacts{Recordings: 2}},
		"; one number must never":  &ContentsError{Before: CopyFactsOf(custody.Entry{}), Now: CopyFacts{Recordings: 2}},
		"the last 2 entries of custody.jsonl, and the key folder does not know them": &ConflictError{Kind: Added,
			Unproven: 2},
		"2 entries are missing from the end": &ConflictError{Kind: Older, Known: 3, Here: 1, Signed: 1},
	} {
		if text := err.Error(); !strings.Contains(text, want) {
			t.Errorf("%q, want %q", text, want)
		}
	}
	if text := (&AmendedError{make([]Amendment, 5)}).Error(); strings.Contains(text, "more") {
		t.Error(text)
	}
	if text := (&ContentsError{Before: CopyFactsOf(custody.Entry{})}).Error(); strings.Contains(text, "then") {
		t.Error(text)
	}
	if f := (CopyFacts{}).encode(); f[factStated] != "" {
		t.Errorf("tubes that nobody spoke of are in the log: %v", f)
	}
}

// A box that cannot be put aside is an error.
func TestClearFails(t *testing.T) {
	root, err := os.OpenRoot(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	p, err := OpenPacking(root, true, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := root.MkdirAll(PackingName+"/x", 0o700); err != nil {
		t.Fatal(err)
	}
	if p.Clear() == nil {
		t.Error("cleared what is there still")
	}
}
