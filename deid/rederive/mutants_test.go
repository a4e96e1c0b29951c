package rederive_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A mutant is a fault in the code that treats: old becomes new in a file of the module.
type mutant struct{ name, file, old, new string }

var mutants = []mutant{
	{"keys of zeros", "keys/pseudonym.go", `b := k.bytes()`, `b := [32]byte{}`},
	{"one key for all studies", "keys/pseudonym.go", `"outbreath/1/"+string(p)+"/"+study`,
		`"outbreath/1/"+string(p)+"/"+study[:0]`},
	{"one key for all purposes", "keys/pseudonym.go", `"outbreath/1/"+string(p)+"/"+study`,
		`"outbreath/1/"+string(p[:0])+"/"+study`},
	{"a key of another version", "keys/pseudonym.go", `"outbreath/1/"+string(p)`, `"outbreath/2/"+string(p)`},
	{"a hash without key", "deid/pseudonym.go", `h := hmac.New(sha256.New, key[:])`,
		`h := hmac.New(sha256.New, key[:0])`},
	{"the last bits of the hash", "deid/pseudonym.go", `EncodeToString(mac[:10])`, `EncodeToString(mac[22:])`},
	{"identifiers as typed", "deid/pseudonym.go", `mac := p.mac(p.keyFor(purpose), canonical)`,
		`mac := p.mac(p.keyFor(purpose), id)`},
	{"the purpose of subjects for all", "deid/pseudonym.go", `mac := p.mac(p.keyFor(purpose), canonical)`,
		`mac := p.mac(p.keyFor("subject"), canonical)`},
	{"another alphabet", "deid/pseudonym.go", `"0123456789ABCDEFGHJKMNPQRSTVWXYZ"`,
		`"1023456789ABCDEFGHJKMNPQRSTVWXYZ"`},
	{"one day for all", "deid/pseudonym.go", `binary.BigEndian.Uint64(mac[:8])%364`,
		`binary.BigEndian.Uint64(mac[:8])%1`},
	{"shifts within a month", "deid/pseudonym.go", `binary.BigEndian.Uint64(mac[:8])%364`,
		`binary.BigEndian.Uint64(mac[:8])%30`},
	{"shifts of 365", "deid/pseudonym.go", `Uint64(mac[:8])%364`, `Uint64(mac[:8])%365`},
	{"shifts from 0", "deid/pseudonym.go", `1 + int(binary.BigEndian.Uint64(mac[:8])%364)`,
		`int(binary.BigEndian.Uint64(mac[:8])%364)`},
	{"shifts of other bytes", "deid/pseudonym.go", `Uint64(mac[:8])`, `Uint64(mac[8:16])`},
	{"shifts of the wrong key", "deid/pseudonym.go", `p.keyFor(keys.ShiftDay)`, `p.keyFor(keys.Subject)`},
	{"dates forwards", "deid/shift.go", `date.AddDate(0, 0, -days)`, `date.AddDate(0, 0, days)`},
	{"dates by a day less", "deid/shift.go", `date.AddDate(0, 0, -days)`, `date.AddDate(0, 0, 1-days)`},
	{"dates unshifted", "deid/shift.go", `date.AddDate(0, 0, -days)`, `date.AddDate(0, 0, -0*days)`},
	{"dates in the summer unshifted", "deid/shift.go", `moved := date.AddDate(0, 0, -days)`,
		`moved := date.AddDate(0, 0, -days)
	if date.Day() > 2 {
		moved = date
	}`},
	{"the offset kept", "deid/shift.go", `rest[1 : 1+strings.IndexAny(rest[1:], "Zz+-")]`, `rest[1:]`},
	{"minutes beside hours", "deid/shift.go", `moved + "T" + rest[1:3]`, `moved + "T" + rest[1:6]`},
	{"seconds rounded down", "deid/shift.go", `int64(math.Round(s))`, `int64(math.Floor(s))`},
	{"bands around the true age", "deid/shift.go", `low := age / width * width`, `low := age - width/2`},
	{"bands of another width", "deid/treat.go", `ageBand(age, width)`, `ageBand(age, width+1)`},
	{"ages over 89", "deid/shift.go", `if age >= 90 {`, `if age >= 990 {`},
	{"years as they are", "deid/shift.go", `if ageAt(date, session) >= 89 {`, `if ageAt(date, session) >= 989 {`},
	{"ages at the wrong day", "deid/treat.go", `age := ageAt(date, day)`, `age := ageAt(date, day.AddDate(-1, 0, 0))`},
	{"a digit more of the postal code", "deid/treat.go", `prefix := string(short[:width])`,
		`prefix := string(short[:width+1])`},
	{"small regions kept", "deid/treat.go", `if zip && slices.Contains(census2000, prefix) {`, `if zip && false {`},
	{"rounded down", "deid/treat.go", `half := big.NewRat(1, 2)`, `half := big.NewRat(0, 2)`},
	{"not rounded", "deid/treat.go", `return number(coded(n.Text, treatment))`, `return number(n.Text, nil)`},
	{"extremes kept", "deid/treat.go", `if err != nil || !t.Coded {`, `if err != nil || t.Coded {`},
	{"codes as they are", "deid/treat.go", `return t.names.Code(purpose, id)`, `return id + "-X", nil`},
	{"another session's day", "deid/treat.go", `day, err := moveDay(v.day, v.shift)`,
		`day, err := moveDay(v.day, v.shift+1)`},
	{"days from another day", "deid/treat.go", `daysBetween(v.first, v.day)`,
		`daysBetween(v.first.AddDate(0, 0, -3), v.day)`},
	{"the year of another day", "deid/treat.go", `strconv.Itoa(v.Started.Year())`, `strconv.Itoa(v.Started.Year()-1)`},
	{"another number of a recording", "deid/treat.go", `strconv.Itoa(i+1) + "." + format`,
		`strconv.Itoa(i+2) + "." + format`},
	{"masks without their kind", "deid/search.go", `"[removed: " + strings.Join(cut.words, ", ") + "]"`,
		`"[removed: name]"`},
	{"masks that leave a letter", "deid/search.go", `put(text[at:cut.start], at, cut.start, false)`,
		`put(text[at:min(cut.start+1, len(text))], at, cut.start, false)`},
	{"dates in texts moved by a day", "deid/textdate.go", `t.AddDate(0, 0, -days), err == nil && near(t)`,
		`t.AddDate(0, 0, -1), err == nil && near(t)`},
	{"the true date of EDF", "deid/edf.go", `day.AddDate(0, 0, -r.shift)`, `day`},
	{"the EDF patient as it is", "schema/edf/identity.go", `h.Patient = code + unknown`,
		`h.Patient = strings.TrimSpace(h.Patient + " ")`},
	{"the EDF recorder as it is", "schema/edf/identity.go", `h.Recording = "Startdate " + day + unknown`,
		`h.Recording = "Startdate " + day + " X X recorder"`},
	{"the EDF reserved field as it is", "schema/edf/identity.go", `h.Reserved = h.flag()`,
		`h.Reserved = h.flag() + " x"`},
	{"reserved fields of signals", "schema/edf/identity.go", `h.Signals[i].Reserved = ""`,
		`h.Signals[i].Reserved = "x"`},
	{"EDF samples from another place", "deid/edf.go", `e.measure(e.record)`, `e.measure(e.record)
	e.record[0] ^= 1`},
	{"EDF masks that are too short", "deid/search.go", `strings.Repeat("X", cut.end-cut.start)`,
		`text[cut.start:cut.start+1] + strings.Repeat("X", cut.end-cut.start-1)`},
	{"tubes of the source", "deid/draft.go", `VolumeML: value(t, "volume_ml")`, `VolumeML: value(t, "barcode")`},
	{"tubes in another order", "deid/box.go", `cmp.Compare(a.Barcode, b.Barcode), cmp.Compare(a.Session, b.Session)`,
		`cmp.Compare(b.Barcode, a.Barcode), cmp.Compare(a.Session, b.Session)`},
	{"another half of the holding time", "deid/handling.go", `newest.Sub(at) > d.halfHolding()`,
		`newest.Sub(at) > d.halfHolding()/1000`},
	{"counts by hand", "deid/ledger.go", `d.treater.values[i].Load()}`, `d.treater.values[i].Load() + 1}`},
	{"the plan under another name", "deid/ledger.go", `Plan: d.c.Plan.Name`, `Plan: d.c.Plan.Name + " "`},
	{"descriptions of a study's own plan", "schema/plan.go", `outgoing(s, builtin)`, `outgoing(s, true)`},
	{"another pattern of bands", "schema/outgoing.go", `^([0-9]{1,2}-[0-9]{1,2}|90\+)$`,
		`^([0-9]{1,3}-[0-9]{1,3}|90\+)$`},
}

// Each fault in the code that treats is found. OUTBREATH_FULL=1 makes them all; by itself
// the test only looks whether each can still be made.
func TestMutants(t *testing.T) {
	if len(mutants) < 50 {
		t.Fatal("too few mutants")
	}
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	full := os.Getenv("OUTBREATH_FULL") == "1"
	for _, m := range mutants {
		t.Run(m.name, func(t *testing.T) {
			path := filepath.Join(root, m.file)
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if strings.Count(string(data), m.old) < 1 || m.old == m.new {
				t.Fatalf("%s does not hold what the mutant changes", m.file)
			}
			if !full {
				return
			}
			dir := t.TempDir()
			changed, overlay := filepath.Join(dir, "mutant.go"), filepath.Join(dir, "overlay.json")
			list, err := json.Marshal(map[string]any{"Replace": map[string]string{path: changed}})
			if err != nil {
				t.Fatal(err)
			}
			for name, data := range map[string][]byte{changed: []byte(strings.Replace(string(data), m.old, m.new, 1)),
				overlay: list} {
				if err := os.WriteFile(name, data, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			out, err := exec.Command("go", "test", "-vet=off", "-overlay", overlay, "-run",
				"^(TestPlans|TestOwnPlans|TestTexts|TestPlanted|TestExtremes|TestLateAxis|TestTextsOfEDF)$",
				".").CombinedOutput()
			switch {
			case err == nil:
				t.Error("is not found")
			case strings.Contains(string(out), "[build failed]"), strings.Contains(string(out), "[setup failed]"):
				t.Errorf("cannot be built: %s", out)
			case strings.Contains(string(out), "after treatment this field does not fit the outgoing schema"):
				t.Log("the site's own proof refuses it; it never leaves")
			case !strings.Contains(string(out), "differs: "):
				t.Errorf("something else than the comparison found it: %.400s", out)
			}
		})
	}
}
