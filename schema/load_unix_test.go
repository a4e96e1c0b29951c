//go:build unix

package schema

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"outbreath/schema/costtest"
)

// TestLoadApart is what loadApart runs.
func TestLoadApart(t *testing.T) {
	dir := os.Getenv("OUTBREATH_TEST_LOAD")
	if dir == "" {
		t.Skip("loadApart gives it a folder")
	}
	var c *Collection
	took := costtest.Of(func() { c = load(t, dir) })
	most := peak()
	fmt.Printf("took %d units %f peak %d sessions %d problems %d\n", took, costtest.InUnits(took), most,
		len(c.Sessions), len(c.Problems))
}

// peak is the most memory that this process has held, in kilobytes: proc(5),
// VmHWM. It is 0 where there is no such file.
func peak() (kb int) {
	status, _ := os.ReadFile("/proc/self/status")
	if _, after, ok := strings.Cut(string(status), "VmHWM:"); ok {
		fmt.Sscan(after, &kb)
	}
	return kb
}

// A loading is what loading a folder came to, in a process of its own.
type loading struct {
	took               time.Duration // of the processor
	units              float64       // the same, in units of costtest
	bytes              int64         // held in memory at most
	sessions, problems int
}

func (l loading) String() string {
	return fmt.Sprintf("%d sessions, %d problems, %v of the processor (%.1f units), %d MB", l.sessions, l.problems,
		l.took, l.units, l.bytes>>20)
}

// loadApart loads dir in a process of its own.
func loadApart(t *testing.T, dir string) (l loading) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestLoadApart$")
	cmd.Env = append(os.Environ(), "OUTBREATH_TEST_LOAD="+dir)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	var kb int64
	if _, err := fmt.Sscanf(string(out), "took %d units %f peak %d sessions %d problems %d", &l.took, &l.units, &kb,
		&l.sessions, &l.problems); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	l.bytes = kb << 10
	t.Log(l)
	return l
}

// Ten times as many records take about ten times as long; how long that is, says
// BenchmarkLoad.
func TestLoadMany(t *testing.T) {
	if testing.Short() {
		t.Skip("writes 20,000 files")
	}
	const n = 20_000
	few, all := loadApart(t, many(t, n/10)), loadApart(t, many(t, n))
	if all.sessions != n || all.problems != 0 || all.bytes > 300<<20 {
		t.Errorf("%v; want %d and 0 within 300 MB", all, n)
	}
	if all.took > 30*few.took {
		t.Errorf("%v for %d records, %v for %d", few.took, n/10, all.took, n)
	}
}

// Records that no sampler writes are refused, soon and with little memory.
func TestLoadHostile(t *testing.T) {
	lots := func(entry string, size int) string { return strings.Repeat(entry+",", size/(len(entry)+1)) + entry }
	for _, c := range []struct {
		name, pointer, value string
	}{
		{"notes of 10 MB", "/notes", `"` + strings.Repeat("x ", 5<<20) + `"`},
		{"notes of 10 MB of escapes", "/notes", `"` + strings.Repeat(`\u0007`, 10<<20/6) + `"`},
		{"a session_id of 10 MB", "/session_id", `"` + strings.Repeat("7", 10<<20) + `"`},
		{"interruptions of 10 MB", "/interruptions", "[" +
			lots(`{"at": "2026-03-02T08:24:00-05:00", "cause": "", "note": ""}`, 10<<20) + "]"},
		{"tubes of 10 MB", "/tubes", "[" + lots(`{}`, 10<<20) + "]"},
		{"a number of 10 MB", "/subject/height_cm", "1" + strings.Repeat("0", 10<<20)},
		{"brackets of 10 MB", "/notes", strings.Repeat("[", 5<<20) + strings.Repeat("]", 5<<20)},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := valid(t)
			f["sessions/0002.json"] = strings.Replace(second(t, c.pointer, `"HERE"`), `"HERE"`, c.value, 1)
			if len(f["sessions/0002.json"]) < 9<<20 {
				t.Fatal("the record is not as large as it should be")
			}
			if l := loadApart(t, f.write(t)); l.sessions != 1 || l.problems == 0 || l.units > 100 || l.bytes > 200<<20 {
				t.Errorf("%v; want the record refused within 100 units and 200 MB", l)
			}
		})
	}
}

// However many of the largest records there are, only a few are held at a time.
func TestLoadManyLarge(t *testing.T) {
	f := valid(t)
	entry := `{"at": "2026-03-02T08:24:00-05:00", "cause": "", "note": ""},`
	large := strings.Replace(second(t, "/interruptions", `"HERE"`), `"HERE"`,
		"["+strings.Repeat(entry, 15<<20/len(entry))+"1]", 1)
	for i := range 20 {
		f[fmt.Sprintf("sessions/1%02d.json", i)] = large
	}
	if l := loadApart(t, f.write(t)); l.sessions != 2 || l.problems != 20 || l.units > 500 || l.bytes > 400<<20 {
		t.Errorf("%v; want 2 and 20 within 500 units and 400 MB", l)
	}
}

// The names of files come from outside; no file system here refuses these.
func TestLoadOddNames(t *testing.T) {
	dir := valid(t).write(t)
	for i, name := range []string{"\x1b[31m.json", "caf\xe9.json", "\xff\xfe.json", "a\nb.json", "\u202eb.json",
		"0003.json "} {
		text := moved(second(t, "/session_id", fmt.Sprintf(`"X%d"`, i), "/kit/unit", fmt.Sprint(100+i),
			"/tubes/0/barcode", fmt.Sprintf(`"X%d"`, i), "/recordings", "[]"), 3600*(i+1), i)
		if err := os.WriteFile(filepath.Join(dir, "sessions", name), []byte(text), 0o600); err != nil {
			t.Skipf("the file system does not take such names: %v", err)
		}
	}
	c := load(t, dir)
	if len(c.Sessions) != 7 || len(c.Problems) != 1 || c.Problems[0].Rule != "folder.record" {
		t.Errorf("%d sessions, problems %q", len(c.Sessions), c.places())
	}
}

func TestLoadUnreadable(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("nothing is unreadable for root")
	}
	for _, name := range []string{"sessions/0002.json", "recordings/trace-0002.csv"} {
		dir := valid(t).write(t)
		if err := os.Chmod(filepath.Join(dir, name), 0); err != nil {
			t.Fatal(err)
		}
		c := load(t, dir)
		if len(c.Problems) != 1 || c.Problems[0].Rule != "folder.unreadable" || c.Problems[0].Severity != Error ||
			c.Problems[0].File != "sessions/0002.json" {
			t.Errorf("%s: problems %q", name, c.places())
		}
	}
}
