package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
)

// A mutant is one change to the code that treats what leaves.
type mutant struct {
	file, plan string // of the module; of the collection
	name       string // what the program then does wrong
	old, new   string // old occurs once in file
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
// right program: the audit must find it. A mutant that refuses to seal is found by itself, and listed. The
// shipment of the unchanged program must pass the same audit, or that a mutant is found would mean nothing.
func TestMutants(t *testing.T) {
	bases := map[string]*job{}
	base := func(t *testing.T, plan string) *job {
		if bases[plan] == nil {
			bases[plan] = varied(t, plan)
			control := bases[plan].copy(t)
			control.seal(t)
			if status, screen := control.audited(t); status != 0 {
				t.Fatalf("plan %s: the unchanged program does not pass\n%s", plan, screen)
			}
		}
		return bases[plan]
	}
	var found, refused, missed atomic.Int64
	step := max(1, len(mutants)/many(3, len(mutants)))
	for i := 0; i < len(mutants); i += step {
		base(t, mutants[i].plan)
	}
	t.Run("each", func(t *testing.T) {
		for i := 0; i < len(mutants); i += step {
			m := mutants[i]
			j := bases[m.plan]
			t.Run(m.name, func(t *testing.T) {
				t.Parallel()
				j := j.copy(t)
				out, err := exec.Command(m.build(t, j.dir), "seal", j.collection, "--to", j.media, "--keys",
					j.site).CombinedOutput()
				if err != nil {
					refused.Add(1)
					t.Logf("refuses to seal: %s", out)
					return
				}
				if status, screen := j.audited(t); status != 0 {
					found.Add(1)
					return
				} else if why := survives[m.name]; why != "" {
					t.Logf("not found, because %s", why)
				} else {
					t.Errorf("the audit finds nothing\n%s", screen)
				}
				missed.Add(1)
			})
		}
	})
	t.Logf("%d found, %d refuse to seal, %d not found", found.Load(), refused.Load(), missed.Load())
	if found.Load() == 0 {
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

// survives gives the reason for each mutant and each alteration that the audit does not find.
var survives = map[string]string{
	"a figure of a recording": "how breaths are counted is not computed again: the audit lists these figures as not " +
		"tested",
	"a recording's figures less": "the figures of recordings are not computed again, so the audit cannot know which " +
		"of them can be measured",
	"a program's number as a date": "the source does not say which version made the shipment: the audit lists the " +
		"name of the program as not tested",
	"days from the session": "no plan of these collections counts the days of a date without a time",
	"a name in READ-ME-FIRST": "READ-ME-FIRST.txt lies beside the archive, and the audit compares the label and the " +
		"bag only",
	"a blank in READ-ME-FIRST": "as for a name in it",
}
