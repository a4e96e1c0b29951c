package edf

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

const code = "K3QX-7M2V-9D0T-WB5F-8"

func day(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

// Forms of EDF+ 2.1.3, rules 2 to 4: X for what is unknown, dd-MMM-yyyy in capitals,
// clipping at 1985 and 2084.
func TestAnonymise(t *testing.T) {
	for _, tt := range []struct {
		start           time.Time
		date, recording string
	}{
		{day(2001, 4, 17), "17.04.01", "Startdate 17-APR-2001 X X X"},
		{day(1985, 8, 2), "02.08.85", "Startdate 02-AUG-1985 X X X"},
		{day(1999, 12, 31), "31.12.99", "Startdate 31-DEC-1999 X X X"},
		{day(2084, 12, 31), "31.12.84", "Startdate 31-DEC-2084 X X X"},
		{day(2085, 1, 1), "01.01.yy", "Startdate 01-JAN-2085 X X X"},
		{day(1, 1, 2), "02.01.yy", "Startdate 02-JAN-0001 X X X"},
		{day(9999, 12, 31), "31.12.yy", "Startdate 31-DEC-9999 X X X"},
		{day(1984, 12, 31), "31.12.yy", "Startdate 31-DEC-1984 X X X"},
		{time.Date(2026, 2, 28, 23, 59, 0, 0, time.FixedZone("", -11*3600)), "28.02.26", "Startdate 28-FEB-2026 X X X"},
	} {
		h := specHeader()
		h.Reserved, h.Signals[0].Reserved = "EDF+D bed 4", "ward 7"
		if err := h.Anonymise(code, tt.start); err != nil {
			t.Fatal(err)
		}
		if h.Patient != code+" X X X" || h.StartDate != tt.date || h.Recording != tt.recording ||
			h.StartTime != "14.05.59" || h.Reserved != "EDF+D" || h.Signals[0].Reserved != "" {
			t.Errorf("%v: %+v", tt.start, h)
		}
		back, err := ReadHeader(bytes.NewReader(h.Encode()))
		if err != nil {
			t.Errorf("%v: %v", tt.start, err)
			continue
		}
		y, m, d := tt.start.Date()
		if got, ok := back.StartDay(); !ok || !got.Equal(day(y, m, d)) {
			t.Errorf("%v reads back as %v, %v", tt.start, got, ok)
		}
	}
}

func TestDropDate(t *testing.T) {
	h := specHeader()
	if err := h.DropDate(code); err != nil {
		t.Fatal(err)
	}
	if h.Patient != code+" X X X" || h.Recording != "Startdate X X X X" || h.StartDate != "01.01.85" ||
		h.StartTime != "00.00.00" {
		t.Errorf("%+v", h)
	}
	if d, ok := h.StartDay(); ok {
		t.Errorf("a day is left: %v", d)
	}
	if _, err := ReadHeader(bytes.NewReader(h.Encode())); err != nil {
		t.Error(err)
	}
}

func TestAnonymiseRefused(t *testing.T) {
	for _, bad := range []string{"", "two words", "é", "tab\t", "a b", "\x7f", strings.Repeat("x", 75)} {
		h := specHeader()
		if h.Anonymise(bad, day(2020, 1, 1)) == nil || h.DropDate(bad) == nil || h.Patient != specPatient ||
			h.StartDate != "02.03.02" {
			t.Errorf("%q was taken: %+v", bad, h)
		}
	}
	h := specHeader()
	if h.Anonymise(code, day(0, 1, 1)) == nil || h.Anonymise(code, day(10000, 1, 1)) == nil ||
		h.Patient != specPatient {
		t.Errorf("a year of other than four digits was taken: %+v", h)
	}
	// 2.1.3, rules 1 and 2: a subfield holds the bytes 33 to 126 (no space); with " X X X" 74 of them fill 80.
	for _, good := range []string{"x", "!~", strings.Repeat("x", 74)} {
		if err := h.Anonymise(good, day(2020, 1, 1)); err != nil || h.Patient != good+" X X X" {
			t.Errorf("%q: %v", good, err)
		}
	}
}

func TestStartDay(t *testing.T) {
	for _, tt := range []struct {
		date, recording string
		want            time.Time // zero: unknown
	}{
		{"02.03.02", specRecording, day(2002, 3, 2)},
		{"17.04.01", "", day(2001, 4, 17)},
		{"02.08.85", "free text", day(1985, 8, 2)},
		{"31.12.84", "", day(2084, 12, 31)},
		{"31.12.84", "Startdate 31-DEC-1984 X X X", day(1984, 12, 31)},
		{"05.06.yy", "Startdate 05-JUN-2091 X X X", day(2091, 6, 5)},
		{"05.06.yy", "free text", time.Time{}},
		{"05.06.yy", "Startdate 06-JUN-2091 X X X", time.Time{}},
		{"02.03.02", "Startdate 03-MAR-2002 X X X", time.Time{}},
		{"02.03.02", "Startdate X X X X", time.Time{}},
		{"05.06.yy", "Startdate 05-JUN-2091", day(2091, 6, 5)}, // nothing more in the field
		{"02.03.02", "Startdate X", time.Time{}},
		{"02.03.02", "Startdate", day(2002, 3, 2)},
		{"02.03.02", "Startdate 2-MAR-2002 X X X", day(2002, 3, 2)}, // no date in the form of the rule
		{"01.01.85", "", time.Time{}},
		{"01.01.85", "Startdate 01-JAN-1985 X X X", day(1985, 1, 1)},
		{"13.07.00", "110 seconds from 13-JUL-2000 12.05.48hr.", day(2000, 7, 13)}, // test_uneven_samp.edf
	} {
		h := specHeader()
		h.StartDate, h.Recording = tt.date, tt.recording
		got, ok := h.StartDay()
		if ok == tt.want.IsZero() || ok && !got.Equal(tt.want) {
			t.Errorf("%q, %q: %v, %v; want %v", tt.date, tt.recording, got, ok, tt.want)
		}
	}
}

// Nothing of the original's own fields survives, and nothing else changes.
func TestAnonymisedFieldsHoldNothingOld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := anyHeader.Draw(t, "header")
		old := h.Encode()
		if err := h.Anonymise(code, day(2020, 2, 29)); err != nil {
			t.Fatal(err)
		}
		got := h.Encode()
		flag := ""
		if s := string(old[192:197]); s == "EDF+C" || s == "EDF+D" {
			flag = s
		}
		rest := bytes.Clone(old[236:])
		for i := 32 * len(h.Signals); i > 0; i-- { // those of the signals are the header's last bytes
			rest[len(rest)-i] = ' '
		}
		want := "0       " + pad(code+" X X X", 80) + pad("Startdate 29-FEB-2020 X X X", 80) + "29.02.20" +
			string(old[176:192]) + pad(flag, 44) + string(rest)
		if string(got) != want {
			t.Fatalf("got\n%q, want\n%q", got, want)
		}
	})
}

func pad(s string, n int) string { return s + strings.Repeat(" ", n-len(s)) }

func TestTexts(t *testing.T) {
	h := specHeader()
	h.Signals[1].Reserved = "ward 7"
	b := h.Encode()
	var got []string
	for _, f := range h.Texts() {
		if string(b[f.Offset:f.Offset+int64(len(f.Value))]) != f.Value {
			t.Errorf("%s is not at byte %d", f.Name, f.Offset)
		}
		got = append(got, f.Name+"="+f.Value)
	}
	want := "label of signal 1=CO2 airway|label of signal 2=EDF Annotations|label of signal 3=Pressure mouth|" +
		"transducer type of signal 1=infrared cell|physical dimension of signal 1=kPa|physical dimension of signal " +
		"3=Pa|" +
		"prefiltering of signal 1=LP:10Hz"
	if s := strings.Join(got, "|"); s != want {
		t.Errorf("got  %s\nwant %s", s, want)
	}
}
