package leak

import (
	"math/rand/v2"
	"strings"
	"testing"

	"outbreath/schema"
)

var partedRoster = &schema.Roster{
	Columns: []string{"subject_id", "given_name", "family_name", "birth_date", "mrn", "national_id", "phone", "city"},
	Rows: []map[string]string{
		{"subject_id": "LARK2-WEIR-008", "given_name": "Oksana", "family_name": "Kovalychenko",
			"birth_date": "1979-04-04", "mrn": "30418923", "national_id": "900-00-1000", "phone": "+1 212 555 0100",
			"city": "Brambleford"},
		{"subject_id": "LARK2-WEIR-017", "given_name": "Sipho", "family_name": "Dlozwane", "birth_date": "1993-02-25",
			"mrn": "30418788", "national_id": "900-00-2231", "phone": "+44 20 7946 0018", "city": "Tolvaddon"},
		{"subject_id": "LARK2-WEIR-021", "given_name": "Itziar", "family_name": "Quiñonero de la Vega",
			"birth_date": "1961-12-30", "mrn": "41155206", "phone": "+34 612 345 678", "city": "Vilanova"},
	},
}

// marks are what a keyboard and a phone offer, that is neither letter nor digit.
var marks = []string{" ", "\t", "\n", ",", ";", ":", ".", "-", "_", "|", "*", "·", "=", "~", "#", "•", "/", "\\", "+",
	"^", "'", "\"", "\u00a0", "\u2003", "–", "→", "&", "!", "%"}

// a partedCase is one way to tear a value.
type partedCase struct {
	class string
	tear  func(r *rand.Rand, value string) string
}

func runes(s string) (out []string) {
	for _, c := range s {
		out = append(out, string(c))
	}
	return out
}

var partedCases = []partedCase{
	{"each letter", func(r *rand.Rand, v string) string { return strings.Join(runes(v), marks[r.IntN(len(marks))]) }},
	{"each letter, two marks", func(r *rand.Rand, v string) string {
		m := marks[1+r.IntN(len(marks)-1)]
		return strings.Join(runes(v), m+[]string{" ", m}[r.IntN(2)])
	}},
	{"one break", func(r *rand.Rand, v string) string {
		c := runes(v)
		k := 2 + r.IntN(len(c)-3)
		m := marks[1+r.IntN(len(marks)-1)]
		return strings.Join(c[:k], "") + m + strings.Join(c[k:], "")
	}},
	{"one wide break", func(r *rand.Rand, v string) string {
		c := runes(v)
		k := 2 + r.IntN(len(c)-3)
		return strings.Join(c[:k], "") + []string{"  ", "-\n", "-\r\n", " - ", "...", "   "}[r.IntN(6)] +
			strings.Join(c[k:], "")
	}},
	{"groups", func(r *rand.Rand, v string) string {
		c, m, size := runes(v), marks[r.IntN(len(marks))], 2+r.IntN(2)
		var b strings.Builder
		for i, x := range c {
			if i > 0 && i%size == 0 {
				b.WriteString(m)
			}
			b.WriteString(x)
		}
		return b.String()
	}},
}

// TestPartedValues tears numbers and names of the roster by every mark, and wants
// them found in notes and in fields that hold no prose.
func TestPartedValues(t *testing.T) {
	r := rand.New(rand.NewPCG(77, 3))
	s := New(partedRoster)
	values := []string{"30418923", "900001000", "2125550100", "41155206", "19790404", "25021993", "Kovalychenko",
		"KOVALYCHENKO", "kovalychenko", "Dlozwane", "Quiñonero", "Brambleford", "Oksana"}
	frames := []string{"valve checked, %, then quiet", "%", "%\ncoughed twice", "Maske von %; ok", "(%)"}
	missed, n := 0, 0
	for _, v := range values {
		for _, c := range partedCases {
			for range 40 {
				torn := c.tear(r, v)
				if digits(v) && c.class != "each letter" && strings.ContainsAny(torn, ".\n") {
					continue // a decimal number, or numbers on lines: TestTables
				}
				text := strings.Replace(frames[r.IntN(len(frames))], "%", torn, 1)
				at := strings.Index(text, torn)
				for _, scan := range []func(string, *Declared) []Match{s.Scan, s.ScanField} {
					n++
					covered := false
					for _, m := range scan(text, nil) {
						covered = covered || m.Start <= at && at+len(torn) <= m.End
					}
					if !covered {
						missed++
						if missed < 40 {
							t.Logf("%s: %q is missed", c.class, text)
						}
					}
				}
			}
		}
	}
	t.Logf("%d of %d missed", missed, n)
	if missed*100 > n || n < 4000 {
		t.Errorf("%d of %d missed", missed, n)
	}
	for _, text := range []string{"30418924", "3041|892", "3041;8924", "212;555;0101", "tubes 1, 2, 1965 ml",
		"K o v a l", "A B C D E F", "bed 3, 0, 4, 1", "04:04:79", "19:04:04",
		"de la mano", "De la fièvre hier soir", "el dolor de la pierna", "1979 tubes, 4 x 4"} {
		if m := s.Scan(text, nil); len(m) > 0 {
			t.Errorf("%q is taken for %v", text, m)
		}
	}
}
