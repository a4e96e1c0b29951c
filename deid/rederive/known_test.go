package rederive

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"os"
	"os/exec"
	"testing"
)

// known are answers that Python computed: see testdata/known.py.
type known struct {
	Names []struct {
		Key, Study, Purpose, ID, Canonical, Pseudonym string
		Shift                                         int
	}
	Dates []struct {
		Date, Moved  string
		Days, Number int
	}
	Elapsed []struct {
		Start, At string
		Elapsed   int64
	}
	Ages []struct {
		Birth, On, Band string
		Width           int
	}
	Roundings []struct {
		Number, Rounded string
		Width           int
	}
}

func answers(t *testing.T) known {
	t.Helper()
	data, err := os.ReadFile("testdata/known.json")
	if err != nil {
		t.Fatal(err)
	}
	var k known
	if err := json.Unmarshal(data, &k); err != nil {
		t.Fatal(err)
	}
	if len(k.Names) < 100 || len(k.Dates) < 100 || len(k.Elapsed) < 100 || len(k.Ages) < 100 || len(k.Roundings) < 100 {
		t.Fatal("too few answers")
	}
	return k
}

// The answers are those of the script, where Python is there.
func TestAnswersAreOfTheScript(t *testing.T) {
	python, err := exec.LookPath("/usr/bin/python3")
	if err != nil {
		t.Skip("no /usr/bin/python3")
	}
	out, err := exec.Command(python, "testdata/known.py").Output()
	if err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile("testdata/known.json")
	if err != nil || !bytes.Equal(out, want) {
		t.Errorf("known.json is not what known.py prints: %v", err)
	}
}

func TestNames(t *testing.T) {
	for _, a := range answers(t).Names {
		id, err := canonical(a.ID)
		if err != nil || id != a.Canonical {
			t.Errorf("canonical form of %q is %q, %v; Python has %q", a.ID, id, err, a.Canonical)
			continue
		}
		b, err := hex.DecodeString(a.Key)
		if err != nil {
			t.Fatal(err)
		}
		k := newKeyring([32]byte(b), a.Study)
		if a.Purpose == forShift {
			if got := k.shift(id); got != a.Shift {
				t.Errorf("shift of %q is %d, Python has %d", a.ID, got, a.Shift)
			}
		} else if got := k.pseudonym(a.Purpose, id); got != a.Pseudonym {
			t.Errorf("%s %q is %s, Python has %s", a.Purpose, a.ID, got, a.Pseudonym)
		}
	}
}

// Source: the published vectors of the format description's examples are those of
// package deid; here are forms that have no canonical one.
func TestNoCanonicalForm(t *testing.T) {
	for _, id := range []string{"", " -/ ", "\xff", "\u0378", "a\U000e0080"} {
		if got, err := canonical(id); err == nil {
			t.Errorf("%q has the canonical form %q", id, got)
		}
	}
}

// Source: ISO/IEC 7064, example of MOD 37,36 from memory: a check character follows
// every text so that the sum is 1; each change of one character is found.
func TestCheckCharacter(t *testing.T) {
	body := "0123456789ABCDEF"
	for i := range body {
		for _, c := range digits36 {
			other := body[:i] + string(c) + body[i+1:]
			if other != body && checkCharacter(other) == checkCharacter(body) {
				t.Errorf("%s and %s have one check character", body, other)
			}
		}
	}
}

func TestDates(t *testing.T) {
	for _, a := range answers(t).Dates {
		d, ok := parseDay(a.Date)
		if !ok || int(d) != a.Number || d.String() != a.Date {
			t.Errorf("%s is day %d, %v, written %s; Python has %d", a.Date, d, ok, d, a.Number)
		}
		if got := (d - day(a.Days)).String(); got != a.Moved {
			t.Errorf("%s less %d days is %s, Python has %s", a.Date, a.Days, got, a.Moved)
		}
	}
	for _, bad := range []string{"", "2026-02-29", "2026-13-01", "2026-00-01", "2026-01-00", "0000-01-01", "2026-1-01",
		"2026-01-32", "+026-01-01", "2026/01/01"} {
		if _, ok := parseDay(bad); ok {
			t.Errorf("%q is taken for a day", bad)
		}
	}
}

func TestElapsed(t *testing.T) {
	for _, a := range answers(t).Elapsed {
		start, ok1 := parseClock(a.Start)
		at, ok2 := parseClock(a.At)
		if got := at.elapsed(start); !ok1 || !ok2 || got != a.Elapsed {
			t.Errorf("from %s to %s are %d s, Python has %d", a.Start, a.At, got, a.Elapsed)
		}
	}
	for _, bad := range []string{"2026-03-02T09:14", "2026-03-02T09:14:11", "2026-03-02 09:14:11Z",
		"2026-03-02T24:00:00Z",
		"2026-03-02T09:14:61Z", "2026-03-02T09:14:11.Z", "2026-03-02T09:14:11+24:00", "2026-03-02T09:14:11+0100", ""} {
		if _, ok := parseClock(bad); ok {
			t.Errorf("%q is taken for a time", bad)
		}
	}
}

func TestBands(t *testing.T) {
	for _, a := range answers(t).Ages {
		birth, _ := parseDay(a.Birth)
		on, _ := parseDay(a.On)
		if got := band(age(birth, on), a.Width); got != a.Band {
			t.Errorf("born %s, on %s, bands of %d: %s, Python has %s", a.Birth, a.On, a.Width, got, a.Band)
		}
	}
}

func TestRoundings(t *testing.T) {
	for _, a := range answers(t).Roundings {
		if got, err := (rule{kind: "round", width: a.Width}).rounded(a.Number); err != nil || got != a.Rounded {
			t.Errorf("%s to %d is %s, %v; Python has %s", a.Number, a.Width, got, err, a.Rounded)
		}
	}
	coded := rule{kind: "round", width: 5, coded: true, from: 140, to: 200}
	for in, want := range map[string]string{"12": "140", "142.4": "140", "142.5": "145", "999": "200", "200": "200"} {
		if got, err := coded.rounded(in); err != nil || got != want {
			t.Errorf("%s gives %s, %v; want %s", in, got, err, want)
		}
	}
}

// Source: 45 CFR 164.514(b)(2)(i)(B) and the HHS guidance of 26 November 2012.
func TestRegions(t *testing.T) {
	for _, a := range []struct {
		code  string
		width int
		want  string
	}{
		{"98700", 0, "987"}, {"03601", 0, "000"}, {"89301-1234", 0, "000"}, {"82100", 3, "000"}, {"821", 0, "82"},
		{"sw1a 1aa", 0, "SW"}, {"SW1A 1AA", 3, "SW1"}, {"D-10115", 0, "D1"}, {"10115", 2, "10"}, {"1011", 0, "10"},
		{"\uff19\uff18\uff17\uff10\uff10", 0, "987"}, {"ab", 0, ""},
	} {
		got, err := regionOf(a.code, a.width)
		if got != a.want || (err != nil) != (a.want == "") {
			t.Errorf("%q, %d: %q, %v; want %q", a.code, a.width, got, err, a.want)
		}
	}
}
