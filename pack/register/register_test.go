package register

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"outbreath/pack/register/registertest"
)

var monday = time.Date(2026, 11, 23, 8, 0, 0, 0, time.UTC)

// arrival is the n-th shipment of an invented site.
func arrival(n int) Arrival {
	return Arrival{
		Study: "LARK-2", Site: "WEIR", Shipment: shipmentName("WEIR", n), Bag: strings.Repeat("b", 60) +
			fmt.Sprintf("%04d", n),
		Archive: strings.Repeat("a", 60) + fmt.Sprintf("%04d", n), Decision: "accepted",
		Barcodes: []string{fmt.Sprintf("LK07-%04d-A", n), fmt.Sprintf("LK07-%04d-B", n)}, Station: "bench-1",
		When: monday,
	}
}

// laws are what holds whichever the database.
var laws = []struct {
	name string
	test func(t *testing.T, address string)
}{
	{"enter", testEnter},
	{"rejected contents", testRejectedContents},
	{"later copy", testLaterCopy},
	{"overdue", testOverdue},
	{"settled", testSettled},
	{"first version", testFirstVersion},
	{"stations", testStations},
	{"killed", testKilled},
	{"opened again", testOpenedAgain},
}

func TestSQLite(t *testing.T) {
	for _, law := range laws {
		t.Run(law.name, func(t *testing.T) { law.test(t, filepath.Join(t.TempDir(), "a register?.db")) })
	}
}

func TestPostgres(t *testing.T) {
	database := registertest.Postgres(t)
	for _, law := range laws {
		t.Run(law.name, func(t *testing.T) { law.test(t, database()) })
	}
}

// prepared opens a register whose tables need not be there yet.
func prepared(ctx context.Context, address string) (*Register, error) {
	if err := Prepare(ctx, address); err != nil {
		return nil, err
	}
	return Open(ctx, address, nil)
}

func mustOpen(t testing.TB, address string) *Register {
	t.Helper()
	r, err := prepared(context.Background(), address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

func (r *Register) must(t testing.TB, a Arrival) Answer {
	t.Helper()
	ans, err := r.Enter(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	return ans
}

func (r *Register) status(t testing.TB, now time.Time, days int) *Status {
	t.Helper()
	s, err := r.Overdue(context.Background(), now, days)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func testEnter(t *testing.T, address string) {
	r := mustOpen(t, address)
	first := Sighting{"bench-1", monday}
	later := func(a Arrival) Arrival {
		a.Station, a.When = "bench-2", monday.Add(time.Hour)
		return a
	}
	other := later(arrival(1))
	other.Bag, other.Barcodes = strings.Repeat("c", 64), []string{"LK07-9999-A"}
	shared := arrival(2)
	shared.Barcodes = append(shared.Barcodes, "LK07-0001-B", "LK07-0001-B")
	reused := shared
	reused.TubesSince = monday.Add(time.Second)
	damaged := later(arrival(3))
	damaged.Bag, damaged.Barcodes, damaged.Decision = "", nil, "rejected"
	study := other
	study.Study = "WREN-5"
	for _, step := range []struct {
		what string
		a    Arrival
		want Answer
	}{
		{"new", arrival(1), Answer{Kind: New}},
		{"the same again", later(arrival(1)), Answer{Kind: Repeat, First: first}},
		{"one number in another study", study, Answer{Kind: New}},
		{"another bag", other, Answer{Kind: Conflict, First: first}},
		{"the first bag again", arrival(1), Answer{Kind: Repeat, First: first, Disputed: true}},
		{"a barcode of another shipment", shared,
			Answer{Kind: New, Tubes: []SharedTube{{"LK07-0001-B", "LARK-2", "WEIR-0001"}}}},
		{"the same when tubes are used again", reused, Answer{Kind: Repeat, First: first}},
		{"the same when they were seen since", shared, Answer{Kind: Repeat, First: first,
			Tubes: []SharedTube{{"LK07-0001-B", "LARK-2", "WEIR-0001"}}}},
		{"a damaged copy", damaged, Answer{Kind: Rejected}},
		{"a good copy after it", arrival(3), Answer{Kind: New}},
		{"a damaged copy after it", damaged, Answer{Kind: Rejected, First: first}},
	} {
		if diff := cmp.Diff(step.want, r.must(t, step.a)); diff != "" {
			t.Errorf("%s:\n%s", step.what, diff)
		}
	}
	want := []Unsettled{
		{"LARK-2", "WEIR", "WEIR-0001", "conflict", monday, "bench-1"},
		{"LARK-2", "WEIR", "WEIR-0002", "discrepancies", monday, "bench-1"},
	}
	if diff := cmp.Diff(want, r.status(t, monday, 14).Open); diff != "" {
		t.Errorf("open:\n%s", diff)
	}
	if n := r.count(t, "intake_arrival"); n != 11 {
		t.Errorf("%d arrivals noted, want 11", n)
	}
}

// testRejectedContents: contents that the site signed count against a number also when
// their records are rejected, in whatever order they come.
func testRejectedContents(t *testing.T, address string) {
	r := mustOpen(t, address)
	bad := func(n int, digit string) Arrival {
		a := arrival(n)
		a.Bag, a.Barcodes, a.Decision = strings.Repeat(digit, 64), nil, "rejected"
		return a
	}
	first := Sighting{"bench-1", monday}
	for _, step := range []struct {
		what string
		a    Arrival
		want Answer
	}{
		{"rejected first", bad(1, "c"), Answer{Kind: Rejected}},
		{"and again", bad(1, "c"), Answer{Kind: Rejected}},
		{"then a good one", arrival(1), Answer{Kind: Conflict, First: first}},
		{"and again", arrival(1), Answer{Kind: Repeat, First: first, Disputed: true}},
		{"the rejected one again", bad(1, "c"), Answer{Kind: Conflict, First: first}},
		{"good first", arrival(2), Answer{Kind: New}},
		{"then a rejected one", bad(2, "c"), Answer{Kind: Conflict, First: first}},
		{"the good one again", arrival(2), Answer{Kind: Repeat, First: first, Disputed: true}},
		{"rejected", bad(3, "c"), Answer{Kind: Rejected}},
		{"another one rejected", bad(3, "d"), Answer{Kind: Conflict, First: first}},
		{"that one again", bad(3, "d"), Answer{Kind: Rejected, First: first, Disputed: true}},
		{"rejected by an old program", bad(4, "b"), Answer{Kind: Rejected}},
	} {
		if diff := cmp.Diff(step.want, r.must(t, step.a)); diff != "" {
			t.Errorf("%s:\n%s", step.what, diff)
		}
	}
	same := bad(5, "e")
	r.must(t, same)
	same.Decision = "accepted"
	if ans := r.must(t, same); ans.Kind != New {
		t.Errorf("the same contents, accepted later: %s", ans.Kind)
	}
	s := r.status(t, monday, 14)
	for i, o := range s.Open[:min(3, len(s.Open))] {
		if o.State != "conflict" || o.Shipment != shipmentName("WEIR", i+1) {
			t.Errorf("open: %+v", o)
		}
	}
	if len(s.Open) != 4 || len(s.Gaps) != 0 || s.OK() {
		t.Errorf("open %+v, gaps %+v, ok %v", s.Open, s.Gaps, s.OK())
	}
}

func (r *Register) count(t testing.TB, table string) (n int) {
	t.Helper()
	if err := r.db.QueryRow("SELECT count(*) FROM " + table).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func testLaterCopy(t *testing.T, address string) {
	r := mustOpen(t, address)
	a := arrival(1)
	a.Decision = "discrepancies"
	r.must(t, a)
	if open := r.status(t, monday, 14).Open; len(open) != 1 || open[0].State != "discrepancies" {
		t.Errorf("open: %+v", open)
	}
	r.must(t, arrival(1))
	if open := r.status(t, monday, 14).Open; len(open) != 0 {
		t.Errorf("open: %+v", open)
	}
}

func testOverdue(t *testing.T, address string) {
	r := mustOpen(t, address)
	day := func(n int) time.Time { return monday.AddDate(0, 0, n) }
	for _, e := range []struct {
		site     string
		n, day   int
		decision string
	}{{"HOLM", 1, 0, "accepted"}, {"HOLM", 2, 9, "accepted"}, {"WEIR", 3, 1, "accepted"}, {"WEIR", 4, 2, "rejected"},
		{"WEIR", 7, 3, "accepted"}, {"WEIR", 2, 4, "accepted"}} {
		a := arrival(e.n)
		a.Site, a.Shipment, a.When, a.Decision, a.Barcodes = e.site, shipmentName(e.site, e.n), day(e.day), e.decision,
			nil
		r.must(t, a)
	}
	got := r.status(t, day(18).Add(time.Minute), 13)
	want := &Status{
		Sites: []Site{
			{"LARK-2", "HOLM", 2, "HOLM-0002", day(9), 9, false},
			{"LARK-2", "WEIR", 3, "WEIR-0007", day(4), 14, true},
		},
		Gaps: []Gap{
			{"LARK-2", "WEIR", "WEIR-0001", "WEIR-0001", 1, day(4)},
			{"LARK-2", "WEIR", "WEIR-0005", "WEIR-0006", 2, day(3)},
		},
		Open:    []Unsettled{{"LARK-2", "WEIR", "WEIR-0004", "rejected", day(2), "bench-1"}},
		Settled: []Settlement{},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if got.OK() {
		t.Error("gaps and silence are OK")
	}
}

// testSettled: what a person settled is told no longer, and again when something
// new comes under the number.
func testSettled(t *testing.T, address string) {
	r := mustOpen(t, address)
	ctx := context.Background()
	enter := func(n int, decision string) Answer {
		t.Helper()
		a := arrival(n)
		a.Decision, a.Barcodes = decision, nil
		if decision == "rejected" {
			a.Bag = ""
		}
		return r.must(t, a)
	}
	settle := func(n int, want string) {
		t.Helper()
		got, err := r.Settle(ctx, Settlement{Shipment: shipmentName("WEIR", n), Why: "the site says so",
			Station: "bench-2", When: monday})
		if diff := cmp.Diff(Settlement{"LARK-2", "WEIR", shipmentName("WEIR", n), want, "the site says so", "bench-2",
			monday}, got); err != nil || diff != "" {
			t.Errorf("%d: %v\n%s", n, err, diff)
		}
	}
	refuse := func(s Settlement, want string) {
		t.Helper()
		_, err := r.Settle(ctx, s)
		var own *Error
		if !errors.As(err, &own) || !own.Config || own.Fault == "" || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", s.Shipment, err, want)
		}
	}
	of := func(shipment string) Settlement { return Settlement{Shipment: shipment, Why: "x"} }
	expect := func(what string, gaps, open, settled []string) {
		t.Helper()
		s := r.status(t, monday, 14)
		got := [3][]string{}
		for _, g := range s.Gaps {
			got[0] = append(got[0], fmt.Sprint(g.From, " to ", g.To, ", ", g.Count))
		}
		for _, o := range s.Open {
			got[1] = append(got[1], o.Shipment+" "+o.State)
		}
		for _, o := range s.Settled {
			got[2] = append(got[2], o.Shipment+" "+o.State)
		}
		if diff := cmp.Diff([3][]string{gaps, open, settled}, got); diff != "" {
			t.Errorf("%s:\n%s", what, diff)
		}
	}

	refuse(of("WEIR-0001"), "nothing of that site and study")
	enter(2, "discrepancies")
	enter(5, "rejected")
	enter(6, "accepted")
	expect("at first", []string{"WEIR-0001 to WEIR-0001, 1", "WEIR-0003 to WEIR-0004, 2"},
		[]string{"WEIR-0002 discrepancies", "WEIR-0005 rejected"}, nil)
	refuse(of("WEIR-0007"), "no higher number")
	refuse(of("WEIR-0000"), "no higher number")
	refuse(of("WEIR-0006"), "nothing of it is open")
	refuse(of("WEIR-6"), "four digits")
	refuse(of("HOLM-0001"), "nothing of that site and study")
	refuse(Settlement{Shipment: "WEIR-0003", Study: "WREN-5", Why: "x"}, "nothing of that site and study")
	for _, why := range []string{"", "two\nlines", "\xff", strings.Repeat("a", maxWhy+1)} {
		refuse(Settlement{Shipment: "WEIR-0003", Why: why}, "the reason is empty")
	}
	settle(2, "discrepancies")
	settle(3, "missing")
	settle(5, "rejected")
	refuse(of("WEIR-0003"), "settled already")
	settled := []string{"WEIR-0002 discrepancies", "WEIR-0003 missing", "WEIR-0005 rejected"}
	expect("settled", []string{"WEIR-0001 to WEIR-0001, 1", "WEIR-0004 to WEIR-0004, 1"}, nil, settled)
	if s := r.status(t, monday, 14); s.Sites[0].Received != 2 || s.Sites[0].Highest != "WEIR-0006" {
		t.Errorf("%+v", s.Sites)
	}

	// verified once more, with the same outcome: still settled; so is a damaged copy of it
	if ans := enter(2, "discrepancies"); ans.Kind != Repeat || ans.Settled == nil || ans.Settled.Late() {
		t.Errorf("%+v", ans)
	}
	enter(2, "rejected")
	expect("verified again", []string{"WEIR-0001 to WEIR-0001, 1", "WEIR-0004 to WEIR-0004, 1"}, nil, settled)

	// what was not to come comes: a discrepancy, also when it is verified again, until it is settled once more
	if ans := enter(3, "rejected"); !ans.Settled.Late() {
		t.Errorf("%+v", ans)
	}
	expect("a damaged one came", []string{"WEIR-0001 to WEIR-0001, 1", "WEIR-0004 to WEIR-0004, 1"},
		[]string{"WEIR-0003 rejected"}, []string{"WEIR-0002 discrepancies", "WEIR-0005 rejected"})
	for _, kind := range []Kind{New, Repeat} {
		for _, n := range []int{3, 5} {
			if ans := enter(n, "accepted"); ans.Kind != kind || !ans.Settled.Late() ||
				ans.Settled.Why != "the site says so" {
				t.Errorf("%d: %+v", n, ans)
			}
		}
	}
	expect("late", []string{"WEIR-0001 to WEIR-0001, 1", "WEIR-0004 to WEIR-0004, 1"},
		[]string{"WEIR-0003 discrepancies", "WEIR-0005 discrepancies"}, []string{"WEIR-0002 discrepancies"})
	settle(3, "discrepancies")
	if ans := enter(3, "accepted"); ans.Kind != Repeat || ans.Settled.Late() {
		t.Errorf("%+v", ans)
	}
	expect("settled once more", []string{"WEIR-0001 to WEIR-0001, 1", "WEIR-0004 to WEIR-0004, 1"},
		[]string{"WEIR-0005 discrepancies"}, []string{"WEIR-0002 discrepancies"})

	// other contents under a settled number: an alarm that cannot be settled
	other := arrival(2)
	other.Bag = strings.Repeat("c", 64)
	r.must(t, other)
	expect("two contents", []string{"WEIR-0001 to WEIR-0001, 1", "WEIR-0004 to WEIR-0004, 1"},
		[]string{"WEIR-0002 conflict", "WEIR-0005 discrepancies"}, nil)
	refuse(of("WEIR-0002"), "stays an alarm")

	// a second study of the site has numbers of its own
	study := arrival(2)
	study.Study = "WREN-5"
	r.must(t, study)
	refuse(of("WEIR-0001"), "several studies")
	if _, err := r.Settle(ctx, Settlement{Study: "WREN-5", Shipment: "WEIR-0001", Why: "x", Station: "bench-1",
		When: monday}); err != nil {
		t.Error(err)
	}
	expect("the other study", []string{"WEIR-0001 to WEIR-0001, 1", "WEIR-0004 to WEIR-0004, 1"},
		[]string{"WEIR-0002 conflict", "WEIR-0005 discrepancies"}, []string{"WEIR-0001 missing"})
}

// testFirstVersion: a register that the first version made is brought up to date,
// and keeps what it holds.
func testFirstVersion(t *testing.T, address string) {
	r := mustOpen(t, address)
	r.must(t, arrival(2))
	if err := r.write(context.Background(), func(tx *sql.Tx) error {
		if _, err := tx.Exec("DROP TABLE intake_settled"); err != nil {
			return err
		}
		return r.setVersion(context.Background(), tx, 1)
	}); err != nil {
		t.Fatal(err)
	}
	r.Close()
	r = mustOpen(t, address)
	if _, err := r.Settle(context.Background(), Settlement{Shipment: "WEIR-0001", Why: "x", Station: "bench-1",
		When: monday}); err != nil {
		t.Error(err)
	}
	if ans := r.must(t, arrival(2)); ans.Kind != Repeat {
		t.Errorf("%s, want a repeat", ans.Kind)
	}
}

// testOpenedAgain: what was entered is there for who opens the register later.
func testOpenedAgain(t *testing.T, address string) {
	mustOpen(t, address).must(t, arrival(1))
	if ans := mustOpen(t, address).must(t, arrival(1)); ans.Kind != Repeat {
		t.Errorf("%s, want a repeat", ans.Kind)
	}
}

// TestAddresses: the password of a role is refused in every place, and no error
// repeats what was typed.
func TestAddresses(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text")
	if err := os.WriteFile(text, []byte(strings.Repeat("this is no database\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	foreign := filepath.Join(dir, "foreign.db")
	db, err := sql.Open("sqlite", foreign)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("CREATE TABLE t (x)"); err != nil {
		t.Fatal(err)
	}
	newer := filepath.Join(dir, "newer.db")
	mustOpen(t, newer).db.Exec("PRAGMA user_version = 99")
	for _, c := range []struct{ address, want string }{
		{"postgres://u:tide-secret@h/db", "has a password in it"},
		{"postgresql://u@h/db?password=tide-secret", "has a password in it"},
		{"POSTGRES://u:tide-secret@h/db", "has a password in it"},
		{"postgres://u@h/db?sslkey=k&sslpassword=tide-secret", "has a password in it"},
		{"host=h user=u password=tide-secret", "has a password in it"},
		{"postgres://u@h:tide-secret/db", "cannot be read"},
		{"postgres://u@h/db?sslmode=tide-secret", "cannot be used"},
		{"mysql://u:tide-secret@h/db", "neither a file nor a PostgreSQL address"},
		{"dbname=intake", "neither a file nor a PostgreSQL address"},
		{"host=192.0.2.2 dbname=intake user=intake sslmode=disable", "neither a file nor a PostgreSQL address"},
		{"postgres:intake", "neither a file nor a PostgreSQL address"},
		{"postgres:/u@h/db", "neither a file nor a PostgreSQL address"},
		{"file:intake.db", "neither a file nor a PostgreSQL address"},
		{"", "no address"},
		{filepath.Join(dir, "tide-secret", "r.db"), "folder of the register is not there"},
		{dir, "not an ordinary file"},
		{text, "not an SQLite database"},
		{foreign, "database of something else"},
		{newer, "later version"},
	} {
		r, err := Open(context.Background(), c.address, nil)
		var own *Error
		if !errors.As(err, &own) || !own.Config || own.Fault == "" || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.12s...: %v, want %q", c.address, err, c.want)
		}
		if err == nil {
			r.Close()
		} else if strings.Contains(own.Msg, "tide-secret") {
			t.Errorf("the error repeats the address: %v", err)
		}
	}
	for _, path := range []string{filepath.Join(dir, "study=lark.db"), filepath.Join(dir, "a:b.db")} { // plainly paths
		if r, err := Open(context.Background(), path, nil); err != nil {
			t.Errorf("%s: %v", filepath.Base(path), err)
		} else {
			r.Close()
		}
	}
	_, err = Open(context.Background(), "postgres://outbreath@/postgres?host="+dir, nil) // nobody listens
	var own *Error
	if !errors.As(err, &own) || own.Config || strings.Contains(err.Error(), dir) {
		t.Errorf("unreachable: %v", err)
	}
}
