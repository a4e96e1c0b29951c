package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"outbreath/keys"
	"outbreath/pack/custody"
	"outbreath/schema/demo"
)

// logged makes a collection whose signed log has n entries, one day apart, and
// returns its folder and the site's key folder.
func logged(t *testing.T, n int) (dir, site string) {
	t.Helper()
	tmp := t.TempDir()
	dir, site = filepath.Join(tmp, "week"), filepath.Join(tmp, "site")
	if err := invent(dir, smallDemo); err != nil {
		t.Fatal(err)
	}
	if err := makeKeys(site, filepath.Join(tmp, "lab"), demo.Site); err != nil {
		t.Fatal(err)
	}
	folder, err := keys.Open(site, nil)
	if err != nil {
		t.Fatal(err)
	}
	var errOut bytes.Buffer
	col, err := loadCollection(newUI(nil, nil, &errOut), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer col.Root.Close()
	j, err := openLog(newUI(nil, nil, &errOut), col, folder)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		e := custody.Entry{When: now().AddDate(0, 0, i-n), Who: "P. Packer", What: []string{custody.Sealing,
			custody.Sealed}[i%2],
			Shipment: fmt.Sprintf("%s-%04d", demo.Site, i/2+1), Why: "sealed for the laboratory"}
		if err := j.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	return dir, site
}

func TestOverdue(t *testing.T) {
	dir, site := logged(t, 40)
	status, out, _ := runHere("custody", dir, "--keys", site)
	if status != exitResolve {
		t.Errorf("status %d", status)
	}
	for _, want := range []string{
		"WEIR-0001  overdue  " + now().AddDate(0, 0, -39).Local().Format(time.DateOnly) + "  -        no receipt for " +
			"39 days: ask the laboratory by telephone",
		"WEIR-0012  overdue", "WEIR-0013  overdue", "WEIR-0014  sealed", "WEIR-0020  sealed",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
}

// TestLogChanges makes deletions, swaps, edits and truncations of one line in a
// log of 200 entries, as custody --check sees it with the site's real key: of
// every 16th line and of the last ones. pack/custody tries all of them.
func TestLogChanges(t *testing.T) {
	t.Parallel()
	dir, site := logged(t, 200)
	path := filepath.Join(dir, custodyFile)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	all := slices.Collect(bytes.Lines(data))
	check := func() (int, string) {
		status, out, errOut := runHere("custody", dir, "--check", "--keys", site, "--json")
		return status, out + errOut
	}
	// Shipments without receipts are open, which gives status 1: never 3.
	if status, out := check(); status != exitResolve || !strings.Contains(out, `"signed": 200`) {
		t.Fatalf("the good log: status %d\n%s", status, out[max(0, len(out)-500):])
	}
	tried, found := 0, 0
	change := func(what string, lines ...[]byte) {
		if err := os.WriteFile(path, bytes.Join(lines, nil), 0o600); err != nil {
			t.Fatal(err)
		}
		tried++
		if status, out := check(); status != exitRejected {
			t.Errorf("%s: status %d\n%s", what, status, out[max(0, len(out)-300):])
			return
		}
		found++
	}
	for i, line := range all {
		if i%16 != 0 && i < len(all)-3 && os.Getenv("OUTBREATH_EVERY_LINE") == "" {
			continue
		}
		change(fmt.Sprintf("line %d removed", i+1), slices.Delete(slices.Clone(all), i, i+1)...)
		change(fmt.Sprintf("cut to %d lines", i), all[:i]...)
		edited := slices.Clone(all)
		edited[i] = bytes.Replace(line, []byte("Packer"), []byte("Parker"), 1)
		change(fmt.Sprintf("line %d edited", i+1), edited...)
		if i > 0 {
			swapped := slices.Clone(all)
			swapped[i-1], swapped[i] = swapped[i], swapped[i-1]
			change(fmt.Sprintf("lines %d and %d swapped", i, i+1), swapped...)
		}
	}
	if t.Logf("%d of %d changes found", found, tried); tried < 60 {
		t.Error("too few changes were tried")
	}
}
