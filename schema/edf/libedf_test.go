package edf

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// judge compiles testdata/judge.c, a few lines on EDFlib (Debian: libedf-dev,
// gcc), and returns a function that gives what EDFlib finds in a file; false if
// EDFlib refuses it.
func judge(t *testing.T) func(file []byte) (string, bool) {
	t.Helper()
	dir := t.TempDir()
	bin := filepath.Join(dir, "judge")
	if out, err := exec.Command("gcc", "-O1", "-o", bin, "testdata/judge.c", "-ledf").CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("gcc and libedf-dev are needed: %v\n%s", err, out)
		}
		t.Skip("gcc or libedf-dev is not here")
	}
	path := filepath.Join(dir, "a.edf")
	return func(file []byte) (string, bool) {
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(bin, path).Output()
		return string(out), err == nil
	}
}

func TestEDFlibReadsWhatWeWrite(t *testing.T) {
	ask := judge(t)
	h := specHeader()
	file := specFile(t, h, NewTAL("+2.5", "1.5", "cough", "Ärger"), NewTAL("+2.75", "", "end"))
	got, ok := ask(file)
	sums := make([]int, 3)
	for rec := range h.Records {
		at := 1024 + rec*380
		for i, s := range h.Signals {
			for k := range s.Samples {
				sums[i] += int(int16(uint16(file[at+2*k]) | uint16(file[at+2*k+1])<<8))
			}
			at += 2 * s.Samples
		}
	}
	want := strings.Join([]string{
		"type 1",
		"patient |MCH-0234567|Female|02 may 1951|Haagse Harry|" + pad("", 80-len(specPatient)-1),
		"recording |PSG-1234/2002|NN|Telemetry03|" + pad("", 80-len(specRecording)-1),
		"start 2002-03-02 14:05:59",
		"records 3",
		"signal " + pad("CO2 airway", 16) + "|" + pad("infrared cell", 80) + "|kPa     |" + pad("LP:10Hz", 80) +
			fmt.Sprintf("|-1|15.5|-2048|2047|100 sum %d left 0", sums[0]),
		"signal " + pad("Pressure mouth", 16) + "|" + pad("", 80) + "|Pa      |" + pad("", 80) +
			fmt.Sprintf("|500|-500|-32768|32767|50 sum %d left 0", sums[2]),
		"annotation 25000000|1.5|cough",
		"annotation 25000000|1.5|Ärger",
		"annotation 27500000||end",
		"",
	}, "\n")
	if !ok || got != want {
		t.Errorf("EDFlib reads\n%s\nwant\n%s", got, want)
	}
}

// An anonymised file is still a file to EDFlib, with the same signals and
// annotations and without the identity.
func TestEDFlibReadsWhatWeAnonymise(t *testing.T) {
	ask := judge(t)
	files := map[string][]byte{"ours": specFile(t, specHeader(), NewTAL("+2.5", "1.5", "cough"))}
	plain := specHeader() // EDFlib does not read EDF+D
	plain.Reserved, plain.Signals = "", append(plain.Signals[:1:1], plain.Signals[2])
	files["ours, plain"] = specFile(t, plain)
	if names, _ := filepath.Glob(shared + "/*/*.edf"); len(names) > 0 {
		for name, b := range sampleFiles(t) {
			files[name] = b
		}
	}
	body := func(s string) string { return s[strings.Index(s, "records "):] }
	for name, b := range files {
		before, ok := ask(b)
		if !ok {
			t.Errorf("%s: EDFlib refuses the original: %s", name, before)
			continue
		}
		for _, tt := range []struct {
			change func(*Header) error
			start  string
		}{
			{func(h *Header) error { return h.Anonymise(code, day(2019, time.December, 31)) }, "start 2019-12-31 "},
			{func(h *Header) error { return h.Anonymise(code, day(1985, time.January, 1)) }, "start 1985-01-01 "},
			{func(h *Header) error { return h.DropDate(code) }, "start 1985-01-01 00:00:00"},
		} {
			h, err := ReadHeader(bytes.NewReader(b))
			if err != nil {
				t.Fatal(err)
			}
			if err := tt.change(h); err != nil {
				t.Fatal(err)
			}
			after, ok := ask(append(h.Encode(), b[h.HeaderSize():]...))
			if !ok || body(after) != body(before) || !strings.Contains(after, tt.start) ||
				!strings.Contains(after, code) {
				t.Errorf("%s: EDFlib says\n%.600s\nof the original\n%.600s", name, after, before)
			}
			for _, old := range []string{"Haagse", "MCH", "1951", "Female", "Telemetry", "sinewave", "12.05.48"} {
				if strings.Contains(after[:strings.Index(after, "records ")], old) {
					t.Errorf("%s: %q is left", name, old)
				}
			}
		}
	}
}

// What we accept and anonymise, EDFlib accepts: we are at least as strict, but
// for the identity fields, which we replace without asking for their grammar.
func TestNothingPassesThatEDFlibRefuses(t *testing.T) {
	ask := judge(t)
	good := specFile(t, specHeader(), NewTAL("+2.5", "1.5", "cough", "mask"), NewTAL("+2.75", "", "end"))
	accepted, refused := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		b := bytes.Clone(good)
		for range rapid.IntRange(1, 2).Draw(rt, "changes") {
			at := rapid.IntRange(0, 1023).Draw(rt, "at")
			if rapid.Bool().Draw(rt, "in an annotation") {
				at = 1024 + 380*rapid.IntRange(0, 2).Draw(rt, "record") + 200 +
					rapid.IntRange(0, 79).Draw(rt, "byte of it")
			}
			if at >= 244 && at < 252 {
				continue // EDFlib leaves no room for a rounded duration, see walk.tick
			}
			b[at] = rapid.SampledFrom([]byte(" 0123456789+-.eEyAC\x00\x14\x15\xc3")).Draw(rt, "byte")
		}
		h, ok := weAccept(b)
		if !ok {
			refused++
			return
		}
		accepted++
		if err := h.Anonymise(code, day(2019, 12, 31)); err != nil {
			rt.Fatal(err)
		}
		if out, ok := ask(append(h.Encode(), b[h.HeaderSize():]...)); !ok {
			rt.Fatalf("EDFlib refuses what we accept: %s", out)
		}
	})
	if accepted == 0 || refused == 0 {
		t.Errorf("%d accepted, %d refused: the test shows nothing", accepted, refused)
	}
}

// weAccept takes a file through all the checks.
func weAccept(b []byte) (*Header, bool) {
	h, err := ReadHeader(bytes.NewReader(b))
	if err != nil || h.Check(int64(len(b))) != nil {
		return nil, false
	}
	return h, WalkAnnotations(bytes.NewReader(b), h, func(int, int64, string) error { return nil }) == nil
}
