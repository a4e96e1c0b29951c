package site

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/custody"
	"outbreath/schema"
)

// written is a log in a folder, with the entries given.
func written(t *testing.T, c *schema.Collection, entries ...custody.Entry) *Log {
	t.Helper()
	root, err := os.OpenRoot(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { root.Close() })
	j, err := custody.Read(root, LogName)
	if err != nil {
		t.Fatal(err)
	}
	l := &Log{Journal: j, State: &State{}, o: Options{Collection: c}}
	for _, e := range entries {
		e.When, e.Why = time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC), "x"
		if err := l.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	return l
}

func receiptOf(number, decision string) custody.Entry {
	facts := map[string]string{}
	if decision != "" {
		facts[custody.FactDecision] = decision
	}
	return custody.Entry{What: custody.Receipt, Shipment: number, Who: "w", Facts: facts}
}

// act is the result of an act on a number: the reason of the refusal, or "" and one
// entry more.
func act(t *testing.T, l *Log, what, number string, do func(string, custody.Entry) error) (reason NumberReason,
	day string) {
	t.Helper()
	n := len(l.Entries)
	err := do(number, custody.Entry{When: time.Date(2026, 11, 9, 0, 0, 0, 0, time.UTC), Who: "w", Why: "y"})
	refused, ok := errors.AsType[*NumberError](err)
	switch {
	case err == nil:
		if e := l.Entries[len(l.Entries)-1]; len(l.Entries) != n+1 || e.What != what || e.Shipment != number ||
			e.Why != "y" {
			t.Errorf("%s: %+v", number, e)
		}
		return "", ""
	case !ok || refused.Number != number || len(l.Entries) != n:
		t.Errorf("%s: %v, %d entries", number, err, len(l.Entries))
	}
	return refused.Reason, refused.Day
}

// Only what a receipt objects to can be settled, and once.
func TestSettle(t *testing.T) {
	c := &schema.Collection{Study: &schema.Study{Site: "WEIR"}}
	sealed := func(n string) custody.Entry { return custody.Entry{What: custody.Sealed, Shipment: n, Who: "w"} }
	l := written(t, c, sealed("WEIR-0001"), sealed("WEIR-0002"), sealed("WEIR-0003"), sealed("WEIR-0004"),
		receiptOf("WEIR-0002", "accepted"), receiptOf("WEIR-0003", "discrepancies"), receiptOf("WEIR-0004", "rejected"))
	for _, w := range []struct {
		number string
		want   NumberReason
	}{
		{"WEIR-0001", NumberSettled}, {"WEIR-0002", NumberSettled}, {"WEIR-0009", NumberSettled},
		{"WEIR-0003", ""}, {"WEIR-0003", NumberSettled}, {"WEIR-0004", ""},
	} {
		if got, _ := act(t, l, custody.Settled, w.number, l.Settle); got != w.want {
			t.Errorf("%s: %q, want %q", w.number, got, w.want)
		}
	}
}

// A number can be given up that nobody has answered for, once, where it was sealed.
func TestGiveUp(t *testing.T) {
	c := &schema.Collection{Study: &schema.Study{Site: "WEIR"}}
	l := written(t, c, custody.Entry{What: custody.Sealed, Shipment: "WEIR-0001", Who: "w"},
		custody.Entry{What: custody.Sealed, Shipment: "WEIR-0002", Who: "w"}, receiptOf("WEIR-0002", "rejected"))
	l.State = &State{Logs: []KnownLog{{ID: l.id()}}, Shipments: []Shipment{
		{Number: "WEIR-0001", Log: l.id(), What: custody.Sealed},
		{Number: "WEIR-0002", Log: l.id(), What: custody.Sealed},
		{Number: "WEIR-0003", Log: "other", Day: "2026-11-03", What: custody.Sealed},
		{Number: "WEIR-0004", Log: "other", What: custody.Abandoned},
		{Number: "WEIR-0005", Log: l.id(), What: custody.GivenUp},
	}}
	for _, w := range []struct {
		number string
		want   NumberReason
		day    string
	}{
		{"WEIR-0001", "", ""}, {"WEIR-0002", NumberAnswered, ""}, {"WEIR-0003", NumberElsewhere, "2026-11-03"},
		{"WEIR-0004", "", ""},
		{"WEIR-0005", NumberGivenUpBefore, ""}, {"WEIR-0206", "", ""}, {"WEIR-0500", NumberFar, ""},
	} {
		if got, day := act(t, l, custody.GivenUp, w.number, l.GiveUp); got != w.want || day != w.day {
			t.Errorf("%s: %q %s, want %q", w.number, got, day, w.want)
		}
	}
}

// A receipt counts that is about what was sealed here, for the laboratory that signs.
func TestBelongs(t *testing.T) {
	at := time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)
	copyOf := func(sum string) custody.Entry {
		return custody.Entry{What: custody.Sealed, Shipment: "WEIR-0001", Who: "w",
			Facts: CopyFacts{Parts: map[string]string{"a.age": sum}, Readers: []Reader{{"ARK", "SHA256:x"}}}.encode()}
	}
	l := written(t, &schema.Collection{Study: &schema.Study{Study: "LARK-2", Site: "WEIR"}}, copyOf("1"), copyOf("2"))
	good := pack.Receipt{Shipment: "WEIR-0001", Study: "LARK-2", Site: "WEIR", Decision: pack.Accepted,
		Laboratory: "ARK", At: at,
		Archive: "z", Parts: []pack.Part{{Name: "a.age", SHA256: "2"}}}
	for reason, bend := range map[ReceiptReason]func(*pack.Receipt){
		ReceiptUnknown:      func(r *pack.Receipt) { r.Shipment = "WEIR-0002" },
		ReceiptElsewhere:    func(r *pack.Receipt) { r.Study = "LARK-3" },
		ReceiptFuture:       func(r *pack.Receipt) { r.At = at.Add(49 * time.Hour) },
		ReceiptEarly:        func(r *pack.Receipt) { r.At = at.Add(-24*time.Hour - time.Second) },
		ReceiptOtherArchive: func(r *pack.Receipt) { r.Parts = []pack.Part{{Name: "a.age", SHA256: "3"}} },
	} {
		r := good
		bend(&r)
		proven, err := l.belongs(&r, at.Add(24*time.Hour))
		if e, ok := errors.AsType[*ReceiptError](err); !ok || e.Reason != reason || e.Shipment != r.Shipment || proven {
			t.Errorf("%s: %v, %v", reason, proven, err)
		}
	}
	r := good
	r.Site = "HOLM"
	if _, err := l.belongs(&r, at); err == nil || !strings.Contains(err.Error(), "another study or site") {
		t.Errorf("of another site: %v", err)
	}
}

// A copy was encrypted to a laboratory by the name that its key had then, or has now.
func TestEncryptedTo(t *testing.T) {
	e := custody.Entry{Facts: CopyFacts{Readers: []Reader{{"ARK", "SHA256:a"}, {"", "SHA256:b"}}}.encode()}
	trusted := []keys.Trusted{
		{Kind: "recipient", Name: "BRIG", Fingerprint: "SHA256:b"},
		{Kind: "signer", Name: "COG", Fingerprint: "SHA256:a"},
		{Kind: "recipient", Name: "DORY", Fingerprint: "SHA256:d"},
	}
	for laboratory, want := range map[string]bool{"ARK": true, "BRIG": true, "COG": false, "DORY": false, "-": false,
		"ark": false} {
		if got := encryptedTo(e, laboratory, trusted); got != want {
			t.Errorf("%s: %v", laboratory, got)
		}
	}
	if encryptedTo(custody.Entry{}, "ARK", trusted) {
		t.Error("an entry without recipients was encrypted to a laboratory")
	}
}

// A rejection that proves nothing of the shipment leaves no decision in the log.
func TestReceiptFacts(t *testing.T) {
	r := &pack.Receipt{Shipment: "WEIR-0001", Decision: pack.Accepted, Tubes: &pack.ReceiptTubes{Matched: []string{"a",
		"b"}, Missing: []string{"c"}}}
	f := receiptFacts(r, "s", true)
	if !accepted(custody.Entry{What: custody.Receipt, Facts: f}) || f[factTubesMatched] != "2" ||
		f[factTubesMissing] != "1" || f[factTubesUnexpected] != "0" {
		t.Errorf("%v", f)
	}
	f = receiptFacts(&pack.Receipt{Decision: pack.Accepted}, "s", false)
	if _, ok := f[factTubesMatched]; ok || accepted(custody.Entry{What: custody.Receipt, Facts: f}) ||
		f[factUnproven] != "accepted" {
		t.Errorf("%v", f)
	}
	if accepted(custody.Entry{What: custody.Settled, Facts: map[string]string{custody.FactDecision: "accepted"}}) {
		t.Error("an entry that is no receipt accepts")
	}
}
