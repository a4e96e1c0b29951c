package site

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"outbreath/deid"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// Subjects of the invented collection: the first has two of its sessions, the second one.
const (
	oneSubject   = "LARK2-WEIR-001"
	otherSubject = "LARK2-WEIR-002"
)

func (w *week) withdraw(id string) (got *Withdrawing) {
	w.t.Helper()
	w.add(func(l *Log) {
		var err error
		got, err = l.WithdrawSubject(id, w.entry(""))
		w.must(err)
	})
	return got
}

func sessionsOf(c *schema.Collection, id string) (list []*schema.Session) {
	for _, s := range c.Sessions {
		if s.Subject == id {
			list = append(list, s)
		}
	}
	return list
}

func barcodesOf(sessions ...*schema.Session) (list []string) {
	for _, s := range sessions {
		for _, t := range s.Tubes {
			list = append(list, t.Barcode)
		}
	}
	return list
}

// list puts a subject into the roster; born may be "".
func list(c *schema.Collection, subject, born string) {
	row := map[string]string{"subject_id": subject}
	if born != "" {
		row["birth_date"] = born
	}
	c.Roster.Rows = append(c.Roster.Rows, row)
}

// ruled are problems as "rule pointer", sorted.
func ruled(problems []schema.Problem) (list []string) {
	for _, p := range problems {
		list = append(list, p.Rule+" "+p.Pointer)
	}
	slices.Sort(list)
	return list
}

// Who has withdrawn stays withdrawn under another session, another tube's label, an id that
// looks alike and another generation of the key.
func TestWithdrawnAlike(t *testing.T) {
	gone := "LARK2-WEIR-001"
	for name, c := range map[string]struct {
		bend func(c *schema.Collection, x *schema.Session, out []*schema.Session)
		want []string
	}{
		"another subject": {func(*schema.Collection, *schema.Session, []*schema.Session) {}, nil},
		"a session of theirs": {func(_ *schema.Collection, x *schema.Session, out []*schema.Session) {
			x.ID = out[1].ID
		}, []string{"withdrawn.session /session_id"}},
		"a tube of theirs": {func(_ *schema.Collection, x *schema.Session, out []*schema.Session) {
			x.Tubes[1].Barcode = strings.ToLower(out[1].Tubes[0].Barcode)
		}, []string{"withdrawn.tube /tubes/1/barcode"}},
		"an id that looks alike": {func(_ *schema.Collection, x *schema.Session, _ []*schema.Session) {
			x.Subject = "LARK2-WElR-OO1"
		}, []string{"withdrawn.alike /subject/subject_id"}},
		"an id that looks alike, of one birth date": {func(c *schema.Collection, x *schema.Session,
			_ []*schema.Session) {
			x.Subject = "LARK2-WEIR-0O1"
			list(c, x.Subject, "1978-07-15")
		}, []string{"withdrawn.alike /subject/subject_id"}},
		"an id that looks alike, without a birth date": {func(c *schema.Collection, x *schema.Session,
			_ []*schema.Session) {
			x.Subject = "LARK2-WEIR-0O1"
			list(c, x.Subject, "")
		}, []string{"withdrawn.alike /subject/subject_id"}},
		"two people whose ids look alike": {func(c *schema.Collection, x *schema.Session, _ []*schema.Session) {
			x.Subject = "LARK2-WEIR-0O1"
			list(c, x.Subject, "1990-01-01")
		}, nil},
		"beside somebody else who looks alike": {func(c *schema.Collection, x *schema.Session, _ []*schema.Session) {
			x.Subject = "LARK2-WEIR-0O1"
			c.Roster.Rows = []map[string]string{{"subject_id": x.Subject, "birth_date": "1990-01-01"},
				{"subject_id": "LARK2-WEIR-O01", "birth_date": "1991-01-01"}}
		}, []string{"withdrawn.alike /subject/subject_id"}},
	} {
		for _, rotated := range []bool{false, true} {
			w := newWeek(t)
			before := w.withdraw(gone)
			if rotated {
				w.must(w.site.Rotate())
			}
			l := w.open()
			col := w.load()
			out := l.LeaveOut(col)
			if len(out) != 2 || len(col.Sessions) != 1 || len(before.Pseudonyms) != 1 {
				t.Fatalf("%d left out, %+v", len(out), before)
			}
			c.bend(col, col.Sessions[0], out)
			if got := ruled(l.Objections(col)); !slices.Equal(got, c.want) {
				t.Errorf("%s (rotated %v): %v, want %v", name, rotated, got, c.want)
			}
		}
	}
}

// A tube that may be on its way does not leave in another session.
func TestTubeSent(t *testing.T) {
	day := func(ago int) string {
		return time.Date(2026, 3, 6, 12, 0, 0, 0, time.UTC).AddDate(0, 0, -ago).Format(time.DateOnly)
	}
	for name, c := range map[string]struct {
		what     string
		accepted bool
		ago      int
		reuse    int
		same     bool // it is the session that holds it
		swapped  bool // the shipment holds the session too, with another tube
		want     string
	}{
		"in another session":         {what: custody.Sealed, want: "WEIR-0001 of " + day(0) + " holds this tube"},
		"about to be sealed":         {what: custody.Sealing, want: "WEIR-0001"},
		"long ago":                   {what: custody.Sealed, ago: 400, want: "recorded"},
		"in this session":            {what: custody.Sealed, same: true},
		"amended":                    {what: custody.Sealed, swapped: true},
		"analysed":                   {what: custody.Sealed, accepted: true},
		"abandoned":                  {what: custody.Abandoned},
		"given up":                   {what: custody.GivenUp},
		"within the days of reuse":   {what: custody.Sealed, ago: 30, reuse: 30, want: "or 30 days after"},
		"after the days of reuse":    {what: custody.Sealed, ago: 31, reuse: 30},
		"of reuse on the day itself": {what: custody.Sealed, ago: 0, reuse: 1, want: "or 1 days after"},
	} {
		w := newWeek(t)
		w.note(1)
		l := w.open()
		col := l.o.Collection
		x := col.Sessions[0]
		held := Sealed{Session: "other", Subject: "P", Tubes: []string{schema.Barcode(x.Tubes[0].Barcode)}}
		if c.same {
			held.Session = l.names(x.ID)[0]
		}
		l.State.Shipments = []Shipment{{Number: "WEIR-0001", Day: day(c.ago), What: c.what, Accepted: c.accepted,
			Sessions: []Sealed{held}}}
		if c.swapped {
			l.State.Shipments[0].Sessions = append(l.State.Shipments[0].Sessions,
				Sealed{Session: l.names(x.ID)[0], Subject: "P"})
		}
		col.Study.ReuseDays = c.reuse
		got := l.Objections(col)
		if c.want == "" && len(got) != 0 || c.want != "" && (len(got) != 1 || got[0].Rule != "tube.sent" ||
			got[0].Pointer != "/tubes/0/barcode" || got[0].File != x.File ||
			!strings.Contains(got[0].Message, c.want) ||
			strings.Contains(got[0].Message, "reuse_days") != (c.reuse > 0)) {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// A session and a tube are theirs under whom they were sent last.
func TestSentLast(t *testing.T) {
	s := &State{Shipments: []Shipment{
		{Sessions: []Sealed{{Session: "S1", Subject: "P1", Tubes: []string{"t1"}}}},
		{Sessions: []Sealed{{Session: "S2", Subject: "P1", Tubes: []string{"t2"}}}},
		{Sessions: []Sealed{{Session: "S1", Subject: "P2", Tubes: []string{"t1"}}}},
	}, Withdrawn: []Withdrawal{{Pseudonyms: []string{"P1"}, Sessions: []string{"S3"}, Tubes: []string{"t3"},
		Looks: []string{"l"}}}}
	m := s.memory()
	if want := map[string]bool{"S2": true, "t2": true, "S3": true, "t3": true, "l": true}; !maps.Equal(m.gone, want) {
		t.Errorf("%v", m.gone)
	}
	if len(m.tubes["t1"]) != 2 || m.tubes["t1"][1].Subject != "P2" || len(m.tubes["t3"]) != 0 {
		t.Errorf("%+v", m.tubes)
	}
	if m := (*State)(nil).memory(); len(m.gone)+len(m.tubes) != 0 {
		t.Errorf("no state: %+v", m)
	}
}

// A log without its file is known by its tubes when more than half of them were sent.
func TestSharingTubes(t *testing.T) {
	for _, c := range []struct {
		a, b int // tubes in shipments of two logs
		in   string
		want string
		n    int
	}{
		{3, 0, custody.Sealed, "", 0}, {4, 0, custody.Sealed, "a", 4}, {6, 0, custody.Sealed, "a", 6},
		{6, 0, custody.Abandoned, "", 0}, {4, 5, custody.Sealed, "b", 5}, {5, 4, custody.Sealed, "a", 5},
		{3, 3, custody.Sealed, "", 0},
	} {
		w := newWeek(t)
		l := w.open()
		tubes := w.tubes()
		l.State = &State{Logs: []KnownLog{{ID: "a"}, {ID: "b"}}, Shipments: []Shipment{
			{Log: "a", What: c.in, Sessions: []Sealed{{Session: "x", Tubes: tubes[:c.a]}}},
			{Log: "a", What: c.in, Sessions: []Sealed{{Session: "y", Tubes: tubes[:c.a]}}}, // another copy counts once
			{Log: "b", What: c.in, Sessions: []Sealed{{Session: "z", Tubes: tubes[:c.b]}}},
			{Log: "unknown", What: c.in, Sessions: []Sealed{{Session: "z", Tubes: tubes}}},
		}}
		best, n := l.sharingTubes()
		if (best == nil) != (c.want == "") || best != nil && best.ID != c.want || n != c.n {
			t.Errorf("%+v: %+v, %d", c, best, n)
		}
	}
}

// A withdrawal says which pseudonyms, shipments and tubes are the subject's, is known to every
// collection at once, and is in the log with all that a lost key folder would need.
func TestWithdrawSubject(t *testing.T) {
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	w.must(w.site.Rotate())
	w.bend(func(s *State) {
		s.Shipments = append(s.Shipments, Shipment{Number: "WEIR-0002", What: custody.Sealed},
			Shipment{Number: "WEIR-0003", What: custody.Sealed, Subjects: []string{"somebody"}},
			Shipment{Number: "WEIR-0004", What: custody.Abandoned})
	})
	c := w.load()
	theirs := sessionsOf(c, oneSubject)
	got := w.withdraw(oneSubject)
	l := w.open()
	names, err := deid.Pseudonyms(l.Generations, oneSubject)
	w.must(err)
	tubes := barcodesOf(theirs...)
	slices.Sort(tubes)
	if len(names) != 2 || !slices.Equal(got.Pseudonyms, names) || !slices.Equal(got.Tubes, tubes) ||
		!slices.Equal(got.Shipments, []string{"WEIR-0001", "WEIR-0002"}) ||
		!slices.Equal(got.Unlisted, []string{"WEIR-0002"}) || got.Strangers ||
		!slices.Equal(got.Notice.Tubes, tubes) || !slices.Equal(got.Notice.Pseudonyms, names) {
		t.Errorf("%+v", got)
	}
	e := l.Entries[len(l.Entries)-1]
	if e.What != Withdrawn || e.Facts[factPseudonyms] != strings.Join(names, " ") ||
		e.Facts[factShipments] != "WEIR-0001 WEIR-0002" || e.Facts[factTubes] != "4" ||
		len(strings.Fields(e.Facts[factSessions])) != 4 || len(strings.Fields(e.Facts[factBarcodes])) != 4 ||
		len(e.Facts[factLook]) != 64 {
		t.Errorf("%+v", e)
	}
	if s := fmt.Sprint(e); strings.Contains(s, oneSubject) || strings.Contains(s, theirs[0].ID) {
		t.Errorf("an identifier is in the log: %s", s)
	}
	x := l.State.Withdrawn
	if len(x) != 1 || !slices.Equal(x[0].Pseudonyms, names) || len(x[0].Sessions) != 4 || len(x[0].Tubes) != 4 ||
		!slices.Equal(x[0].Looks, []string{e.Facts[factLook]}) {
		t.Errorf("%+v", x)
	}
	if !l.HoldsWithdrawn(l.State.Shipment("WEIR-0001")) || l.HoldsWithdrawn(l.State.Shipment("WEIR-0003")) {
		t.Error("it is not known which shipments hold their data")
	}
	// A record of somebody who is in no roster may be theirs.
	w.add(func(l *Log) {
		l.o.Collection.Problems = append(l.o.Collection.Problems, schema.Problem{Rule: "subject.unlisted"})
		got, err := l.WithdrawSubject(otherSubject, w.entry(""))
		w.must(err)
		if !got.Strangers {
			t.Error("a record of a stranger is not mentioned")
		}
	})
}

// A withdrawal of whom the collection holds much takes as many entries as it needs, and all of
// it is known.
func TestWithdrawMuch(t *testing.T) {
	w := newWeek(t)
	l := w.open()
	lenOf := func(id string) int { return len(strings.Join(l.names(id), " ")) + 1 }
	for over, entries := range map[int]int{-1: 1, 0: 1, 1: 2} {
		w := newWeek(t)
		w.add(func(l *Log) {
			c := l.o.Collection
			big, small := *sessionsOf(c, oneSubject)[0], *sessionsOf(c, otherSubject)[0]
			left := withdrawalBytes + over - lenOf(big.ID)
			big.Tubes = nil
			for n := 0; left > 0; n++ {
				size := 50
				if left < 2*size {
					size = left
				}
				big.Tubes = append(big.Tubes, schema.Tube{Barcode: fmt.Sprintf("LK%0*d", size-3, n)})
				left -= size
			}
			last := small
			last.Subject, last.ID = oneSubject, "WEIR-V0009"
			c.Sessions = []*schema.Session{&big, &small, &last}
			n := len(l.Entries)
			_, err := l.WithdrawSubject(oneSubject, w.entry(""))
			w.must(err)
			if got := len(l.Entries) - n; got != entries {
				t.Errorf("%d bytes over: %d entries", over, got)
			}
			x := l.State.Withdrawn
			if len(x) != 1 || len(x[0].Tubes) != len(big.Tubes)+len(last.Tubes) || len(x[0].Sessions) != 2 {
				t.Errorf("%d withdrawals", len(x))
			}
			for _, e := range l.Entries[n:] {
				if e.Facts[factSessions] == "" || e.Facts[factPseudonyms] == "" || e.Facts[factLook] == "" {
					t.Errorf("%+v", e.Facts)
				}
			}
		})
	}
}

// Somebody of whom the collection has no record can withdraw as well.
func TestWithdrawUnrecorded(t *testing.T) {
	w := newWeek(t)
	w.add(func(l *Log) {
		l.o.Collection.Sessions = sessionsOf(l.o.Collection, otherSubject)
		got, err := l.WithdrawSubject(oneSubject, w.entry(""))
		w.must(err)
		if len(got.Tubes) != 0 || len(l.State.Withdrawn) != 1 || len(l.State.Withdrawn[0].Looks) != 1 {
			t.Errorf("%+v", got)
		}
	})
	if out := w.open().LeaveOut(w.load()); len(out) != 2 {
		t.Errorf("%d left out", len(out))
	}
}

// An id that was typed means a subject by its canonical form, and nobody if it is two people's.
func TestSubjectOf(t *testing.T) {
	c := newWeek(t).load()
	for _, typed := range []string{oneSubject, "lark2-weir-001", " LARK2 WEIR 001"} {
		if id, err := SubjectOf(c, typed); err != nil || id != oneSubject {
			t.Errorf("%q: %q, %v", typed, id, err)
		}
	}
	for _, typed := range []string{"", "LARK2-WEIR-009", "Zofia"} {
		if id, err := SubjectOf(c, typed); !errors.Is(err, ErrNoSubject) || id != "" {
			t.Errorf("%q: %q, %v", typed, id, err)
		}
	}
	c.Roster.Rows = append(c.Roster.Rows, map[string]string{"subject_id": "lark2-weir-001", "birth_date": "1990-01-01"})
	c.Roster.Lines = append(c.Roster.Lines, 4)
	if id, err := SubjectOf(c, oneSubject); !errors.As(err, new(*schema.QueriesError)) || id != "" {
		t.Errorf("two people: %q, %v", id, err)
	}
}

// Whoever asks whose a pseudonym is leaves an entry, whatever comes of it.
func TestTrace(t *testing.T) {
	w := newWeek(t)
	_, err := w.seal(Order{})
	w.must(err)
	l := w.open()
	old, err := l.Generations[0].Subject(oneSubject)
	w.must(err)
	session, err := l.Generations[0].Session("WEIR-V0002")
	w.must(err)
	w.must(w.site.Rotate())
	w.withdraw(oneSubject)
	w.bend(func(s *State) { s.Shipments = append(s.Shipments, Shipment{Number: "WEIR-0002", What: custody.Sealed}) })
	nobody := strings.Repeat("0000-", 4) + "0"
	for name, want := range map[string]struct {
		found, withdrawn string
		subject, kind    string
		shipments        []string
	}{
		old:     {"true", "true", oneSubject, "subject", []string{"WEIR-0001", "WEIR-0002"}},
		session: {"true", "false", otherSubject, "session", []string{"WEIR-0001", "WEIR-0002"}},
		nobody:  {"false", "", "", "", nil},
	} {
		w.add(func(l *Log) {
			n := len(l.Entries)
			got, err := l.Trace(name, w.entry(""))
			w.must(err)
			e := l.Entries[n]
			if len(l.Entries) != n+1 || e.What != TracedTo || e.Facts[factPseudonym] != name ||
				e.Facts[factFound] != want.found || e.Facts[factWithdrawn] != want.withdrawn ||
				e.Facts[factKey] != got.KeyID {
				t.Errorf("%+v", e)
			}
			if got.Found != (want.found == "true") || got.Withdrawn != (want.withdrawn == "true") ||
				got.SubjectID != want.subject || got.Kind != want.kind ||
				!slices.Equal(got.Shipments, want.shipments) ||
				got.Found && !slices.Equal(got.Unlisted, []string{"WEIR-0002"}) {
				t.Errorf("%+v", got)
			}
			if s := fmt.Sprint(e); strings.Contains(s, oneSubject) {
				t.Errorf("an identifier is in the log: %s", s)
			}
		})
	}
	// Nothing is shown that could not be noted.
	w.add(func(l *Log) {
		e := w.entry("")
		e.Why = ""
		if got, err := l.Trace(old, e); err == nil || got != nil {
			t.Errorf("%+v, %v", got, err)
		}
	})
}

// The list that joins two generations is for the laboratory's eyes, and for those subjects who
// have not withdrawn.
func TestLinkage(t *testing.T) {
	w := newWeek(t)
	w.add(func(l *Log) {
		if _, err := l.Linkage(w.entry("")); !errors.Is(err, ErrOneGeneration) || len(l.Entries) != 0 {
			t.Errorf("%v", err)
		}
	})
	w.withdraw(oneSubject)
	for range 2 { // of two generations, and of three
		w.must(w.site.Rotate())
		w.linked()
	}
}

func (w *week) linked() {
	t := w.t
	t.Helper()
	w.add(func(l *Log) {
		n := len(l.Entries)
		got, err := l.Linkage(w.entry(""))
		w.must(err)
		ids, err := w.lab.Identities()
		w.must(err)
		r, err := age.Decrypt(bytes.NewReader(got.Sealed), ids...)
		w.must(err)
		text, err := io.ReadAll(r)
		w.must(err)
		names, err := deid.Pseudonyms(l.Generations, otherSubject)
		w.must(err)
		if want := "before,after\n" + names[1] + "," + names[0] + "\n"; string(text) != want {
			t.Errorf("%q, want %q", text, want)
		}
		if got.Before != l.Generations[1].KeyID || got.After != l.Generations[0].KeyID || len(got.Readers) != 1 ||
			got.Readers[0].Name != "harbour-lab" {
			t.Errorf("%+v", got)
		}
		e := l.Entries[n]
		if len(l.Entries) != n+1 || e.What != Linked || !maps.Equal(e.Facts, map[string]string{factBefore: got.Before,
			factAfter: got.After}) {
			t.Errorf("%+v", e)
		}
	})
}

// A receipt of the laboratory that the shipment was encrypted to is recorded, once.
func TestAcknowledge(t *testing.T) {
	w := newWeek(t)
	s, err := w.seal(Order{})
	w.must(err)
	good := pack.Receipt{Shipment: "WEIR-0001", Study: "LARK-2", Site: "WEIR", Decision: pack.Accepted,
		Archive: s.done.Archive, Parts: s.done.Parts, Laboratory: "harbour-lab", By: "I. Intake",
		At: w.now.Add(48 * time.Hour)}
	w.now = w.now.Add(72 * time.Hour)
	add := func(r pack.Receipt, sum string) (a *Acknowledgement, entries int, err error) {
		w.add(func(l *Log) {
			n := len(l.Entries)
			a, err = l.Acknowledge(&r, sum, w.entry(""))
			entries = len(l.Entries) - n
		})
		return a, entries, err
	}
	stranger := good
	stranger.Laboratory = "quay-lab"
	_, n, err := add(stranger, "1")
	if e, ok := errors.AsType[*ReceiptError](err); !ok || e.Reason != ReceiptOtherReader ||
		e.Laboratory != "quay-lab" || n != 0 {
		t.Errorf("%v, %d", err, n)
	}
	// A label that was not believed proves nothing of a shipment.
	blind := good
	blind.Archive, blind.Site, blind.Study, blind.Parts, blind.Decision = "", "", "", nil, pack.Rejected
	a, n, err := add(blind, "2")
	w.must(err)
	if a.Proven || a.Known || n != 1 || a.State.State != custody.Given && a.State.State != custody.Overdue {
		t.Errorf("%+v, %d", a, n)
	}
	if w.state().Shipment("WEIR-0001").Accepted {
		t.Error("accepted by what proves nothing")
	}
	a, n, err = add(good, "3")
	w.must(err)
	if !a.Proven || a.Known || a.GivenUp || n != 1 || a.State.State != custody.Acknowledged {
		t.Errorf("%+v, %d", a, n)
	}
	if !w.state().Shipment("WEIR-0001").Accepted {
		t.Error("the key folder does not know that it arrived")
	}
	l := w.open()
	if e := l.Entries[len(l.Entries)-1]; e.What != custody.Receipt || e.Shipment != "WEIR-0001" ||
		e.Why != "signed receipt of laboratory harbour-lab" || e.Facts[factReceiptSum] != "3" {
		t.Errorf("%+v", e)
	}
	if a, n, err = add(good, "3"); err != nil || !a.Known || n != 0 || a.State.State != custody.Acknowledged {
		t.Errorf("twice: %+v, %d, %v", a, n, err)
	}
}

// A receipt may come for what the site had given up.
func TestAcknowledgeGivenUp(t *testing.T) {
	w := newWeek(t)
	s, err := w.seal(Order{})
	w.must(err)
	w.add(func(l *Log) { w.must(l.GiveUp("WEIR-0001", w.entry(""))) })
	w.add(func(l *Log) {
		a, err := l.Acknowledge(&pack.Receipt{Shipment: "WEIR-0001", Study: "LARK-2", Site: "WEIR",
			Decision: pack.Accepted, Archive: s.done.Archive, Parts: s.done.Parts, Laboratory: "harbour-lab",
			At: w.now}, "1", w.entry(""))
		w.must(err)
		if !a.GivenUp || a.State.State != custody.Acknowledged {
			t.Errorf("%+v", a)
		}
	})
}

// Which sessions were amended is told by their sources under any generation, and by the last
// shipment that holds them.
func TestSealedSources(t *testing.T) {
	w := newWeek(t)
	s, err := w.seal(Order{})
	w.must(err)
	sources, err := s.Draft.Sources()
	w.must(err)
	w.must(w.site.Rotate())
	l := w.open()
	for i := range sources {
		if sources[i].Session, err = l.Generations[0].Session(fmt.Sprintf("WEIR-V%04d", i+1)); err != nil {
			t.Fatal(err)
		}
	}
	all, amended := l.Sealed(sources)
	if len(all) != 3 || len(amended) != 0 {
		t.Fatalf("%d, %+v", len(all), amended)
	}
	known := l.State.Shipment("WEIR-0001")
	for _, x := range all {
		if !slices.ContainsFunc(known.Sessions, func(r Sealed) bool { return r.Source == x.Source }) {
			t.Errorf("the digest of %s changed with the key", x.Session)
		}
	}
	for i, what := range []string{custody.Sealed, custody.Abandoned, custody.Sealed} {
		l.State.Shipments = append(l.State.Shipments, Shipment{Number: number("WEIR", i+2), What: what,
			Sessions: []Sealed{{Session: all[i].Session, Source: "new"}}})
	}
	sources[2].Absent = true
	_, amended = l.Sealed(sources)
	if len(amended) != 1 || amended[0] != (Amendment{File: sources[0].File, Session: all[0].Session,
		Shipment: "WEIR-0002", Was: "new", Now: all[0].Source}) {
		t.Errorf("%+v", amended)
	}
	l.State = nil
	if all, amended := l.Sealed(sources); len(all) != 3 || len(amended) != 0 {
		t.Errorf("no state: %d, %+v", len(all), amended)
	}
}

// Amendments are noted each with what was and what is, in entries that are not too long.
func TestAmend(t *testing.T) {
	w := newWeek(t)
	w.add(func(l *Log) {
		var list []Amendment
		for i := range 700 {
			list = append(list, Amendment{Session: fmt.Sprintf("S%03d", i), Was: strings.Repeat("a", 64),
				Now: strings.Repeat("b", 64)})
		}
		w.must(l.Amend(w.entry(""), list))
		n := 0
		for _, e := range l.Entries {
			if e.What != Amended || e.Why != "as the protocol says" {
				t.Errorf("%+v", e)
			}
			n += len(e.Facts)
		}
		if n != len(list) {
			t.Errorf("%d of %d are noted", n, len(list))
		}
	})
}

// Shipments that hold sessions of a collection: those that hold most come first, and of those
// the newest; what was abandoned or given up holds none.
func TestEarlier(t *testing.T) {
	l, c, sealed := history(t)
	l.State.Shipments = []Shipment{
		{Number: "WEIR-0001", What: custody.Sealed, Sessions: sealed("S-1", "S-2")},
		{Number: "WEIR-0002", What: custody.Sealing, Sessions: sealed("S-1", "S-2", "S-3")},
		{Number: "WEIR-0003", What: custody.Abandoned, Sessions: sealed("S-1", "S-2", "S-3")},
		{Number: "WEIR-0004", What: custody.GivenUp, Sessions: sealed("S-1", "S-2", "S-3")},
		{Number: "WEIR-0005", What: custody.Sealed, Sessions: sealed("X-1")},
		{Number: "WEIR-0006", What: custody.Sealed, Sessions: sealed("S-3", "X-1", "S-1")},
		{Number: "WEIR-0007", What: custody.Sealed, Sessions: sealed("S-1", "S-2", "S-3", "X-1")},
	}
	var got []string
	for _, e := range l.Earlier(c) {
		got = append(got, fmt.Sprintf("%s %d %v", e.Number, e.Sessions, e.Same))
	}
	want := []string{"WEIR-0007 3 false", "WEIR-0002 3 true", "WEIR-0006 2 false", "WEIR-0001 2 false"}
	if !slices.Equal(got, want) {
		t.Errorf("%q", got)
	}
	c.Sessions = c.Sessions[:2]
	if e := l.Earlier(c); e[len(e)-1].Number != "WEIR-0006" || !e[2].Same && !e[1].Same && !e[0].Same {
		t.Errorf("%+v", e)
	}
	l.State = nil
	if len(l.Earlier(c)) != 0 {
		t.Error("no state knows of a shipment")
	}
	if a, b := l.ShipmentsWith([]string{"P"}); len(a)+len(b) != 0 {
		t.Error("no state knows of a shipment")
	}
}
