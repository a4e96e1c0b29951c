package deid

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"

	"outbreath/schema"

	"pgregory.net/rapid"
)

// A twin is two ways to write the same, by the kind of difference. The pairs are
// from the code charts of Unicode 15.0; TestIdentityPairsAgainstPython compares
// them with another program's tables.
type twin struct{ kind, a, b string }

var twins = []twin{
	{"case", "A", "a"}, {"case", "Ä", "ä"}, {"case", "Σ", "ς"}, {"case", "Ж", "ж"}, {"case", "ẞ", "ß"},
	{"case", "Ǆ", "ǆ"},
	{"case, full", "Straße", "STRASSE"}, {"case, full", "ŉ", "ʼn"}, {"case, full", "ΐ", "\u03b9\u0308\u0301"},
	{"case, full", "և", "եւ"},
	{"case, full", "İ", "i\u0307"}, {"case, full", "ſ", "s"}, {"case, full", "Ꭰ", "\uab70"},
	{"width", "Ａ", "a"}, {"width", "１", "1"}, {"width", "ｱ", "ア"}, {"width", "ｶﾞ", "ガ"}, {"width", "Ａ１", "A1"},
	{"compatibility", "\u2126", "\u03c9"}, {"compatibility", "\u212b", "\u00e5"}, {"compatibility", "\u212a", "k"},
	{"compatibility", "№1", "No1"},
	{"compatibility", "㎒", "MHz"}, {"compatibility", "𝐀𝟘", "A0"}, {"compatibility", "Ⓐ", "a"},
	{"compatibility", "①", "1"},
	{"compatibility", "⑴", "1"}, {"compatibility", "½", "12"}, {"compatibility", "㋐", "ア"},
	{"compatibility", "ﷲ", "الله"},
	{"ligature", "ﬁ", "fi"}, {"ligature", "ﬄ", "FFL"}, {"ligature", "ﬅ", "st"}, {"ligature", "ﬓ", "մն"},
	{"ligature", "ﻻ", "لا"},
	{"superscript", "²", "2"}, {"superscript", "ª", "A"}, {"superscript", "₇", "7"}, {"superscript", "ⁿ", "n"},
	{"superscript", "ʰ", "H"},
	{"Roman numeral", "Ⅳ", "IV"}, {"Roman numeral", "ⅻ", "XII"}, {"Roman numeral", "Ⅿ", "m"},
	{"composed", "é", "e\u0301"}, {"composed", "ë", "E\u0308"}, {"composed", "ǻ", "å\u0301"},
	{"composed", "한", "\u1112\u1161\u11ab"},
	{"composed", "が", "か\u3099"}, {"composed", "q\u0307\u0323", "q\u0323\u0307"}, {"composed", "ệ", "e\u0302\u0323"},
	{"ignorable", "a\u00adb", "ab"}, {"ignorable", "a\u200bb", "ab"}, {"ignorable", "a\u2060b", "ab"},
	{"ignorable", "\ufeffa", "a"},
	{"ignorable", "e\u200d\u0301", "é"}, {"ignorable", "a\u202eb", "ab"}, {"ignorable", "a\U000e0041b", "ab"},
	{"punctuation", "a-b", "ab"}, {"punctuation", "a b", "a_b"}, {"punctuation", "a/b", "a.b"},
	{"punctuation", "a–b", "a\u00a0b"},
	{"punctuation", "a·b", "a'b"}, {"punctuation", "a+b", "a b"}, {"punctuation", "😀a", "A"},
}

// strangers look or sound alike, and are two.
var strangers = []twin{
	{"accent", "e", "é"}, {"accent", "o", "ø"}, {"accent", "u", "ü"}, {"accent", "n", "ñ"}, {"dotless", "i", "ı"},
	{"script", "a", "а"}, {"script", "o", "ο"}, {"script", "B", "В"}, {"script", "1", "١"}, {"script", "2", "२"},
	{"script", "ア", "あ"},
	{"shape", "O", "0"}, {"shape", "l", "1"}, {"shape", "Z", "2"}, {"shape", "ß", "B"}, {"shape", "æ", "a"},
	{"shape", "đ", "d"},
	{"count", "1", "11"}, {"count", "a", "aa"}, {"count", "1", "01"}, {"order", "12", "21"}, {"order", "ab", "ba"},
	{"letters", "ﬁ", "fl"}, {"letters", "Ⅳ", "VI"}, {"letters", "²", "3"}, {"letters", "½", "13"},
	{"letters", "ß", "sz"}, {"letters", "ä", "ae"},
	{"mark", "क\u094d", "क"}, {"mark", "e\u0301", "e\u0300"},
}

// identityPairs sets every pair into n identifiers of usual forms.
func identityPairs(of []twin, n int) (pairs []twin) {
	forms := []string{"LARK2-WEIR-%s", "%s/0007", "S_%s_012", "07 %s", "X-%s"}
	for _, p := range of {
		for _, form := range forms[:n] {
			pairs = append(pairs, twin{p.kind, fmt.Sprintf(form, p.a), fmt.Sprintf(form, p.b)})
		}
	}
	return pairs
}

// twoRows reads a roster of two subjects with these identifiers, and returns the number
// of objections that the two are the same.
func twoRows(t testing.TB, a, b string) (met int) {
	t.Helper()
	text := "subject_id,given_name,family_name,birth_date\n" + a + ",Basil,Quillfeather,1971-02-03\n" + b +
		",Odile,Marchbanks,1982-05-06\n"
	_, problems, err := schema.ParseRoster([]byte(text))
	if err != nil {
		t.Fatalf("%+q, %+q: %v", a, b, err)
	}
	for _, p := range problems {
		if p.Rule != "roster.twice" {
			if p.Severity == schema.Error {
				t.Errorf("%+q, %+q: %s", a, b, p.Message)
			}
			continue
		}
		met++
		if p.Line != 3 || !strings.Contains(p.Message, "line 2 ") {
			t.Errorf("%+q, %+q: at line %d: %s: both lines must be named", a, b, p.Line, p.Message)
		}
		if strings.Contains(p.Message, a) || strings.Contains(p.Message, b) {
			t.Errorf("the message shows the identifier: %s", p.Message)
		}
	}
	return met
}

func pseudonymPair(t testing.TB, a, b string) (x, y string) {
	t.Helper()
	p := NewPseudonymiser(testKey(), "LARK-2")
	x, err := p.Subject(a)
	y, err2 := p.Subject(b)
	if err != nil || err2 != nil {
		t.Fatalf("%+q, %+q: %v, %v", a, b, err, err2)
	}
	return x, y
}

// Identifiers that fold together cannot be two rows of the roster, and are one
// person everywhere; those that do not are two people everywhere.
func TestOneIdentity(t *testing.T) {
	same, different := identityPairs(twins, 5), identityPairs(strangers, 5)
	same = same[:len(same):len(same)]
	for _, id := range []string{"LARK2-WEIR-%03d", "%04d"} {
		for i := range 40 {
			a, b := fmt.Sprintf(id, i), fmt.Sprintf(id, i+1)
			different = append(different, twin{"number", a, b})
		}
	}
	if len(same) < 200 || len(different) < 200 {
		t.Fatalf("only %d and %d pairs", len(same), len(different))
	}
	t.Logf("%d pairs that are one, %d that are two", len(same), len(different))
	for _, p := range same {
		if twoRows(t, p.a, p.b) != 1 || twoRows(t, p.b, p.a) != 1 {
			t.Errorf("%s: %+q and %+q pass as two subjects", p.kind, p.a, p.b)
		}
		if x, y := pseudonymPair(t, p.a, p.b); x != y || !schema.SameID(p.a, p.b) {
			t.Errorf("%s: %+q and %+q have two pseudonyms", p.kind, p.a, p.b)
		}
	}
	for _, p := range different {
		if twoRows(t, p.a, p.b) != 0 {
			t.Errorf("%s: %+q and %+q are refused", p.kind, p.a, p.b)
		}
		if x, y := pseudonymPair(t, p.a, p.b); x == y || schema.SameID(p.a, p.b) {
			t.Errorf("%s: %+q and %+q have one pseudonym", p.kind, p.a, p.b)
		}
	}
}

// Invisible marks and letters are part of the canonical form, which is fixed. A roster
// that holds one is refused: otherwise two subjects could look the same.
// Source: Unicode 15.0, DerivedCoreProperties.txt, Default_Ignorable_Code_Point.
func TestInvisibleIdentity(t *testing.T) {
	n := 0
	for _, r := range []rune{0x034f, 0x115f, 0x1160, 0x17b4, 0x17b5, 0x180b, 0x180d, 0x180f, 0x3164, 0xfe00, 0xfe0f,
		0xffa0, 0xe0100, 0xe01ef} {
		for _, form := range []string{"LARK2-WEIR-%s007", "%s0007", "S_012%s"} {
			n++
			text := "subject_id,given_name,family_name,birth_date\n" + fmt.Sprintf(form, string(r)) +
				",Basil,Quillfeather,1971-02-03\n"
			_, problems, err := schema.ParseRoster([]byte(text))
			refused := false
			for _, p := range problems {
				refused = refused || p.Rule == "roster.subject-id" && p.Severity == schema.Error && p.Line == 2
			}
			if err != nil || !refused {
				t.Errorf("%U in %s: not refused: %v", r, form, err)
			}
		}
	}
	if n < 40 {
		t.Errorf("only %d tried", n)
	}
}

// The law for identifiers put together at random: whatever is respelt in them, the
// roster refuses two rows exactly if the pseudonyms are equal.
func TestOneIdentityLaw(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		var a, b strings.Builder
		one := true
		for range rapid.IntRange(1, 5).Draw(r, "pieces") {
			switch rapid.IntRange(0, 9).Draw(r, "sort") {
			case 0:
				p := rapid.SampledFrom(strangers).Draw(r, "stranger")
				a.WriteString("7" + p.a)
				b.WriteString("7" + p.b)
				one = false
			case 1, 2, 3:
				text := rapid.StringMatching(`[A-Z]{1,3}-?[0-9]{1,4}`).Draw(r, "plain")
				a.WriteString(text)
				b.WriteString(text)
			default:
				p := rapid.SampledFrom(twins).Draw(r, "twin")
				a.WriteString("x" + p.a)
				b.WriteString("x" + p.b)
			}
		}
		x, y := pseudonymPair(t, a.String(), b.String())
		met := twoRows(t, a.String(), b.String()) == 1
		if met != (x == y) || met != schema.SameID(a.String(), b.String()) || one && !met {
			r.Fatalf("%+q and %+q: roster one %t, pseudonyms one %t", a.String(), b.String(), met, x == y)
		}
	})
}

// The pairs are one, or two, by Python's unicodedata and str.casefold too.
func TestIdentityPairsAgainstPython(t *testing.T) {
	python := tool(t, "python3")
	same, different := identityPairs(twins, 1), identityPairs(strangers, 1)
	var texts [][2]string
	for _, p := range append(same, different...) {
		texts = append(texts, [2]string{p.a, p.b})
	}
	in, err := json.Marshal(texts)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "-c", `
import json, sys, unicodedata as u
def form(s):
    while True:
        f = "".join(c for c in u.normalize("NFKC", s).casefold() if u.category(c)[0] in "LMN")
        if f == s: return s
        s = f
print(json.dumps([form(a) == form(b) for a, b in json.load(sys.stdin)]))
`)
	cmd.Stdin = strings.NewReader(string(in))
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var one []bool
	if err := json.Unmarshal(out, &one); err != nil || len(one) != len(texts) {
		t.Fatal(err, len(one))
	}
	for i, is := range one {
		if is != (i < len(same)) {
			t.Errorf("%+q: equal according to Python: %t", texts[i], is)
		}
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
