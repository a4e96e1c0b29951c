package deid

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"outbreath/deid/leak"
	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/edf"
)

// needed skips the test because what is not here, or fails it in CI.
func needed(t *testing.T, what string, detail []byte) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is needed\n%s", what, detail)
	}
	t.Skip(what + " is not here")
}

// A reader gives the identity that another project's reader finds in an EDF
// file, and each signal with all its samples, one a line.
type reader func(t *testing.T, file []byte) (identity string, signals []string)

func readerOf(path string, command ...string) reader {
	return func(t *testing.T, file []byte) (string, []string) {
		t.Helper()
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(command[0], append(command[1:], path)...).Output()
		if err != nil {
			t.Fatalf("%s refuses the file: %v", filepath.Base(command[0]), err)
		}
		lines := strings.Split(strings.TrimSuffix(string(out), "\n"), "\n")
		return lines[0], lines[1:]
	}
}

// edflib is EDFlib in C (Debian: libedf-dev, gcc).
func edflib(t *testing.T) reader {
	dir := t.TempDir()
	bin := filepath.Join(dir, "samples")
	if out, err := exec.Command("gcc", "-O1", "-o", bin, "testdata/samples.c", "-ledf").CombinedOutput(); err != nil {
		needed(t, "libedf-dev with gcc", out)
	}
	return readerOf(filepath.Join(dir, "a.edf"), bin)
}

// edfdecoder is the npm package edfdecoder 0.1.2.
func edfdecoder(t *testing.T) reader {
	dir := t.TempDir()
	cmd := exec.Command("npm", "install", "--no-save", "--silent", "--no-audit", "--no-fund", "--prefix", dir,
		"edfdecoder@0.1.2")
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		needed(t, "npm with edfdecoder", out)
	}
	node, err := exec.LookPath("node")
	if err != nil {
		needed(t, "node", nil)
	}
	script, err := os.ReadFile("testdata/samples.cjs")
	if err != nil {
		t.Fatal(err)
	}
	beside := filepath.Join(dir, "samples.cjs") // where node finds the package
	if err := os.WriteFile(beside, script, 0o600); err != nil {
		t.Fatal(err)
	}
	return readerOf(filepath.Join(dir, "a.edf"), node, beside)
}

// What leaves of an EDF recording is, to two readers that know nothing of each
// other or of us, the same signals sample for sample, and nobody's. The files are
// test data of MNE-Python (BSD-3-Clause) and edfio (Apache-2.0), and ours.
func TestOtherReaders(t *testing.T) {
	files, err := filepath.Glob("../../shared/external/edf/*/*.edf")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Log("the recordings of other projects are not at hand: only ours are read")
	}
	files = append(files, "")
	t.Run("edflib", func(t *testing.T) { readAlike(t, files, edflib(t), schema.Builtin()) })
	t.Run("edfdecoder", func(t *testing.T) { readAlike(t, files, edfdecoder(t), []string{"shifted"}) })
}

func readAlike(t *testing.T, files []string, read reader, plans []string) {
	samples, words := 0, 0
	for _, file := range files {
		for _, plan := range plans {
			before, after, h := rewritten(t, file, plan)
			was, _ := read(t, before)
			_, signals := read(t, onlyTechnical(t, before))
			is, same := read(t, after)
			if !slices.Equal(signals, same) {
				t.Errorf("%s, %s: other signals or samples", filepath.Base(file), plan)
			}
			for _, s := range same {
				samples += strings.Count(s, " ")
			}
			if was == is {
				t.Errorf("%s, %s: the identity is as it was", filepath.Base(file), plan)
			}
			for _, line := range []string{h.Patient, h.Recording} {
				if line = strings.TrimSpace(line); len(line) > 8 && plan != "limited" &&
					bytes.Contains(after, []byte(line)) {
					t.Errorf("%s, %s: the patient or recording line is left", filepath.Base(file), plan)
				}
			}
			for _, word := range strings.Fields(h.Patient + " " + h.Recording) {
				// Startdate is a word of the format (EDF+ 2.1.3), and "limited" keeps true dates.
				if len(word) < 3 || word == "Startdate" || plan == "limited" && strings.Count(word, "-") == 2 {
					continue
				}
				words++
				if strings.Contains(is, word) || bytes.Contains(after[:256], []byte(word)) {
					t.Errorf("%s, %s: a word of the patient or recording line is left", filepath.Base(file), plan)
				}
			}
		}
	}
	if least := 200 * len(files); samples < least || words < len(files) {
		t.Errorf("%d samples and %d words compared", samples, words)
	}
}

// rewritten puts an EDF recording ("": the invented one) into an invented
// collection and returns it as it was, as it leaves under a plan, and the
// original header.
func rewritten(t *testing.T, file, plan string) (before, after []byte, h *edf.Header) {
	t.Helper()
	start := "2014-04-29"
	if file != "" {
		var err error
		if before, err = os.ReadFile(file); err != nil {
			t.Fatal(err)
		}
		if h, err = edf.ReadHeader(bytes.NewReader(before)); err != nil {
			t.Fatal(err)
		}
		if d, known := h.StartDay(); known {
			start = d.Format("2006-01-02")
		}
	}
	dir, truth := invented(t, demo.Options{RecordingSeconds: 10, Start: day(start)})
	usePlan(t, dir, plan)
	i := slices.IndexFunc(truth.Sessions, func(s demo.Session) bool { return len(s.Recordings) > 1 })
	place := filepath.Join(dir, filepath.FromSlash(truth.Sessions[i].Recordings[1].File))
	if file != "" {
		if err := os.WriteFile(place, before, 0o600); err != nil {
			t.Fatal(err)
		}
	} else {
		var err error
		if before, err = os.ReadFile(place); err != nil {
			t.Fatal(err)
		}
		if h, err = edf.ReadHeader(bytes.NewReader(before)); err != nil {
			t.Fatal(err)
		}
	}
	d := treat(t, load(t, dir))
	var dec *leak.Decisions
	if list := findings(t, d, nil); len(list) > 0 {
		dec = decide(t, "keep", list...)
	}
	after, err := drain(d, first(t, d, "edf"), dec)
	if err != nil {
		t.Fatal(err)
	}
	return before, after, h
}
