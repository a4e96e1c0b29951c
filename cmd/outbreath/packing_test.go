package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/pack/site"
	"outbreath/schema/demo"
)

// TestScanStopped: at a terminal, Ctrl-C and Ctrl-D stop a packing session, at the
// scans as at the reasons, and the next run goes on after the last scan.
func TestScanStopped(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	if err := invent(at("week"), demo.Options{Subjects: 2, Sessions: 3, RecordingSeconds: 5, NoEDF: true}); err != nil {
		t.Fatal(err)
	}
	if err := makeKeys(at("site"), at("lab"), demo.Site); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(at("stick"), 0o755); err != nil {
		t.Fatal(err)
	}
	box, err := os.ReadFile(at("week.tubes"))
	if err != nil {
		t.Fatal(err)
	}
	tubes := strings.Fields(string(box))
	kept := func() (p site.Packing) {
		t.Helper()
		data, err := os.ReadFile(filepath.Join(at("week"), site.PackingName))
		if err != nil || json.Unmarshal(data, &p) != nil {
			t.Fatalf("%s: %v", data, err)
		}
		return p
	}
	const seal = "outbreath seal week --to stick --scan --keys site; echo status $?"

	d := newDesk(t, "packing", dir)
	d.run(seal)
	d.see(`scan each tube`)
	d.types(tubes[0])
	d.see(`   1  ` + tubes[0])
	d.types(tubes[1])
	d.see(`   2  ` + tubes[1])
	d.tmux("send-keys", "-t", d.name, "C-c")
	d.see(`(?m)^status 130$`)
	if p := kept(); len(p.Scanned) != 2 {
		t.Errorf("kept: %q", p.Scanned)
	}

	d.run(seal)
	d.see(`2 scans from .* saved in packing.json; the last is ` + tubes[1])
	d.tmux("send-keys", "-t", d.name, "Enter")
	d.see(`scan each tube`)
	for _, b := range tubes[2 : len(tubes)-2] {
		d.types(b)
		d.see(`\d  ` + b)
	}
	d.tmux("send-keys", "-t", d.name, "Enter")
	d.see(`Reason \(no personal details`)
	d.types("broke in the cold box")
	d.see(`(?s)(Reason \(no personal details.*){2}`)
	d.tmux("send-keys", "-t", d.name, "C-d")
	d.see(`saved in packing.json: \d+ scans and 1 reason`)
	d.see(`(?m)^status 2$`)

	d.run(seal)
	d.see(`scans from .* saved in packing.json`)
	d.tmux("send-keys", "-t", d.name, "Enter")
	d.see(`scan each tube`)
	d.tmux("send-keys", "-t", d.name, "Enter")
	d.see(`Reason \(no personal details`)
	if n := strings.Count(d.screen(), "Reason (no personal"); n != 1 {
		t.Errorf("asked %d times", n)
	}
	d.types(tubes[len(tubes)-1]) // found after all
	d.see(`that is a barcode, not a reason`)
	d.see(`(?m)^status 0$`)
	d.see(`5 of 6 are in the box; 1 discrepancy with a reason`)
	if _, err := os.Stat(filepath.Join(at("week"), site.PackingName)); err == nil {
		t.Error("the file is still there")
	}

	// last week's box
	d.run(strings.Replace(seal, "--scan", "--scan --new-number", 1))
	d.see(`scan each tube`)
	for _, b := range []string{"LK06-0001-A", "LK06-0001-B", "LK06-0002-A"} {
		d.types(b)
		d.see(`\d  ` + b)
	}
	d.tmux("send-keys", "-t", d.name, "Enter")
	d.see(`0 of these 3 tubes are in the records: wrong box`)
	d.see(`\(yes or no\)`)
	d.types("no")
	d.see(`(?m)^status 1$`)
	if _, err := os.Stat(filepath.Join(at("week"), site.PackingName)); err == nil {
		t.Error("the wrong box is kept")
	}
}
