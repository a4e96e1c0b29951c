package intake

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/keys"
	"outbreath/pack"
	"outbreath/pack/register"

	"github.com/google/go-cmp/cmp"
)

var today = time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)

// lay makes folders and, for a name that does not end with a slash, empty files in a new
// folder, and goes there.
func lay(t *testing.T, names ...string) {
	t.Helper()
	dir := t.TempDir()
	t.Chdir(dir)
	for _, name := range names {
		folder := name
		if !strings.HasSuffix(name, "/") {
			folder = filepath.Dir(name)
		}
		if err := os.MkdirAll(folder, 0o755); err != nil {
			t.Fatal(err)
		}
		if folder != name {
			if err := os.WriteFile(name, nil, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// A folder around shipments is not taken for a damaged one; a damaged one, of which a
// single file is left, is.
func TestNamed(t *testing.T) {
	lay(t, "empty/", "file", "one/shipment.json", "sums/SHA256SUMS", "sig/SHA256SUMS.sig",
		"stick/WEIR-0002/SHA256SUMS", "stick/WEIR-0001/shipment.json", "stick/.outbreath-x/shipment.json",
		"stick/.Trash-1000/files/WEIR-0009/shipment.json",
		"a/b/c/shipment.json", "deep/1/2/3/4/shipment.json", "many/1/SHA256SUMS", "many/2/SHA256SUMS",
		"many/3/SHA256SUMS", "many/4/SHA256SUMS", "many/5/SHA256SUMS", "many/6/SHA256SUMS", "many/7 x/SHA256SUMS")
	for _, c := range []struct {
		dir   string
		fault Fault // "": may be a shipment
		text  string
	}{
		{"empty", "", ""},
		{"one", "", ""},
		{"sums", "", ""},
		{"sig", "", ""},
		{"deep", "", ""}, // further down than anybody copies a shipment
		{"nowhere", NoFolder, "there is no folder at nowhere"},
		{"file", NoFolder, "there is no folder at file"},
		{"stick", NotShipment, "stick is not a shipment, but holds some: WEIR-0001, WEIR-0002"},
		{"a", NotShipment, "a is not a shipment, but holds some: b/c"},
		{"many", NotShipment, "many is not a shipment, but holds some: 1, 2, 3, 4, 5, and 2 more"},
	} {
		err := Named(c.dir)
		if c.fault == "" {
			if err != nil {
				t.Errorf("%s: %v", c.dir, err)
			}
			continue
		}
		own, ok := errors.AsType[*Error](err)
		if !ok || own.Fault != c.fault || own.Path != c.dir || filepath.ToSlash(err.Error()) != c.text {
			t.Errorf("%s: %v, not %q", c.dir, err, c.text)
		}
		if c.fault == NotShipment && len(own.Inside) == 0 {
			t.Errorf("%s: no shipment is named", c.dir)
		}
	}
}

func TestOfSites(t *testing.T) {
	in := []string{"m/.Trashes", "m/WEIR-0001", "m/System Volume Information", "m/notes"}
	if got, want := OfSites(in), []string{"m/WEIR-0001", "m/notes"}; !slices.Equal(got, want) {
		t.Errorf("%q, not %q", got, want)
	}
	if got := OfSites(in[:1]); !slices.Equal(got, in[:1]) { // what is named alone is meant
		t.Errorf("%q", got)
	}
}

// Every fault has words of its own, without options and names of commands.
func TestTexts(t *testing.T) {
	faults := []Fault{NoFolder, NotShipment, SiteKeys, Nameless, BadText,
		NoReceiptFolder, NotReceiptFolder, Occupied, BadStation}
	seen := map[string]bool{}
	for _, f := range faults {
		text := (&Error{Fault: f, Path: "a b", Inside: []string{"a b/c"}, Count: 2, Err: errors.New("is long")}).Error()
		if text == string(f) || seen[text] || strings.Contains(text, "--") {
			t.Errorf("%s: %q", f, text)
		}
		seen[text] = true
	}
}

// The answers of the register in order of danger, and the best decision that each leaves.
func TestJudge(t *testing.T) {
	here := register.Sighting{Station: "bench-1", When: today}
	there := register.Sighting{Station: "bench-2", When: today}
	shared := []register.SharedTube{{Barcode: "T 1", Study: "LARK-2", Shipment: "WEIR-0004"}}
	missing := &register.Settlement{State: "missing", Station: "bench-1", Why: "lost\u202e", When: today}
	compared := &register.Settlement{State: "discrepancies", Station: "bench-1", Why: "compared", When: today}
	type answer = register.Answer
	const shared1 = `barcodes that another shipment has too: "T 1" (WEIR-0004 of LARK-2)`
	for _, c := range []struct {
		ans  answer
		want Case
		best pack.Decision
		text string
	}{
		{answer{Kind: register.New}, First, "", "entered: nothing came under this number before"},
		{answer{Kind: register.New, Tubes: shared}, SharedTubes, pack.Discrepancies, shared1},
		{answer{Kind: register.New, Settled: missing}, Late, pack.Discrepancies, "this number was settled as one " +
			"that will not come on 2026-11-25 09:30:00 UTC at station bench-1 (lost\uFFFD)"},
		{answer{Kind: register.New, Settled: missing, Tubes: shared}, SharedTubes, pack.Discrepancies, shared1},
		{answer{Kind: register.Conflict, First: there}, OtherContents, pack.Rejected, "other contents came under " +
			"the number WEIR-0001 before, first entered on 2026-11-25 09:30:00 UTC at station bench-2"},
		{answer{Kind: register.Repeat, First: here, Disputed: true, Tubes: shared}, Disputed, pack.Rejected,
			"other contents came under the number WEIR-0001 since"},
		{answer{Kind: register.Rejected, Disputed: true}, Disputed, pack.Rejected, "ALARM"},
		{answer{Kind: register.Repeat, First: here, Tubes: shared}, SharedTubes, pack.Discrepancies, shared1},
		{answer{Kind: register.Repeat, First: here}, Again, "", "it counts once"},
		{answer{Kind: register.Repeat, First: here, Settled: compared}, AgainSettled, "",
			"it was settled as one with discrepancies"},
		{answer{Kind: register.Repeat, First: there, Settled: compared}, Elsewhere, pack.Discrepancies,
			"a repeat: the same shipment was first entered on 2026-11-25 09:30:00 UTC at station bench-2"},
		{answer{Kind: register.Repeat, First: there}, Elsewhere, pack.Discrepancies, "a repeat"},
		{answer{Kind: register.Repeat, First: here, Settled: missing}, Late, pack.Discrepancies, "was settled"},
		{answer{Kind: register.Rejected, First: here, Settled: missing}, RejectedCopy, "", "a good one was first"},
		{answer{Kind: register.Rejected, Settled: missing}, RejectedSettled, "",
			"entered as rejected; this number was settled"},
		{answer{Kind: register.Rejected}, RejectedAlone, "", "a good copy has not arrived yet"},
	} {
		a := judge(c.ans, "WEIR-0001", "bench-1")
		if a.Case != c.want || a.Decision() != c.best || !strings.Contains(a.Error(), c.text) {
			t.Errorf("%+v: %s, %q, %q; want %s, %q, %q", c.ans, a.Case, a.Decision(), a.Error(), c.want, c.best, c.text)
		}
	}
}

// The worst of all decides.
func TestDecision(t *testing.T) {
	of := func(ds ...pack.Decision) *Result {
		r := &Result{}
		for _, d := range ds {
			r.Shipments = append(r.Shipments, &pack.Verdict{Decision: d})
		}
		return r
	}
	for _, c := range []struct {
		r    *Result
		want pack.Decision
	}{
		{of(pack.Accepted, pack.Accepted), pack.Accepted},
		{of(pack.Accepted, pack.Discrepancies), pack.Discrepancies},
		{of(pack.NotVerified, pack.Discrepancies), pack.NotVerified},
		{of(pack.NotVerified, pack.Rejected, pack.Accepted), pack.Rejected},
	} {
		if got := c.r.Decision(); got != c.want {
			t.Errorf("%s, not %s", got, c.want)
		}
	}
	r := of(pack.Accepted)
	r.Tubes = pack.MatchTubes([]string{"T1"}, []string{"T2"})
	if got := r.Decision(); got != pack.Discrepancies {
		t.Errorf("boxes that do not agree: %s", got)
	}
	r.Unentered, r.Unwritten = errors.New("a"), errors.New("b")
	if r.Failed() != r.Unentered {
		t.Error("what failed first is not told")
	}
}

// arrived is a verdict of a shipment with a number and contents.
func arrived(shipment, bag string, decision pack.Decision, barcodes ...string) *pack.Verdict {
	parts := []pack.Part{{Name: shipment + ".tar.zst.age", Bytes: 12, SHA256: strings.Repeat("0a", 32)}}
	v := &pack.Verdict{
		Shipment: shipment, Study: "LARK-2", Site: "WEIR", Sealed: "2026-11-25", Bag: bag, Decision: decision,
		Parts: parts, Archive: pack.ArchiveDigest(parts), Recorded: barcodes,
		Checks: []pack.Check{{Name: "signature", OK: true}},
	}
	if decision != pack.Accepted {
		v.Checks = append(v.Checks, pack.Check{Name: "archive", Detail: "damaged"})
	}
	return v
}

// lastCheck returns the check that was added last.
func lastCheck(v *pack.Verdict) pack.Check { return v.Checks[len(v.Checks)-1] }

func newRegister(t *testing.T, station string) *Register {
	t.Helper()
	r, err := OpenRegister(context.Background(), filepath.Join(t.TempDir(), "intake.db"), station, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

// What the register knows makes a verdict worse, with the advice after the fact; what is
// signed by nobody and what was not read is not entered.
func TestEnter(t *testing.T) {
	j := &Job{Register: newRegister(t, "bench-1"), Now: func() time.Time { return today },
		Advise: func(err error) string {
			if a, ok := errors.AsType[*Answer](err); ok && a.Case == OtherContents {
				return "use neither"
			}
			return ""
		}}
	blind := &pack.Verdict{Shipment: "x", Decision: pack.Rejected}
	unread := &pack.Verdict{Shipment: "y", Decision: pack.NotVerified}
	r := &Result{Shipments: []*pack.Verdict{
		arrived("WEIR-0003", "b3", pack.Accepted, "T1"), blind, unread, arrived("WEIR-0001", "b1", pack.Rejected),
	}}
	if err := j.enterAll(t.Context(), r); err != nil || r.Unentered != nil {
		t.Fatal(err, r.Unentered)
	}
	if len(r.Gaps) != 1 || r.Gaps[0].From != "WEIR-0002" {
		t.Errorf("gaps %+v", r.Gaps)
	}
	c := lastCheck(r.Shipments[0])
	if c.Name != CheckRegister || !c.OK || c.Detail != "entered: nothing came under this number before" {
		t.Errorf("%+v", c)
	}
	if c := lastCheck(blind); !c.OK || !strings.HasPrefix(c.Detail, "not entered") {
		t.Errorf("%+v", c)
	}
	if len(unread.Checks) != 0 {
		t.Errorf("%+v", unread.Checks)
	}
	other := arrived("WEIR-0003", "b4", pack.Accepted, "T2")
	if err := j.enterAll(t.Context(), &Result{Shipments: []*pack.Verdict{other}}); err != nil {
		t.Fatal(err)
	}
	if other.Decision != pack.Rejected || !other.Disputed {
		t.Errorf("%s, disputed %t", other.Decision, other.Disputed)
	}
	if c := lastCheck(other); c.OK || !strings.HasSuffix(c.Detail, "at station bench-1: use neither") {
		t.Errorf("%+v", c)
	}
}

// A register that fails leaves the decisions, says so in each verdict, and keeps the
// receipts from being written.
func TestRegisterFails(t *testing.T) {
	j := &Job{Register: newRegister(t, "bench-1"), Now: func() time.Time { return today }}
	j.Register.Close()
	v := arrived("WEIR-0001", "b1", pack.Accepted)
	r := &Result{Shipments: []*pack.Verdict{v}}
	if err := j.enterAll(t.Context(), r); err != nil || r.Unentered == nil {
		t.Fatal(err, r.Unentered)
	}
	if c := lastCheck(v); v.Decision != pack.Accepted || c.Name != CheckRegister || c.OK {
		t.Errorf("%s, %+v", v.Decision, c)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := j.enterAll(ctx, r); err == nil {
		t.Error("interrupted, and went on")
	}
}

// Without a register, what is unpacked says that none was asked; what is only verified does not.
func TestNotAsked(t *testing.T) {
	j := &Job{Advise: func(err error) string {
		if errors.Is(err, ErrNotAsked) {
			return "ask one"
		}
		return ""
	}}
	good, bad := arrived("WEIR-0001", "b1", pack.Accepted), arrived("WEIR-0002", "b2", pack.Rejected)
	r := &Result{Shipments: []*pack.Verdict{good, bad}}
	before := len(good.Checks)
	if err := j.enterAll(t.Context(), r); err != nil || len(good.Checks) != before {
		t.Errorf("%v, %+v", err, good.Checks)
	}
	j.Verify.Into = "somewhere"
	if err := j.enterAll(t.Context(), r); err != nil {
		t.Fatal(err)
	}
	if c := lastCheck(good); c.Name != CheckRegister || !c.OK || c.Detail != "not tested: ask one" {
		t.Errorf("%+v", c)
	}
	if len(bad.Checks) != before+1 {
		t.Errorf("%+v", bad.Checks)
	}
}

// Advice follows the facts of the verification and the caution about a key, and nothing
// follows where there is none.
func TestAdvise(t *testing.T) {
	odd := errors.New("odd")
	v := &pack.Verdict{Caution: "uncompared", Checks: []pack.Check{
		{Name: "a", OK: true, Detail: "well"},
		{Name: "b", Detail: "no", Cause: pack.ErrUncompared},
		{Name: "c", Detail: "odd", Cause: odd},
	}}
	Advise(v, nil)
	Advise(v, func(err error) string {
		if err == odd {
			return ""
		}
		return "compare"
	})
	got := []string{v.Caution, v.Checks[0].Detail, v.Checks[1].Detail, v.Checks[2].Detail}
	if want := []string{"uncompared: compare", "well", "no; compare", "odd"}; !slices.Equal(got, want) {
		t.Errorf("%q, not %q", got, want)
	}
}

func TestOpenRegisterRefuses(t *testing.T) {
	for _, station := range []string{"", strings.Repeat("x", 101), "a\nb", "a\x7f"} {
		_, err := OpenRegister(t.Context(), filepath.Join(t.TempDir(), "r.db"), station, nil)
		if own, ok := errors.AsType[*Error](err); !ok || own.Fault != BadStation {
			t.Errorf("%q: %v", station, err)
		}
	}
}

// Paths that are no shipments do not end a batch, and the first of them is why.
func TestRunUnread(t *testing.T) {
	lay(t, "stick/WEIR-0001/shipment.json")
	var done int64
	verified := 0
	j := &Job{Workers: 2, Now: func() time.Time { return today }, Progress: func(n, all int64) { done += n*100 + all },
		Verified: func() { verified++ }, Advise: func(err error) string { return "look" }}
	r, err := j.Run(t.Context(), []string{"nowhere", "stick"})
	if err != nil {
		t.Fatal(err)
	}
	if r.Decision() != pack.NotVerified || r.WhyUnread() != r.Unread[0] || r.Unread[1] == nil {
		t.Errorf("%s, %v", r.Decision(), r.Unread)
	}
	if done != 100+2+200+2 || verified != 1 {
		t.Errorf("progress %d, verified %d", done, verified)
	}
	want := []pack.Check{{Name: "path", Detail: "there is no folder at nowhere: look"}}
	if diff := cmp.Diff(want, r.Shipments[0].Checks); diff != "" {
		t.Error(diff)
	}
	if _, err := j.Run(t.Context(), []string{"nowhere"}); !errors.As(err, new(*Error)) { // alone, it is an error
		t.Errorf("%v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := j.Run(ctx, []string{"nowhere", "stick"}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	j.Boxes = [][]string{{}, {}, {}}
	if _, err := j.Run(t.Context(), []string{"nowhere", "stick"}); err == nil {
		t.Error("three boxes for two shipments")
	}
}

// A failure that is of no path ends the work, and is told rather than the cancellation
// that it causes at the others.
func TestFirstError(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	own := errors.New("of the key")
	if err := firstError(ctx, []error{nil, nil}); err != nil {
		t.Error(err)
	}
	cancel()
	if err := firstError(ctx, []error{nil, context.Canceled, own}); err != own {
		t.Error(err)
	}
	if err := firstError(ctx, []error{nil, nil}); err != context.Canceled {
		t.Error(err)
	}
}

func newLab(t *testing.T, name string) *keys.Folder {
	t.Helper()
	f, err := keys.Create(filepath.Join(t.TempDir(), "lab"), keys.NewOptions{Role: keys.Lab, Name: name, Classic: true})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Receipts of several shipments get names of their own, each with its signature; what
// cannot be named has none, and one that was not read is passed over.
func TestReceipts(t *testing.T) {
	lab := newLab(t, "harbour-lab")
	lay(t, "receipts/")
	w, err := NewReceipts(lab, "receipts", "I. Intake", []string{"lid dented"}, 2)
	if err != nil {
		t.Fatal(err)
	}
	r := &Result{Shipments: []*pack.Verdict{
		arrived("WEIR-0001", "b1", pack.Accepted), arrived("WEIR-0001", "b1", pack.Rejected),
		{Shipment: "not a number", Decision: pack.Rejected, Checks: []pack.Check{{Name: "signature"}}},
		{Shipment: "WEIR-0003", Decision: pack.NotVerified},
	}}
	if err := w.writeAll(r, today); err != nil {
		t.Fatal(err)
	}
	first := filepath.Join("receipts", "WEIR-0001.receipt.json")
	want := []string{first, filepath.Join("receipts", "WEIR-0001.receipt-2.json")}
	if !slices.Equal(r.Receipts, want) || len(r.Unnamed) != 1 || r.Unnamed[0].Shipment != "not a number" {
		t.Fatalf("%q, %+v", r.Receipts, r.Unnamed)
	}
	for i, name := range r.Receipts {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		receipt, err := pack.ParseReceipt(text)
		if err != nil {
			t.Fatal(name, err)
		}
		got := []string{string(receipt.Decision), receipt.Laboratory, receipt.By, strings.Join(receipt.Remarks, "; ")}
		want := []string{string(r.Shipments[i].Decision), "harbour-lab", "I. Intake", "lid dented"}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q, not %q", name, got, want)
		}
		if _, err := os.Stat(name + ".sig"); err != nil {
			t.Error(err)
		}
	}
	if entries, _ := os.ReadDir("receipts"); len(entries) != 4 {
		t.Errorf("%d files", len(entries))
	}
}

// A receipt whose name was taken meanwhile is an error of its own, and leaves nothing.
func TestReceiptNotWritten(t *testing.T) {
	lab := newLab(t, "harbour-lab")
	for _, taken := range []string{"r.json", "r.json.sig"} {
		lay(t)
		w, err := NewReceipts(lab, "r.json", "I. Intake", nil, 1)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(taken, []byte("before"), 0o644); err != nil {
			t.Fatal(err)
		}
		r := &Result{Shipments: []*pack.Verdict{arrived("WEIR-0001", "b1", pack.Accepted)}}
		err = w.writeAll(r, today)
		want := "the receipt of WEIR-0001 was not written: " + taken + " already exists; it was not touched"
		if err == nil || err.Error() != want {
			t.Errorf("%v, not %q", err, want)
		}
		if data, _ := os.ReadFile(taken); string(data) != "before" || len(r.Receipts) != 0 {
			t.Errorf("%q, %q", data, r.Receipts)
		}
		if entries, _ := os.ReadDir("."); len(entries) != 1 {
			t.Errorf("%d files are left", len(entries))
		}
	}
}

// What could not be written at the end is refused at the beginning.
func TestNewReceiptsRefuses(t *testing.T) {
	lab := newLab(t, "harbour-lab")
	lay(t, "folder/", "there.json", "signed.json.sig")
	for _, c := range []struct {
		folder    *keys.Folder
		path      string
		remark    string
		shipments int
		want      Fault
	}{
		{newLab(t, ""), "r.json", "", 1, Nameless},
		{lab, "r.json", "two\nlines", 1, BadText},
		{lab, "nowhere/r.json", "", 1, NoReceiptFolder},
		{lab, "there.json", "", 1, Occupied},
		{lab, "signed.json", "", 1, Occupied},
		{lab, "there.json", "", 2, NotReceiptFolder},
		{lab, "nowhere", "", 2, NotReceiptFolder},
		{lab, "r.json", "", 1, ""},
		{lab, "folder", "", 2, ""},
	} {
		_, err := NewReceipts(c.folder, c.path, "I. Intake", []string{c.remark}, c.shipments)
		own, _ := errors.AsType[*Error](err)
		if c.want == "" && err != nil || c.want != "" && (own == nil || own.Fault != c.want) {
			t.Errorf("%s for %d: %v, not %s", c.path, c.shipments, err, c.want)
		}
	}
}

// A site's keys open nothing.
func TestKeys(t *testing.T) {
	site, err := keys.Create(filepath.Join(t.TempDir(), "site"), keys.NewOptions{Role: keys.Site, Name: "WEIR"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = Keys(site, today)
	if own, ok := errors.AsType[*Error](err); !ok || own.Fault != SiteKeys {
		t.Errorf("%v", err)
	}
	o, err := Keys(newLab(t, "harbour-lab"), today)
	if err != nil || len(o.Identities) != 1 || o.Allowed == nil || o.Now != today {
		t.Errorf("%+v, %v", o, err)
	}
}
