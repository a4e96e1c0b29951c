//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"outbreath/pack"
	"outbreath/pack/register/registertest"
)

// TestLabDay is a day's intake with the program itself, and asked for by the
// number of shipments: OUTBREATH_LABDAY=1000 go test ./cmd/outbreath -run LabDay -v.
// It tells shipments a second and peak memory of one call, and lets eight
// stations verify 200 of them at once against one register.
func TestLabDay(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("OUTBREATH_LABDAY"))
	if n < 1 {
		t.Skip("a long run: set OUTBREATH_LABDAY to the number of shipments")
	}
	day := newLabDay(t, n)
	for _, some := range []int{10, 100, n} {
		if some > n {
			continue
		}
		day.call(t, some)
		day.call(t, some, "--register", filepath.Join(t.TempDir(), "intake.db"))
	}
	shared := day.dirs[:min(n, 200)]
	shares := registertest.Postgres(t)()
	must(t, "verify", "--prepare", "--register", shares)
	for _, address := range []string{filepath.Join(t.TempDir(), "intake.db"), shares} {
		day.stations(t, shared, address)
	}
}

type labDay struct {
	exe  string // this test binary under the program's name
	lab  string
	dirs []string
}

// newLabDay seals n small shipments, each with tubes of its own.
func newLabDay(t *testing.T, n int) *labDay {
	o := smallDemo
	o.Sessions, o.Subjects, o.RecordingSeconds = 2, 2, 60
	j := newJob(t, o)
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	d := &labDay{exe: j.at("outbreath"), lab: j.lab}
	if err := os.Symlink(exe, d.exe); err != nil {
		t.Fatal(err)
	}
	records, err := filepath.Glob(filepath.Join(j.collection, "sessions", "*.json"))
	if err != nil || len(records) == 0 {
		t.Fatal("no records", err)
	}
	code := []byte("LK07")
	for i := range n {
		next := fmt.Appendf(nil, "L%05d", i)
		for _, r := range records {
			data, err := os.ReadFile(r)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Contains(data, code) {
				t.Fatalf("%s has no barcode to change", r)
			}
			if err := os.WriteFile(r, bytes.ReplaceAll(data, code, next), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		code = next
		args := []string{"seal", j.collection, "--to", j.media, "--keys", j.site, "--quiet", "--new-number"}
		if i > 0 {
			args = append(args, "--amended", "tubes labelled anew")
		}
		must(t, args...)
		d.dirs = append(d.dirs, filepath.Join(j.media, fmt.Sprintf("WEIR-%04d", i+1)))
	}
	return d
}

// call verifies the first some shipments in one call of the program.
func (d *labDay) call(t *testing.T, some int, more ...string) {
	t.Helper()
	c := d.command(d.dirs[:some], append(more, "--quiet")...)
	start := time.Now()
	out, err := c.CombinedOutput()
	wall := time.Since(start)
	if err != nil {
		t.Fatalf("%d shipments: %v\n%s", some, err, out)
	}
	if got := strings.Count(string(out), " accepted "); got != some {
		t.Fatalf("%d of %d shipments accepted", got, some)
	}
	usage := c.ProcessState.SysUsage().(*syscall.Rusage)
	with := "without a register"
	if len(more) > 0 {
		with = "with a register"
	}
	t.Logf("%d shipments %s: %.2f s, %.0f a second; cpu %.2f s; peak memory %d MiB", some, with, wall.Seconds(),
		float64(some)/wall.Seconds(),
		(c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds(), usage.Maxrss>>10) // kibibytes on Linux
}

func (d *labDay) command(dirs []string, more ...string) *exec.Cmd {
	return exec.Command(d.exe, slices.Concat([]string{"verify", "--keys", d.lab}, more, dirs)...)
}

// stations lets eight processes verify dirs at once: each shipment is accepted
// by one of them and a discrepancy at the others.
func (d *labDay) stations(t *testing.T, dirs []string, address string) {
	t.Helper()
	const stations = 8
	outs := make([]bytes.Buffer, stations)
	var running []*exec.Cmd
	start := time.Now()
	for i := range stations {
		c := d.command(dirs, "--json", "--quiet", "--register", address, "--station", fmt.Sprintf("station-%d", i))
		c.Stdout = &outs[i]
		c.Stderr = os.Stderr
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		running = append(running, c)
	}
	accepted := map[string]int{}
	for i, c := range running {
		c.Wait() // status 1 where it was not the first
		var doc struct{ Shipments []*pack.Verdict }
		if err := json.Unmarshal(outs[i].Bytes(), &doc); err != nil || len(doc.Shipments) != len(dirs) {
			t.Fatalf("station %d: %d verdicts, %v", i, len(doc.Shipments), err)
		}
		for _, v := range doc.Shipments {
			switch v.Decision {
			case pack.Accepted:
				accepted[v.Shipment]++
			case pack.Rejected:
				t.Errorf("station %d rejected %s", i, v.Shipment)
			}
		}
	}
	for _, dir := range dirs {
		if k := accepted[filepath.Base(dir)]; k != 1 {
			t.Errorf("%s was accepted by %d stations, want 1", filepath.Base(dir), k)
		}
	}
	t.Logf("%d stations, %d shipments: each accepted once; %.1f s", stations, len(dirs), time.Since(start).Seconds())
}
