package main

import (
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
)

// A world is one site through a history of what coordinators, officers, backups,
// attackers without the key and power cuts do.
type world struct {
	rt        *rapid.T
	t         *testing.T
	dir       string
	bin       string // "" where the program cannot be killed at a call
	site, lab string
	folders   []string // collections
	backups   []backup
	owner     map[string]string // barcode to subject
	subjects  []string
	gone      map[string]bool   // who has withdrawn, as a command with status 0 has said
	bags      map[string]string // number to what the laboratory saw under it
	sticks    int
	sealed    int
	done      []string
}

type backup struct{ of, at string }

var volumes = regexp.MustCompile(`"volume_ml": *[0-9]+`)

func (w *world) at(name string) string { return filepath.Join(w.dir, name) }

// run carries out a command with the site's keys.
func (w *world) run(in string, args ...string) int {
	status, out, errOut := runWith(in, append(args, "--keys", w.site)...)
	w.done = append(w.done, fmt.Sprintf("%s: %d", strings.Join(args, " "), status))
	if status == exitIO {
		w.rt.Fatalf("%s: exit status %d: %s%s", strings.Join(w.done, "\n"), status, out, errOut)
	}
	return status
}

// folder picks one of the collections, of which the last is the likeliest.
func (w *world) folder() string {
	return w.folders[rapid.IntRange(0, len(w.folders)-1).Draw(w.rt, "folder")]
}

func (w *world) newWeek() {
	if len(w.folders) == 3 {
		return
	}
	n := len(w.folders)
	dir := w.at(fmt.Sprintf("week-%d", n))
	o := tinyDemo
	truth, err := demo.Write(dir, o) // the same subjects each week
	if err != nil {
		w.rt.Fatal(err)
	}
	anotherWeek(w.t, dir, string(rune('A'+n)))
	if _, err := planting.Put(dir, planting.Identifier{Place: planting.InNotes, Session: truth.Sessions[0].File, Row: 1,
		Column: "mrn"}); err != nil {
		w.rt.Fatal(err)
	}
	for _, s := range truth.Sessions {
		for _, b := range s.Tubes {
			w.owner[tubesOfWeek.ReplaceAllString(b, "${1}"+string(rune('A'+n)))] = truth.Roster[s.Row]["subject_id"]
		}
	}
	for _, row := range truth.Roster {
		if id := row["subject_id"]; !slices.Contains(w.subjects, id) {
			w.subjects = append(w.subjects, id)
		}
	}
	w.folders = append(w.folders, dir)
	w.done = append(w.done, "new folder "+filepath.Base(dir))
}

// seal seals, or is killed while it does, and looks at all that lies on the stick.
func (w *world) seal() {
	w.sticks++
	stick := w.at(fmt.Sprintf("stick-%d", w.sticks))
	if err := os.Mkdir(stick, 0o755); err != nil {
		w.rt.Fatal(err)
	}
	args := []string{"seal", w.folder(), "--to", stick, "--amended", "misread"}
	switch rapid.IntRange(0, 5).Draw(w.rt, "how") {
	case 0:
	case 1:
		args = append(args, "--again", fmt.Sprint(rapid.IntRange(1, 4).Draw(w.rt, "number")))
	case 2:
		args = append(args, "--new-number", "--shipment", fmt.Sprint(rapid.IntRange(1, 6).Draw(w.rt, "number")))
	default:
		args = append(args, "--new-number")
	}
	before := len(w.gone)
	if call := rapid.SampledFrom([]string{"", "", "fsync", "renameat", "renameat2", "write"}).Draw(w.rt,
		"killed at"); call != "" && w.bin != "" {
		n := rapid.IntRange(1, 22).Draw(w.rt, "call")
		cmd := exec.Command("strace", append([]string{"-f", "-qq", "-o", "/dev/null", "-e", "trace=" + call, "-e",
			fmt.Sprintf("inject=%s:signal=KILL:when=%d", call, n), w.bin}, append(args, "--keys", w.site,
			"--quiet")...)...)
		err := cmd.Run()
		w.done = append(w.done, fmt.Sprintf("%s, killed at %s %d: %v", strings.Join(args, " "), call, n, err))
	} else {
		w.run("", args...)
	}
	if before != len(w.gone) {
		w.rt.Fatal("a seal withdraws nobody")
	}
	w.arrive(stick)
}

// arrive is the laboratory's look at a stick.
func (w *world) arrive(stick string) {
	entries, err := os.ReadDir(stick)
	if err != nil {
		w.rt.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".outbreath-") {
			continue // cut off, under its temporary name
		}
		into := stick + "-" + e.Name()
		if status, out, errOut := runHere("open", filepath.Join(stick, e.Name()), "--into", into, "--keys",
			w.lab); status != 0 {
			w.rt.Fatalf("%s\n%s is not accepted: %d: %s%s", strings.Join(w.done, "\n"), e.Name(), status, out, errOut)
		}
		w.sealed++
		manifest, err := os.ReadFile(filepath.Join(into, "manifest-sha256.txt"))
		if err != nil {
			w.rt.Fatal(err)
		}
		if bag, known := w.bags[e.Name()]; known && bag != string(manifest) {
			w.rt.Fatalf("%s\n%s came with two contents", strings.Join(w.done, "\n"), e.Name())
		}
		w.bags[e.Name()] = string(manifest)
		table, err := os.ReadFile(filepath.Join(into, "data", "tubes.csv"))
		if err != nil {
			w.rt.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(table))).ReadAll()
		if err != nil || len(rows) < 2 {
			w.rt.Fatalf("%d rows, %v", len(rows), err)
		}
		for _, row := range rows[1:] {
			if id := w.owner[row[0]]; id == "" || w.gone[id] {
				w.rt.Fatalf("%s\n%s holds a tube of a subject who has withdrawn", strings.Join(w.done, "\n"), e.Name())
			}
		}
	}
}

func (w *world) withdraw() {
	id := rapid.SampledFrom(w.subjects[1:]).Draw(w.rt, "subject") // somebody stays
	notice := w.at(fmt.Sprintf("notice-%d", len(w.done)))
	if w.run(id+"\n", "withdraw", w.folder(), "--reason", "asked in writing", "--to", notice) == exitOK {
		w.gone[id] = true
	}
}

// backUp copies a collection; restore brings one back, whole or as an attacker
// would, and perhaps an officer takes it for the present one.
func (w *world) backUp() {
	of := w.folder()
	b := backup{of, w.at(fmt.Sprintf("backup-%d", len(w.backups)))}
	copyFolder(w.t, of, b.at)
	w.backups = append(w.backups, b)
	w.done = append(w.done, "backup of "+filepath.Base(of))
}

func (w *world) restore() {
	if len(w.backups) == 0 {
		return
	}
	b := rapid.SampledFrom(w.backups).Draw(w.rt, "backup")
	copyFolder(w.t, b.at, b.of)
	w.done = append(w.done, "restored "+filepath.Base(b.at)+" of "+filepath.Base(b.of))
	for _, name := range []string{"custody.jsonl.sig", "custody.jsonl", "review.jsonl"} {
		if rapid.IntRange(0, 3).Draw(w.rt, "remove "+name) == 0 {
			os.Remove(filepath.Join(b.of, name))
			w.done = append(w.done, "removed "+name)
		}
	}
	if rapid.Bool().Draw(w.rt, "an officer agrees") {
		w.run("", "custody", b.of, "--restored", "--reason", "disk broke", "--by", "O. Officer")
	}
}

func (w *world) decide() {
	dir := w.folder()
	_, out, _ := runHere("review", dir, "--keys", w.site, "--json")
	var doc struct{ Leaks []struct{ ID string } }
	if json.Unmarshal([]byte(out), &doc) != nil || len(doc.Leaks) == 0 {
		return // refused, or the subject has withdrawn
	}
	w.run("", "review", dir, "--decide", doc.Leaks[0].ID+"="+rapid.SampledFrom([]string{"redact", "keep"}).Draw(w.rt,
		"action"), "--reason", "seen with the nurse")
}

// amend changes a volume in a record.
func (w *world) amend() {
	records, err := filepath.Glob(filepath.Join(w.folder(), "sessions", "*.json"))
	if err != nil || len(records) == 0 {
		w.rt.Fatal(err)
	}
	path := rapid.SampledFrom(records).Draw(w.rt, "record")
	data, err := os.ReadFile(path)
	if err != nil {
		w.rt.Fatal(err)
	}
	if err := os.WriteFile(path, volumes.ReplaceAll(data, fmt.Appendf(nil, `"volume_ml": %d`,
		rapid.IntRange(450, 520).Draw(w.rt, "volume"))), 0o600); err != nil {
		w.rt.Fatal(err)
	}
	w.done = append(w.done, "amended a record")
}

// TestSiteLaw: through 25 histories, or 100 with OUTBREATH_FULL=1, of seals, withdrawals, restored backups,
// rotations, copies, new folders, decisions, amendments and kills, nothing ships of
// whoever withdrew, no number comes with two contents, and every log verifies once
// an officer has taken what was restored for the present one.
func TestSiteLaw(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := makeKeys(filepath.Join(dir, "site"), filepath.Join(dir, "lab"), demo.Site); err != nil {
		t.Fatal(err)
	}
	bin := ""
	if exec.Command("strace", "-f", "-qq", "-o", "/dev/null", "-e", "trace=fsync", "-e", "inject=fsync:error=EIO",
		"true").Run() == nil {
		bin = binary(t)
	} else {
		t.Log("not tested: kills; strace may not trace here")
	}
	if all := flag.Lookup("rapid.checks"); !full() && all.Value.String() == all.DefValue {
		if err := all.Value.Set("25"); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = all.Value.Set(all.DefValue) })
	}
	histories, sealed, withdrawn := 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		histories++
		w := &world{rt: rt, t: t, dir: filepath.Join(dir, fmt.Sprint(histories)), bin: bin, owner: map[string]string{},
			gone: map[string]bool{}, bags: map[string]string{}}
		w.site, w.lab = w.at("site"), filepath.Join(dir, "lab")
		copyFolder(t, filepath.Join(dir, "site"), w.site)
		w.newWeek()
		defer os.RemoveAll(w.dir)
		acts := []func(){w.seal, w.seal, w.seal, w.withdraw, w.backUp, w.restore, w.restore, w.decide, w.amend,
			w.newWeek, func() { w.run("", "keys", "rotate") }}
		for range rapid.IntRange(6, 14).Draw(rt, "acts") {
			acts[rapid.IntRange(0, len(acts)-1).Draw(rt, "act")]()
		}
		for _, c := range w.folders {
			if w.run("", "custody", c) == exitRejected {
				if w.run("", "custody", c, "--restored", "--reason", "disk broke", "--by", "O. Officer") != exitOK {
					rt.Fatalf("%s\ncannot be restored", strings.Join(w.done, "\n"))
				}
			}
			if status := w.run("", "custody", c, "--repair"); status != exitOK {
				rt.Fatalf("%s\nis not repaired", strings.Join(w.done, "\n"))
			}
			status, out, errOut := runHere("custody", c, "--check", "--keys", w.site)
			if status != exitOK && status != exitResolve ||
				strings.Contains(out, "stopped before the last entry was signed") && status == exitOK {
				rt.Fatalf("%s\ndoes not verify: %d: %s%s", strings.Join(w.done, "\n"), status, out, errOut)
			}
		}
		sealed += w.sealed
		withdrawn += len(w.gone)
	})
	if t.Logf("%d histories, %d shipments, %d withdrawals", histories, sealed, withdrawn); sealed < histories/2 ||
		withdrawn < histories/5 {
		t.Error("too little happened: the test shows nothing")
	}
}
