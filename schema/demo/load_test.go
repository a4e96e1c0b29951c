package demo_test

import (
	"os"
	"path/filepath"
	"testing"

	"outbreath/schema"
	"outbreath/schema/demo"

	"github.com/google/go-cmp/cmp"
)

// What is written is a collection without a query: not even a warning.
func TestLoads(t *testing.T) {
	for name, o := range map[string]demo.Options{
		"shipped": {}, "small": demo.Small(), "another seed": {Seed: 7, RecordingSeconds: 2},
		"many": {Subjects: 60, Sessions: 150, RecordingSeconds: 1, SampleHz: 250},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "collection")
			truth, err := demo.Write(dir, o)
			if err != nil {
				t.Fatal(err)
			}
			c, err := schema.Load(dir)
			if err != nil {
				t.Fatal(err)
			}
			defer c.Root.Close()
			for _, p := range c.Problems {
				t.Errorf("%+v", p)
			}
			for _, o := range c.Omitted {
				t.Errorf("%s is omitted: %s", o.File, o.Why)
			}
			if d := cmp.Diff(truth.Roster, c.Roster.Rows); d != "" {
				t.Error(d)
			}
			var want, got []string
			for _, s := range truth.Sessions {
				want = append(want, s.File, s.ID, truth.Roster[s.Row]["subject_id"])
				want = append(want, s.Tubes...)
				for _, r := range s.Recordings {
					want = append(want, r.File)
				}
			}
			for _, s := range c.Sessions {
				got = append(got, s.File, s.ID, s.Subject)
				for _, tube := range s.Tubes {
					got = append(got, tube.Barcode)
				}
				for _, r := range s.Recordings {
					got = append(got, r.File)
				}
			}
			if d := cmp.Diff(want, got); d != "" || len(got) == 0 {
				t.Error(d)
			}
		})
	}
}

// Every row of a CSV recording is numbers within the declared ranges, the
// coughing fit too.
func TestRecordingsPassTheCheck(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "collection")
	truth, err := demo.Write(dir, demo.Options{})
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, s := range truth.Sessions {
		for _, r := range s.Recordings {
			if r.Format != "csv" {
				continue
			}
			data, err := readFile(dir, r.File)
			if err != nil {
				t.Fatal(err)
			}
			c := schema.NewCSVCheck(r.File, schema.DefaultColumns(), 5)
			c.Write(data)
			c.Close()
			if p := c.Problems(); len(p) > 0 || c.Rows() != r.Seconds*r.Hz {
				t.Errorf("%s: %d rows, %+v", r.File, c.Rows(), p)
			}
			checked++
		}
	}
	if checked != 18 {
		t.Errorf("%d recordings checked", checked)
	}
}

func readFile(dir, file string) ([]byte, error) {
	return os.ReadFile(filepath.Join(dir, filepath.FromSlash(file)))
}

// Nothing suspicious is seen in what is ordinary: 30 seeds of the week that ships.
func TestNothingSuspicious(t *testing.T) {
	for seed := range uint64(30) {
		dir := filepath.Join(t.TempDir(), "collection")
		truth, err := demo.Write(dir, demo.Options{Seed: seed, RecordingSeconds: 1})
		if err != nil {
			t.Fatal(err)
		}
		c, err := schema.Load(dir)
		if err != nil {
			t.Fatal(err)
		}
		c.Root.Close()
		if last := truth.Sessions[len(truth.Sessions)-1]; len(c.Sessions) != 18 || len(c.Problems) > 0 ||
			len(c.Future(last.Started)) > 0 {
			t.Errorf("seed %d: %d sessions, %v, %v", seed, len(c.Sessions), c.Problems, c.Future(last.Started))
		}
	}
}
