package deid

import (
	"os"
	"path/filepath"
	"testing"

	"outbreath/schema"
	"outbreath/schema/demo"
)

// One curve for two sessions is found in CSV, and in EDF also when the copy
// carries another patient line; curves that differ in one byte are two.
func TestSameCurve(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "c")
	truth, err := demo.Write(dir, demo.Options{Subjects: 3, Sessions: 4, RecordingSeconds: 20, SampleHz: 5})
	if err != nil {
		t.Fatal(err)
	}
	var csv []string
	recorded := ""
	for _, s := range truth.Sessions {
		for _, r := range s.Recordings {
			if r.Format == "csv" {
				csv = append(csv, r.File)
			} else {
				recorded = r.File
			}
		}
	}
	if len(csv) < 2 || recorded == "" {
		t.Fatal("the invented collection lacks recordings")
	}
	read := func(name string) []byte {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	write := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	found := func(extra ...*recording) int {
		t.Helper()
		c, err := schema.Load(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Root.Close()
		d, err := Treat(c, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range extra {
			info, err := c.Root.Lstat(r.File)
			if err != nil {
				t.Fatal(err)
			}
			r.Size, r.ModTime = info.Size(), info.ModTime()
			d.sessions[0].recordings = append(d.sessions[0].recordings, *r)
		}
		problems, err := d.sameCurves()
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range problems {
			if p.Rule != "recording.same" || p.Severity != schema.Error {
				t.Errorf("%+v", p)
			}
		}
		return len(problems)
	}
	if n := found(); n != 0 {
		t.Errorf("%d in the untouched collection", n)
	}
	first := read(csv[0])
	write(csv[1], first)
	if n := found(); n != 1 {
		t.Errorf("%d for a copied CSV recording, want 1", n)
	}
	first[len(first)-2] ^= 1 // the last figure
	write(csv[1], first)
	if n := found(); n != 0 {
		t.Errorf("%d for curves that differ in one figure", n)
	}
	copied := read(recorded)
	copy(copied[8:], "X X X X of somebody else") // the patient line
	write("recordings/copy.edf", copied)
	twin := &recording{RecordingRef: schema.RecordingRef{File: "recordings/copy.edf", Format: "edf"}}
	if n := found(twin); n != 1 {
		t.Errorf("%d for an EDF copy with another patient line, want 1", n)
	}
	copied[len(copied)-1] ^= 1
	write("recordings/copy.edf", copied)
	if n := found(twin); n != 0 {
		t.Errorf("%d for EDF curves that differ in one bit", n)
	}
}
