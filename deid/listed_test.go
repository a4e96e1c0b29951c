package deid

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"outbreath/schema"
	"outbreath/schema/demo"
	"outbreath/schema/edf"
)

// A cell holds up to nine digits, and a number of the roster eight. The subject's own
// numbers are refused with the decimal point at any place; chance hits pass.
func TestListedCells(t *testing.T) {
	dir, truth := invented(t, demo.Options{Seed: 5, Subjects: 6, Sessions: 6, RecordingSeconds: 5, NoEDF: true})
	own, other := truth.Roster[truth.Sessions[0].Row], truth.Roster[(truth.Sessions[0].Row+1)%6]
	digits := func(s string) string {
		return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r < '0' || r > '9' }), "")
	}
	mrn, born := digits(own["mrn"]), digits(own["birth_date"])
	if len(mrn) != 8 || strings.HasSuffix(mrn, "0") || len(born) != 8 {
		t.Fatalf("this roster shows nothing: %v", own)
	}
	file := filepath.Join(dir, filepath.FromSlash(truth.Sessions[0].Recordings[0].File))
	was, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for cell, listed := range map[string]bool{
		mrn[:1] + "." + mrn[1:]: true, "0.00" + mrn: true, "4." + mrn: true, mrn[:1] + "." + mrn[1:] + "7": true,
		mrn[:1] + "." + mrn[1:] + "000": true, born[:1] + "." + born[1:]: true,
		born[6:7] + "." + born[7:] + born[4:6] + born[:4]: born[6] != '0',
		"4.12345678": false, "4.1234567": false, digits(other["mrn"])[:1] + "." + digits(other["mrn"])[1:]: false,
	} {
		lines := strings.Split(string(was), "\n")
		lines[1] = "0.00," + cell + ",1"
		if err := os.WriteFile(file, []byte(strings.Join(lines, "\n")), 0o600); err != nil {
			t.Fatal(err)
		}
		problems, err := broken(t, treat(t, load(t, dir)))
		if err != nil {
			t.Fatal(err)
		}
		errs := errorsOf(problems)
		if got := len(errs) == 1 && errs[0].Rule == "recording.csv.listed"; got != listed || !listed && len(errs) > 0 {
			t.Errorf("a cell of %d characters (%q) is listed %v: %v", len(cell), cell, got, errs)
		} else if listed && strings.Contains(errs[0].Message, mrn) {
			t.Error("the message holds the number")
		}
	}
}

func TestListedNumbers(t *testing.T) {
	l := newListedNumbers(&schema.Roster{Rows: []map[string]string{
		{"subject_id": "S-1", "mrn": "3041 8923", "birth_date": "1979-04-04", "phone": "+47 4054 1234",
			"street": "House 12345678"},
		{"subject_id": "S-2", "mrn": "204188", "birth_date": "1980-12-31"},
	}})
	for text, want := range map[string]bool{
		"3041892": true, "304.1892": true, "19790404": true, "4041979": true, "790404": true, "311280": true,
		"204188": true, "-20.4188": true,
		"32767": false, "3276.7": false, "-100": false, "819200": false, "1234567": false, "304189": false,
		"0.04188": false,
	} {
		if got := l.inExtreme(text); got != want {
			t.Errorf("%s is listed %v", text, got)
		}
	}
	if !l.inCell(nil, 30418923, true) || l.inCell(nil, 30418923, false) || l.inCell(l.of["s2"], 30418923, false) ||
		!l.inCell(l.of["s1"], 730418923, false) {
		t.Error("cells are compared with the wrong rows")
	}
	if !l.inCell(l.of["s1"], 4740541234, false) || !l.inCell(l.of["s1"], 40541234, false) ||
		l.inCell(l.of["s1"], 12345678, false) {
		t.Error("telephone numbers, and nothing else")
	}
}

// The limits of an EDF signal are compared with the roster.
func TestListedExtremes(t *testing.T) {
	r := &recording{listed: newListedNumbers(&schema.Roster{Rows: []map[string]string{{"subject_id": "S-1",
		"mrn": "3041892"}}})}
	h := &edf.Header{Signals: []edf.Signal{{PhysMin: "-100", PhysMax: "100"}, {PhysMin: "-3041892", PhysMax: "0"}}}
	if err := r.extremes(h); err == nil || !strings.Contains(err.Error(), "signal 2") {
		t.Error(err)
	}
	if h.Signals = h.Signals[:1]; r.extremes(h) != nil {
		t.Error("an ordinary signal is refused")
	}
}
