package deid

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema"
	"outbreath/schema/demo"
)

// Words among the samples of an EDF recording are reported, those of its annotations are
// not.
func TestSampleWords(t *testing.T) {
	dir, truth := invented(t, demo.Options{RecordingSeconds: 10})
	var file string
	for _, s := range truth.Sessions {
		for _, r := range s.Recordings {
			if strings.HasSuffix(r.File, ".edf") {
				file = r.File
			}
		}
	}
	warnings := func() (at []schema.Problem) {
		problems, err := treat(t, load(t, dir)).CheckRecordings(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range problems {
			if p.Rule == "recording.edf.words" {
				at = append(at, p)
			}
		}
		return at
	}
	if p := warnings(); len(p) > 0 {
		t.Fatalf("a clean recording: %+v", p)
	}
	path := filepath.Join(dir, filepath.FromSlash(file))
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const text = "seen by Doctor Penhallowick on the ward"
	at := 1024 + 20 // in the first signal of the first data record
	copy(data[at:], text)
	if bytes.Count(data, []byte(text)) != 1 || os.WriteFile(path, data, 0o600) != nil {
		t.Fatal("not planted")
	}
	p := warnings()
	if len(p) != 1 || p[0].File != file || p[0].Severity != schema.Warning ||
		!strings.Contains(p[0].Message, "bytes 1044 to 1083 ") || strings.Contains(p[0].Message, "Doctor") {
		t.Errorf("%+v", p)
	}
}
