package schema

import (
	"encoding/hex"
	"errors"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"
)

func TestUnicodeVersion(t *testing.T) {
	for what, got := range map[string]string{
		"unicode": unicode.Version, "norm": norm.Version, "cases": cases.UnicodeVersion,
	} {
		if got != "15.0.0" {
			t.Errorf("%s has the tables of Unicode %s: identifiers are defined by 15.0.0", what, got)
		}
	}
}

// The expected column was made with Python 3.11 (Unicode 14.0, in which all of
// these characters have the same form and folding as in 15.0):
//
//	"".join(c for c in unicodedata.normalize("NFKC", s).casefold()
//	        if unicodedata.category(c)[0] in "LMN")
func TestCanonicalAgainstPython(t *testing.T) {
	for id, want := range map[string]string{
		"LARK-2/0007":                    "lark20007",
		" s_012 ":                        "s012",
		"\uff33\uff10\uff11\uff12":       "s012",               // full width
		"Stra\u00dfe-1":                  "strasse1",           // sharp s folds to ss
		"\u1e9e":                         "ss",                 // capital sharp s
		"\ufb01n-1":                      "fin1",               // fi ligature
		"\u2460\u00b2":                   "12",                 // circled and superscript digits
		"\u2163-7":                       "iv7",                // Roman numeral four
		"\u00bd":                         "12",                 // one half: the fraction slash goes
		"\u0130-5":                       "i\u03075",           // I with dot
		"\u0131-5":                       "\u01315",            // dotless i stays
		"\u03a3\u03c2\u03c3":             "\u03c3\u03c3\u03c3", // sigmas
		"\u0390":                         "\u03b9\u0308\u0301", // folding takes it apart
		"e\u0301":                        "\u00e9",
		"\u00c9":                         "\u00e9",
		"\u0e01\u0e34\u0e19-1":           "\u0e01\u0e34\u0e191", // Thai vowel sign is a mark
		"\u0915\u094d\u0937":             "\u0915\u094d\u0937",  // Devanagari virama is a mark
		"a\u200bb\u00adc":                "abc",                 // zero-width space, soft hyphen
		"\u6771\u4eac-\uff11":            "\u6771\u4eac1",
		"\ud55c\uae00":                   "\ud55c\uae00",
		"\u1112\u1161\u11ab":             "\ud55c", // jamo compose
		"\u212b":                         "\u00e5", // angstrom sign
		"\u24d0\u24b7":                   "ab",
		"\U0001d400\U0001d7d8":           "a0", // mathematical letters and digits
		"\u13a0\uab70":                   "\u13a0\u13a0",
		"@AZ[\\`az{/09:":                 "azaz09",             // the neighbours of letters and digits in ASCII
		"\uab70\uabbf\uabc0":             "\u13a0\u13ef\uabc0", // CaseFolding.txt: AB70; C; 13A0 and ABBF; C; 13EF
		"\u13f5\u13f8\u13fd\u1400":       "\u13f5\u13f0\u13f5", // 13F8; C; 13F0 and 13FD; C; 13F5
		"\u1f80":                         "\u1f00\u03b9",
		"x\U000e0101":                    "x\U000e0101", // a variation selector is a mark
		"\u0661\u0662":                   "\u0661\u0662",
		"7.4K":                           "74k",
		"\u017f":                         "s", // long s
		"\t0012\r\n":                     "0012",
		"\U0001f600A":                    "a",
		"\ue000B":                        "b", // private use is assigned, and no letter
		"\u0149":                         "\u02bcn",
		"\u01f0":                         "j\u030c",
		"\ufdfa":                         "\u0635\u0644\u0649\u0627\u0644\u0644\u0647\u0639\u0644\u064a\u0647\u0648\u0633\u0644\u0645",
		"\u3392":                         "mhz",
		"\u2126":                         "\u03c9",
		"\u10a0\u1c90":                   "\u2d00\u10d0",
		"\u0587":                         "\u0565\u0582",
		"0-1\u00a02\u20033\u30004\ufeff": "01234",
	} {
		got, err := Canonical(id)
		if err != nil || got != want {
			t.Errorf("Canonical(%+q) = %+q, %v, want %+q", id, got, err, want)
		}
	}
}

func TestCanonicalRefuses(t *testing.T) {
	for id, want := range map[string]error{
		"":              ErrEmptyID,
		" -_/ ":         ErrEmptyID,
		"\u200b":        ErrEmptyID,
		"\U0001f600":    ErrEmptyID,
		"A\u0378":       ErrUnassigned, // Cn in every version up to 17.0
		"A\ufffe":       ErrUnassigned, // noncharacter
		"A\ufdd0":       ErrUnassigned,
		"A\U0010ffff":   ErrUnassigned,
		"A\U0001e5d0":   ErrUnassigned, // Ol Onal, assigned in 16.0
		"A\U000105c0":   ErrUnassigned, // Todhri, assigned in 16.0
		"A\U0002ebf0B":  ErrUnassigned, // extension I, assigned in 15.1
		"A\xff":         ErrUnassigned,
		"A\x80":         ErrUnassigned, // the first byte that is not ASCII, and begins no character
		"A\xed\xa0\x80": ErrUnassigned, // a surrogate
	} {
		if got, err := Canonical(id); !errors.Is(err, want) || got != "" {
			t.Errorf("Canonical(%+q) = %+q, %v, want %v", id, got, err, want)
		}
	}
}

// A text that is no identifier is the same as no other, not even as itself.
func TestSameID(t *testing.T) {
	for _, c := range []struct {
		a, b string
		same bool
	}{
		{"S-1", "s 1", true}, {"S-1", "S-2", false}, {"S-1", "", false}, {"", "S-1", false}, {"", "", false},
		{"-", " ", false}, {"A\u0378", "A\u0378", false},
	} {
		if got := SameID(c.a, c.b); got != c.same {
			t.Errorf("%+q and %+q: %v", c.a, c.b, got)
		}
	}
}

// Removing what is between a letter and its mark must not make a form that
// would be another identifier when it is typed again.
func TestCanonicalComposesAcrossRemoved(t *testing.T) {
	a, err := Canonical("A\u200d\u0301")
	b, err2 := Canonical("\u00e1")
	if err != nil || err2 != nil || a != b {
		t.Errorf("%+q, %v and %+q, %v differ", a, err, b, err2)
	}
}

func TestCanonicalIsStable(t *testing.T) {
	between := []string{"", "-", "\u200d"}
	var marks []rune
	for _, r16 := range unicode.M.R16 {
		for r := rune(r16.Lo); r <= rune(r16.Hi); r += rune(r16.Stride) {
			if norm.NFKC.PropertiesString(string(r)).CCC() != 0 {
				marks = append(marks, r)
			}
		}
	}
	if len(marks) < 500 {
		t.Fatalf("only %d combining marks", len(marks))
	}
	n := 0
	stable := func(id string) {
		once, err := Canonical(id)
		if err != nil {
			return
		}
		n++
		if twice, err := Canonical(once); err != nil || twice != once {
			t.Errorf("%+q gives %+q, and that %+q, %v", id, once, twice, err)
		}
	}
	for r := range rune(unicode.MaxRune + 1) {
		stable(string(r))
		if r < 0x3000 && r%7 == 0 || r < 0x600 {
			for i, m := range marks {
				if r < 0x250 || (int(r)+i)%31 == 0 {
					stable(string(r) + between[i%3] + string(m))
				}
			}
		}
	}
	if n < 130_000 {
		t.Errorf("only %d texts tried", n)
	}
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.String().Draw(t, "id")
		once, err := Canonical(id)
		if err != nil {
			return
		}
		if twice, err := Canonical(once); err != nil || twice != once {
			t.Fatalf("%+q gives %+q, and that %+q, %v", id, once, twice, err)
		}
	})
}

// The short way through ASCII comes to the same as the long one.
func TestCanonicalASCII(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOf(rapid.ByteMax(0x7f)).Draw(t, "id")
		short, ok := canonicalASCII(string(b))
		if long := canonicalOnce(string(b)); !ok || short != long {
			t.Fatalf("%q gives %q, %v, want %q", b, short, ok, long)
		}
	})
	if _, ok := canonicalASCII("S-1\u00e9"); ok {
		t.Error("not ASCII")
	}
}

func FuzzCanonical(f *testing.F) {
	f.Add("LARK-2/0007")
	f.Add("A\u200d\u0301")
	f.Fuzz(func(t *testing.T, id string) {
		once, err := Canonical(id)
		if err != nil {
			if once != "" {
				t.Errorf("an identifier beside an error")
			}
			return
		}
		for _, r := range once {
			if !unicode.In(r, unicode.L, unicode.M, unicode.N) {
				t.Errorf("%U is kept", r)
			}
		}
		if twice, err := Canonical(once); err != nil || twice != once {
			t.Errorf("%+q gives %+q, and that %+q, %v", id, once, twice, err)
		}
	})
}

// Every single character that Python's own Unicode tables know, against
// Python's unicodedata and str.casefold.
func TestCanonicalAgainstPythonWhole(t *testing.T) {
	python := tool(t, "python3")
	out, err := exec.Command(python, "-c", `
import sys, unicodedata as u
for r in range(0x110000):
    c = chr(r)
    if u.category(c) in ("Cn", "Cs"): continue
    f = u.normalize("NFKC", c).casefold()
    print("%x" % r, "".join(x for x in f if u.category(x)[0] in "LMN").encode().hex())
`).Output()
	if err != nil {
		t.Fatal(err)
	}
	n, wrong := 0, 0
	for line := range strings.Lines(string(out)) {
		code, hexed, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		r, err1 := strconv.ParseInt(code, 16, 32)
		want, err2 := hex.DecodeString(hexed)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		got, err := Canonical(string(rune(r)))
		if errors.Is(err, ErrUnassigned) && !assigned(rune(r)) {
			continue // a younger Python knows more characters
		}
		n++
		if got != string(want) || (err == nil) != (len(want) > 0) {
			if wrong++; wrong < 10 {
				t.Errorf("%U: %+q, %v, want %+q", r, got, err, want)
			}
		}
	}
	if n < 280_000 {
		t.Errorf("only %d characters compared", n)
	}
}

// tool returns the path of an outside program; the test is skipped without it,
// except in continuous integration.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil && os.Getenv("CI") == "true" {
		t.Fatalf("%s is needed", name)
	} else if err != nil {
		t.Skipf("%s is not installed", name)
	}
	return path
}
