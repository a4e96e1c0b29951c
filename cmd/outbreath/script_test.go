package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"outbreath/schema/demo"
	"outbreath/schema/demo/planting"
	"outbreath/schema/sheet"
)

func TestMain(m *testing.M) {
	testscript.Main(suite{m}, map[string]func(){"outbreath": main})
}

// TestScripts runs testdata/script: what a person types, and all they see.
//
// Commands of our own: "status N prog args..." wants exactly that exit status;
// "invent DIR" writes a small invented collection, and DIR.tubes; "plant WHAT DIR" hides one of
// its roster values in it; "flip FILE AT" changes one byte; "sitekeys" makes the
// key folders site and lab that trust each other;
// "workbook CSV XLSX" makes a workbook of a table; "findings DIR redact"
// decides on all that is open in DIR.
func TestScripts(t *testing.T) {
	t.Parallel()
	var scripts sync.Map // folders of the scripts' folders
	t.Cleanup(func() {   // which testscript leaves behind, empty, when not all scripts run
		scripts.Range(func(dir, _ any) bool { os.Remove(dir.(string)); return true })
	})
	testscript.Run(t, testscript.Params{
		Dir:                 "../../testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(env *testscript.Env) error {
			scripts.Store(filepath.Dir(env.WorkDir), nil)
			env.Setenv("HOME", "/no-home")
			env.Setenv("XDG_CONFIG_HOME", "/no-home/config")
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"status":   scriptStatus,
			"invent":   scriptInvent,
			"workbook": scriptWorkbook,
			"plant":    scriptPlant,
			"flip":     scriptFlip,
			"sitekeys": scriptSiteKeys,
			"findings": scriptFindings,
		},
	})
}

func scriptStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N prog args...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	if exit := new(exec.ExitError); errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

// smallDemo is a collection that a test can afford to make again and again.
var smallDemo = demo.Options{Seed: 7, Subjects: 3, Sessions: 4, RecordingSeconds: 360, SampleHz: 5,
	Start: time.Now().AddDate(0, 0, -10)}

func scriptInvent(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 || len(args) > 2 {
		ts.Fatalf("usage: invent DIR [SESSIONS]")
	}
	o := smallDemo
	if len(args) == 2 {
		var err error
		o.Sessions, err = strconv.Atoi(args[1])
		ts.Check(err)
	}
	ts.Check(invent(ts.MkAbs(args[0]), o))
}

// scriptWorkbook writes a workbook of one sheet, all cells text, of a CSV file with semicolons.
func scriptWorkbook(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: workbook CSV XLSX")
	}
	r := csv.NewReader(strings.NewReader(ts.ReadFile(args[0])))
	r.Comma = ';'
	lines, err := r.ReadAll()
	ts.Check(err)
	s := sheet.Sheet{Name: "week"}
	for _, heading := range lines[0] {
		s.Columns = append(s.Columns, sheet.Column{Heading: heading})
	}
	for _, line := range lines[1:] {
		var row []sheet.Cell
		for _, text := range line {
			row = append(row, sheet.Cell{Kind: sheet.Text, Text: text})
		}
		s.Rows = append(s.Rows, row)
	}
	var b bytes.Buffer
	ts.Check(sheet.Write(&b, sheet.Book{Sheets: []sheet.Sheet{s}}))
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), b.Bytes(), 0o600))
}

// invent writes an invented collection to dir, and the barcodes of its tubes,
// as a scanner types them, to dir.tubes.
func invent(dir string, o demo.Options) error {
	truth, err := demo.Write(dir, o)
	if err != nil {
		return err
	}
	var box strings.Builder
	for _, s := range truth.Sessions {
		for _, b := range s.Tubes {
			fmt.Fprintf(&box, "%s\r\n", b)
		}
	}
	return os.WriteFile(dir+".tubes", []byte(box.String()), 0o644)
}

func scriptFlip(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: flip FILE AT")
	}
	at, err := strconv.Atoi(args[1])
	ts.Check(err)
	name := ts.MkAbs(args[0])
	data, err := os.ReadFile(name)
	ts.Check(err)
	if at < 0 {
		at += len(data)
	}
	data[at] ^= 0x04
	ts.Check(os.WriteFile(name, data, 0o644))
}

func scriptSiteKeys(ts *testscript.TestScript, neg bool, args []string) {
	site, lab := ts.MkAbs("site"), ts.MkAbs("lab")
	ts.Check(makeKeys(site, lab, demo.Site))
}

// makeKeys makes a site's and a laboratory's key folder that trust each other.
func makeKeys(site, lab, code string) error {
	for _, args := range [][]string{
		{"keys", "new", "--role", "site", "--name", code, "--no-passphrase", "--keys", site},
		{"keys", "new", "--role", "lab", "--name", "harbour-lab", "--no-passphrase", "--keys", lab},
		{"keys", "trust", filepath.Join(lab, "public-keys.txt"), "--keys", site},
		{"keys", "trust", filepath.Join(site, "public-keys.txt"), "--keys", lab},
	} {
		if status, _, errOut := runHere(args...); status != 0 {
			return fmt.Errorf("%s: exit status %d: %s", strings.Join(args, " "), status, errOut)
		}
	}
	return nil
}

// runHere carries out one command line in this process.
func runHere(args ...string) (status int, out, errOut string) {
	var o, e strings.Builder
	status = run(context.Background(), args, strings.NewReader(""), &o, &e)
	return status, o.String(), e.String()
}

// plantings are the places in which "plant" hides a roster value.
var plantings = map[string]planting.Identifier{
	"notes":          {Place: planting.InNotes, Row: 1, Column: "family_name"},
	"notes-number":   {Place: planting.InNotes, Row: 1, Column: "mrn"},
	"file-name":      {Place: planting.InFileName, Row: 1, Column: "family_name"},
	"edf-header":     {Place: planting.InTransducer, Row: 1, Column: "mrn"},
	"edf-annotation": {Place: planting.InAnnotation, Row: 1, Column: "phone"},
	"kept-field":     {Place: planting.InKeptField, Row: 1, Column: "mrn"},
}

func scriptPlant(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: plant WHAT DIR")
	}
	p, ok := plantings[args[0]]
	if !ok {
		ts.Fatalf("plant: no such place: %s", args[0])
	}
	dir := ts.MkAbs(args[1])
	var err error
	if p.Session, err = sessionFor(p.Place); err != nil {
		ts.Fatalf("%v", err)
	}
	_, err = planting.Put(dir, p)
	ts.Check(err)
}

// sessionFor picks a session of smallDemo that has a recording of the kind the
// place needs.
func sessionFor(place planting.Place) (string, error) {
	dir, err := os.MkdirTemp("", "outbreath-test-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(dir)
	truth, err := demo.Write(filepath.Join(dir, "c"), smallDemo)
	if err != nil {
		return "", err
	}
	wantEDF := place == planting.InTransducer || place == planting.InAnnotation
	for _, s := range truth.Sessions {
		for _, r := range s.Recordings {
			if (r.Format == "edf") == wantEDF {
				return s.File, nil
			}
		}
	}
	return "", errors.New("the invented collection has no such recording")
}

func scriptFindings(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 || args[1] != "redact" {
		ts.Fatalf("usage: findings DIR redact")
	}
	dir, site := ts.MkAbs(args[0]), ts.MkAbs("site")
	_, out, _ := runHere("review", dir, "--keys", site, "--json")
	var doc struct {
		Leaks []struct{ ID, Decision string }
	}
	ts.Check(json.Unmarshal([]byte(out), &doc))
	if len(doc.Leaks) == 0 {
		ts.Fatalf("findings: there are none")
	}
	line := []string{"review", dir, "--keys", site, "--by", "the test"}
	for _, l := range doc.Leaks {
		line = append(line, "--decide", l.ID+"="+args[1])
	}
	if status, _, errOut := runHere(line...); status != 0 {
		ts.Fatalf("review: exit status %d: %s", status, errOut)
	}
}
