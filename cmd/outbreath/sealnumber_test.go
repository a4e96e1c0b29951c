package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"outbreath/pack/custody"
	"outbreath/schema/demo"
)

// TestAskedOnSealing: at a terminal, seal offers another copy of what left before, and
// asks why a record was amended; a word that may not stay is asked for again.
func TestAskedOnSealing(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	if err := invent(at("week"), demo.Options{Subjects: 2, Sessions: 3, RecordingSeconds: 5, NoEDF: true}); err != nil {
		t.Fatal(err)
	}
	if err := makeKeys(at("site"), at("lab"), demo.Site); err != nil {
		t.Fatal(err)
	}
	for _, stick := range []string{"first", "second", "third"} {
		if err := os.Mkdir(at(stick), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	must(t, "seal", at("week"), "--to", at("first"), "--keys", at("site"))

	d := newDesk(t, "sealing", dir)
	d.run("outbreath seal week --to second --keys site; echo status $?")
	d.see(`WEIR-0001 of [-0-9]+ holds 3 sessions of this collection already\.`)
	d.see(`Make another copy of WEIR-0001\? \(yes or no\)`) // what is typed before is no answer
	d.types("no")
	d.see(`nothing was sealed`)
	d.see(`(?m)^status 2$`)
	d.run("clear; outbreath seal week --to second --keys site; echo status $?")
	d.see(`Make another copy of WEIR-0001\? \(yes or no\)`)
	d.types("yes")
	d.see(`(?m)^status 0$`)
	if _, err := os.Stat(at("second/WEIR-0001/shipment.json")); err != nil {
		t.Error(err)
	}

	records, err := filepath.Glob(at("week/sessions/*.json"))
	if err != nil || len(records) == 0 {
		t.Fatal(records, err)
	}
	text, err := os.ReadFile(records[0])
	if err != nil {
		t.Fatal(err)
	}
	write(t, records[0], regexp.MustCompile(`"volume_ml": [0-9]*`).ReplaceAll(text, []byte(`"volume_ml": 333`)))
	d.run("clear; outbreath seal week --to third --new-number --keys site; echo status $?")
	d.see(`1 record was changed since it was sealed`)
	d.types("born 1961-02-03")
	d.see(`the reason `)
	d.types("a slip of the pen")
	d.see(`(?m)^status 0$`)
	log, err := os.ReadFile(at("week/" + custodyFile))
	if err != nil {
		t.Fatal(err)
	}
	var amended, sealed int
	for line := range strings.Lines(string(log)) {
		var e custody.Entry
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatal(err)
		}
		if e.What == "amended" && e.Why == "a slip of the pen" {
			amended++
		}
		if e.What == custody.Sealed {
			sealed++
		}
	}
	if amended != 1 || sealed != 3 {
		t.Errorf("%d entries about the amendment, %d about shipments", amended, sealed)
	}
}
