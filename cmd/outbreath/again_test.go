package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A stick that was lost before an update is made again after it: the bag is the same,
// byte for byte, though another program makes it, and the label says which.
func TestAgainAfterUpdate(t *testing.T) {
	dir := t.TempDir()
	before := programName
	t.Cleanup(func() { programName = before })
	programName = func() string { return "outbreath v1.0.0 go1.26" }
	demo := filepath.Join(dir, "demo")
	if status, _, e := runHere("demo", demo); status != 0 {
		t.Fatal(e)
	}
	collection, keys := filepath.Join(demo, "collection"), filepath.Join(demo, "site-keys")
	medium := filepath.Join(dir, "stick")
	if err := os.Mkdir(medium, 0o755); err != nil {
		t.Fatal(err)
	}
	programName = func() string { return "outbreath v2.0.0 go1.27" }
	if status, o, e := runHere("seal", collection, "--to", medium, "--again", "1", "--keys", keys); status != 0 {
		t.Fatal(status, o, e)
	}
	label := func(medium string) string {
		data, err := os.ReadFile(filepath.Join(medium, "WEIR-0001", "shipment.json"))
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	if old, now := label(filepath.Join(demo, "media")), label(medium); !strings.Contains(old, "v1.0.0") ||
		!strings.Contains(now, "v2.0.0") {
		t.Errorf("labels: %s, %s", old, now)
	}
	into := filepath.Join(dir, "opened")
	if status, _, e := runHere("open", filepath.Join(medium, "WEIR-0001"), "--into", into, "--keys",
		filepath.Join(demo, "lab-keys")); status != 0 {
		t.Fatal(e)
	}
	ledger, err := os.ReadFile(filepath.Join(into, "data", "treatment.json"))
	if err != nil || !strings.Contains(string(ledger), "v1.0.0") || strings.Contains(string(ledger), "v2.0.0") {
		t.Errorf("%s, %v", ledger, err)
	}
}
