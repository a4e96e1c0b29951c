//go:build unix

package pack

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"filippo.io/age"
	"golang.org/x/crypto/ssh"

	"outbreath/keys"
	"outbreath/schema/costtest"
)

// What a hostile shipment may cost the laboratory's computer.
const (
	hostilePeak  = 200 << 20 // bytes
	hostileUnits = 150       // of the processor, see costtest: about two seconds
)

// A cost is what one run of the command took, as the kernel counts it.
type cost struct {
	Name   string
	Status int
	Peak   int64 // bytes
	CPU    time.Duration
	Raw    bool // printed a control character
	Said   string
}

// Every hostile shipment goes through the real command: status 3, nothing
// written, nothing raw on the screen, and bounded memory and time.
func TestHostileCommand(t *testing.T) {
	dir := t.TempDir()
	bin := filepath.Join(dir, "outbreath")
	if out, err := exec.Command("go", "build", "-o", bin, "outbreath/cmd/outbreath").CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%v\n%s", err, out)
		}
		t.Skipf("the command cannot be built here: %v", err)
	}
	b := labBench(t, filepath.Join(dir, "keys"))
	var names []string
	add := func(name string, make func(t *testing.T) string) {
		t.Run(name, func(t *testing.T) { // so that a case can skip itself
			from := make(t)
			if err := os.Rename(from, filepath.Join(dir, fmt.Sprintf("case%d", len(names)))); err != nil {
				t.Fatal(err)
			}
			names = append(names, name)
		})
	}
	add("good", func(t *testing.T) string { return forge(t, b).write(t, b) })
	for _, c := range append(hostileCases(), largeCases()...) {
		add(c.name, func(t *testing.T) string {
			f := forge(t, b)
			c.bend(t, f)
			return f.write(t, b)
		})
	}
	for _, c := range folderCases() {
		add(c.name, func(t *testing.T) string {
			dir, old := goodAndOld(t, b)
			c.bend(t, b, dir, old)
			return dir
		})
	}
	cmd := exec.Command(os.Args[0], "-test.run=^TestHostileApart$")
	cmd.Env = append(os.Environ(), "OUTBREATH_TEST_HOSTILE="+dir)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	var costs []cost
	for line := range bytes.Lines(out) {
		var c cost
		if json.Unmarshal(line, &c) == nil {
			costs = append(costs, c)
		}
	}
	if len(costs) != len(names) || len(names) < 150 {
		t.Fatalf("%d cases, %d runs", len(names), len(costs))
	}
	var most, longest cost
	for i, c := range costs {
		c.Name = names[i]
		want := 3
		if i == 0 {
			want = 0
		}
		if c.Status != want {
			t.Errorf("%s: status %d, want %d: %s", c.Name, c.Status, want, c.Said)
		}
		if c.Peak > hostilePeak || costtest.InUnits(c.CPU) > hostileUnits {
			t.Errorf("%s: %d MB, %v of the processor (%.1f units)", c.Name, c.Peak>>20, c.CPU, costtest.InUnits(c.CPU))
		}
		if c.Raw {
			t.Errorf("%s: a control character on the screen", c.Name)
		}
		if c.Peak > most.Peak {
			most = c
		}
		if c.CPU > longest.CPU {
			longest = c
		}
	}
	t.Logf("%d hostile shipments refused; most memory %d MB (%s), longest %v (%.1f units, %s)", len(costs)-1,
		most.Peak>>20, most.Name,
		longest.CPU, costtest.InUnits(longest.CPU), longest.Name)
	left, err := os.ReadDir(filepath.Join(dir, "into"))
	if err != nil || len(left) != 1 || left[0].Name() != "case0" {
		t.Errorf("written: %v, %v", left, err)
	}
}

// TestHostileApart is what TestHostileCommand runs: a small process, because
// the kernel counts a parent's memory as its child's until the child's program
// is loaded.
func TestHostileApart(t *testing.T) {
	dir := os.Getenv("OUTBREATH_TEST_HOSTILE")
	if dir == "" {
		t.Skip("TestHostileCommand gives it a folder")
	}
	into := filepath.Join(dir, "into")
	if err := os.Mkdir(into, 0o700); err != nil {
		t.Fatal(err)
	}
	for i := 0; ; i++ {
		name := fmt.Sprintf("case%d", i)
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
			return
		}
		cmd := exec.Command("./outbreath", "open", name, "--into", filepath.Join("into", name), "--keys", "keys")
		cmd.Dir = dir
		said, _ := cmd.CombinedOutput()
		usage := cmd.ProcessState.SysUsage().(*syscall.Rusage)
		unit := int64(1024) // getrusage(2)
		if runtime.GOOS == "darwin" {
			unit = 1
		}
		raw := bytes.ContainsFunc(said, func(r rune) bool { return r < ' ' && r != '\n' || r >= 0x7f && r < 0xa0 })
		line, err := json.Marshal(cost{name, cmd.ProcessState.ExitCode(), int64(usage.Maxrss) * unit,
			cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime(), raw, strings.ToValidUTF8(string(said), "?")})
		if err != nil {
			t.Fatal(err)
		}
		fmt.Printf("%s\n", line)
	}
}

// labBench returns a bench whose laboratory is a key folder made at dir.
func labBench(t *testing.T, dir string) *bench {
	t.Helper()
	lab, err := keys.Create(dir, keys.NewOptions{Role: keys.Lab, Name: "lab"})
	if err != nil {
		t.Fatal(err)
	}
	identities, err := lab.Identities()
	if err != nil {
		t.Fatal(err)
	}
	list, err := os.Open(filepath.Join(dir, "recipient.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer list.Close()
	to, err := age.ParseRecipients(list)
	if err != nil {
		t.Fatal(err)
	}
	b := newBench(t)
	b.identity, b.to = identities[0], to[0]
	f, err := os.OpenFile(filepath.Join(dir, "allowed_signers"), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	// With options and CRLF, as an editor of another system leaves it.
	fmt.Fprintf(f, "# sites\r\n07 namespaces=\"%s,%s\",valid-after=\"20200101Z\" %s\r\n", shipmentNamespace,
		bagNamespace,
		strings.TrimSpace(string(ssh.MarshalAuthorizedKey(b.signer.PublicKey()))))
	return b
}
