package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema/demo"
)

// A mutant is one change to the code that treats what leaves.
type mutant struct {
	name     string // what the program then does wrong
	file     string // of the module
	old, new string // old occurs once in file
	survives string // why the audit cannot know; "" where it must know
}

// build makes the program with the change, and returns its path.
func (m mutant) build(t *testing.T, dir string) string {
	t.Helper()
	path, err := filepath.Abs(filepath.Join("..", "..", m.file))
	if err != nil {
		t.Fatal(err)
	}
	code, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(code), m.old); n != 1 {
		t.Fatalf("the code to change occurs %d times in %s: choose it anew", n, m.file)
	}
	changed, overlay, bin := filepath.Join(dir, "changed.go"), filepath.Join(dir, "overlay.json"),
		filepath.Join(dir, "mutant")
	write(t, changed, []byte(strings.Replace(string(code), m.old, m.new, 1)))
	list, err := json.Marshal(map[string]any{"Replace": map[string]string{path: changed}})
	if err != nil {
		t.Fatal(err)
	}
	write(t, overlay, list)
	out, err := exec.Command("go", "build", "-overlay", overlay, "-o", bin, "outbreath/cmd/outbreath").CombinedOutput()
	if err != nil {
		t.Fatalf("the changed program does not build: %v\n%s", err, out)
	}
	return bin
}

// TestMutants seals with a program of which one line that treats is wrong, and audits the shipment with the
// right program: the audit must find it. A mutant that refuses to seal is found by itself, and listed.
func TestMutants(t *testing.T) {
	all := mutants()
	step := max(1, len(all)/many(3, len(all)))
	base := newJob(t, demo.Options{Subjects: 24, Sessions: 36, RecordingSeconds: 5})
	vary(t, base.collection)
	found, refused, missed := 0, 0, 0
	for i := 0; i < len(all); i += step {
		m := all[i]
		t.Run(m.name, func(t *testing.T) {
			j := base.copy(t)
			out, err := exec.Command(m.build(t, j.dir), "seal", j.collection, "--to", j.media, "--keys",
				j.site).CombinedOutput()
			if err != nil {
				refused++
				t.Logf("refuses to seal: %s", firstLine(string(out)))
				return
			}
			status, screen := j.audited(t)
			switch {
			case status != 0 && m.survives != "":
				t.Errorf("is found now: remove the reason of its survival\n%s", screen)
			case status != 0:
				found++
			case m.survives != "":
				missed++
				t.Logf("not found, because %s", m.survives)
			default:
				missed++
				t.Errorf("the audit finds nothing\n%s", screen)
			}
		})
	}
	t.Logf("%d found, %d refuse to seal, %d not found", found, refused, missed)
	if found == 0 {
		t.Error("no mutant was tried")
	}
}

// copy returns a copy of the job, with keys and an empty medium.
func (j *job) copy(t *testing.T) *job {
	t.Helper()
	c := &job{dir: t.TempDir(), lab: j.lab, truth: j.truth}
	c.collection, c.site, c.media = c.at("collection"), c.at("site"), c.at("media")
	c.shipment = filepath.Join(c.media, filepath.Base(j.shipment))
	copyFolder(t, j.collection, c.collection)
	copyFolder(t, j.site, c.site)
	if err := os.Mkdir(c.media, 0o755); err != nil {
		t.Fatal(err)
	}
	return c
}

// audited audits the shipment against its collection.
func (j *job) audited(t *testing.T) (status int, screen string) {
	t.Helper()
	status, out, errOut := runHere("audit", j.shipment, "--collection", j.collection, "--keys", j.lab,
		"--site-keys", j.site)
	return status, out + errOut
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(s, "\n")
	return line
}

// vary gives the records the values at which treatments are most easily wrong: ages about 90, extreme and
// half-way heights, postal codes of small areas, times about midnight, spellings of one id, optional fields.
func vary(t *testing.T, collection string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(collection, "sessions", "*.json"))
	if err != nil || len(files) < 12 {
		t.Fatal(err, len(files))
	}
	for i, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		var record map[string]any
		if err := json.Unmarshal(data, &record); err != nil {
			t.Fatal(err)
		}
		subject := record["subject"].(map[string]any)
		subject["height_cm"] = []any{139.4, 142.5, 167.5, 172.49, 201, 177}[i%6]
		subject["weight_kg"] = []any{38, 62.5, 151, 77.49, 80, 97.5}[i%6]
		record["room_c"], record["room_kpa"] = 20.5+float64(i%4)/4, 100.5
		tube := record["tubes"].([]any)[0].(map[string]any)
		tube["conditioned_at"] = "2026-02-20T08:15:00+01:00"
		tube["cycles"] = i % 30
		if data, err = json.MarshalIndent(record, "", "  "); err != nil {
			t.Fatal(err)
		}
		write(t, path, data)
	}
}

// mutants lists the changes.
func mutants() []mutant {
	const shift, pseudonym = "deid/shift.go", "deid/pseudonym.go"
	var list []mutant
	add := func(file, name, old, new string) { list = append(list, mutant{name, file, old, new, ""}) }
	add(shift, "dates move forward", "date.AddDate(0, 0, -days)", "date.AddDate(0, 0, days)")
	add(shift, "ages of 90 in a band of five", "if age >= 90 {", "if age >= 100 {")
	add(shift, "bands begin at the age", "low := age / width * width", "low := age")
	_ = pseudonym
	_ = fmt.Sprint
	return list
}
