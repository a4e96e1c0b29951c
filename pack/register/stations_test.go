package register

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"testing"
	"time"
)

// Helper processes of this test binary are told by the environment what to do.
func TestMain(m *testing.M) {
	switch os.Getenv("REGISTER_HELPER") {
	case "station":
		station()
	case "half":
		half()
	default:
		os.Exit(m.Run())
	}
}

const (
	stations   = 8
	shipments  = 200
	lost       = 77  // arrives nowhere
	conflicted = 120 // station-3 has another bag under this number
)

// station opens the register, waits for the end of standard input, enters all
// shipments and prints what it was told of each.
func station() {
	ctx := context.Background()
	r, err := prepared(ctx, os.Getenv("REGISTER_ADDRESS"))
	fail(err)
	fmt.Println("ready")
	io.Copy(io.Discard, os.Stdin)
	name := os.Getenv("REGISTER_STATION")
	told := map[int]Answer{}
	for n := 1; n <= shipments+1; n++ {
		if n == lost {
			continue
		}
		a := arrival(n)
		a.Station = name
		if n == conflicted && name == "station-3" {
			a.Bag = "another bag"
		}
		told[n], err = r.Enter(ctx, a)
		fail(err)
	}
	fail(json.NewEncoder(os.Stdout).Encode(told))
	fail(r.Close())
}

// half enters a shipment and stops without end before the transaction is
// committed.
func half() {
	ctx := context.Background()
	r, err := prepared(ctx, os.Getenv("REGISTER_ADDRESS"))
	fail(err)
	fail(r.write(ctx, func(tx *sql.Tx) error {
		if _, err := enter(ctx, tx, 1, arrival(1)); err != nil {
			return err
		}
		fmt.Println("half")
		time.Sleep(time.Hour)
		return nil
	}))
}

func fail(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func helper(t *testing.T, what, address, name string) (*exec.Cmd, *bufio.Reader) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(exe)
	c.Env = append(os.Environ(), "REGISTER_HELPER="+what, "REGISTER_ADDRESS="+address, "REGISTER_STATION="+name)
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	return c, bufio.NewReader(out)
}

// testStations: eight processes enter the same 200 shipments at once, into a
// register that none of them finds made. Each shipment is new to one of them;
// the planted conflict and the gap are found.
func testStations(t *testing.T, address string) {
	answers := make([]map[int]Answer, stations)
	var (
		running []func() error
		gates   []io.Closer
	)
	for i := range stations {
		c, out := helper(t, "station", address, fmt.Sprintf("station-%d", i))
		in, err := c.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		if line, err := out.ReadString('\n'); line != "ready\n" {
			t.Fatalf("station %d is not ready: %q, %v", i, line, err)
		}
		gates = append(gates, in)
		running = append(running, func() error {
			if err := json.NewDecoder(out).Decode(&answers[i]); err != nil {
				return err
			}
			return c.Wait()
		})
	}
	for _, gate := range gates {
		gate.Close() // all of them start
	}
	finish(t, running)
	r := mustOpen(t, address)
	for n := 1; n <= shipments+1; n++ {
		kinds := map[Kind]int{}
		for _, told := range answers {
			if ans, ok := told[n]; ok {
				kinds[ans.Kind]++
			}
		}
		want := map[Kind]int{New: 1, Repeat: stations - 1}
		switch {
		case n == lost:
			want = map[Kind]int{}
		case n == conflicted && kinds[Conflict] == 1:
			want = map[Kind]int{New: 1, Repeat: stations - 2, Conflict: 1}
		case n == conflicted: // station-3 was first, and all the others disagree
			want = map[Kind]int{New: 1, Conflict: stations - 1}
		}
		if fmt.Sprint(kinds) != fmt.Sprint(want) {
			t.Errorf("shipment %d: %v, want %v", n, kinds, want)
		}
	}
	s := r.status(t, monday, 14)
	if len(s.Gaps) != 1 || s.Gaps[0].From != shipmentName("WEIR", lost) || s.Gaps[0].Count != 1 {
		t.Errorf("gaps: %+v", s.Gaps)
	}
	if len(s.Open) != 1 || s.Open[0].Shipment != shipmentName("WEIR", conflicted) || s.Open[0].State != "conflict" {
		t.Errorf("open: %+v", s.Open)
	}
	if n := r.count(t, "intake_shipment"); n != shipments {
		t.Errorf("%d shipments received, want %d", n, shipments)
	}
	if n := r.count(t, "intake_tube"); n != 2*shipments {
		t.Errorf("%d tubes, want %d", n, 2*shipments)
	}
	if n := r.count(t, "intake_arrival"); n != stations*shipments {
		t.Errorf("%d arrivals, want %d", n, stations*shipments)
	}
}

func finish(t *testing.T, running []func() error) {
	t.Helper()
	for i, wait := range running {
		if err := wait(); err != nil {
			t.Errorf("station %d: %v", i, err)
		}
	}
}

// testKilled: of a process that is killed between its statements nothing is
// left, and nobody waits for it.
func testKilled(t *testing.T, address string) {
	c, out := helper(t, "half", address, "")
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := out.ReadString('\n'); line != "half\n" {
		t.Fatalf("the helper did not come half way: %q, %v", line, err)
	}
	if err := c.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	c.Wait()
	r := mustOpen(t, address)
	for _, table := range []string{"intake_shipment", "intake_tube", "intake_arrival"} {
		if n := r.count(t, table); n != 0 {
			t.Errorf("%s holds %d rows of the killed process", table, n)
		}
	}
	if ans := r.must(t, arrival(1)); ans.Kind != New {
		t.Errorf("after the kill: %s, want new", ans.Kind)
	}
}
