package leak

import (
	"math/rand/v2"
	"strings"
	"testing"
)

// TestLooseBirthDates: birth dates of the roster with anything between their parts.
func TestLooseBirthDates(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	s := New(partedRoster)
	between := append([]string{"x", " of ", ", ", " de ", ":", ";;", " / ", "-\n", "\n", "X"}, marks...)
	missed, n := 0, 0
	for _, d := range []struct{ d, m, y, month string }{{"04", "04", "1979", "Apr"}, {"4", "4", "1979", "APRIL"},
		{"25", "02", "1993", "Februar"}, {"30", "12", "1961", "diciembre"}, {"25", "2", "1993", "FEB"}} {
		for _, form := range []string{"d m y", "m d y", "y m d", "d M y", "M d y", "y M d"} {
			for _, m := range between {
				if strings.Contains(form, "M") && strings.EqualFold(m, "x") {
					continue // one word with the month
				}
				n++
				text := "x"
				for _, c := range form {
					text += map[rune]string{'d': d.d, 'm': d.m, 'y': d.y, 'M': d.month, ' ': m}[c]
				}
				text = []string{"seen, ", "", "DOB "}[r.IntN(3)] + text[1:]
				if len(s.Scan(text, nil)) == 0 {
					missed++
					t.Logf("%q is missed", text)
				}
			}
		}
	}
	if missed > 0 || n < 500 {
		t.Errorf("%d of %d missed", missed, n)
	}
	for _, text := range []string{"APR04,1979", "2 5 0 2 1 9 9 3", "1979:04:04 00:00:00", "D04M04Y1979",
		"1935-\n05-04 no, 1979-\n04-04", "fourth of April nineteen seventy-nine",
		"April the fourth, nineteen seventy nine",
		"twenty-fifth of February, nineteen ninety-three", "vierter April neunzehnhundertneunundsiebzig",
		"am vierten April 1979", "quatre avril mille neuf cent soixante-dix-neuf",
		"25 février mil neuf cent quatre-vingt-treize",
		"cuatro de abril de mil novecientos setenta y nueve", "treinta de diciembre de mil novecientos sesenta y uno"} {
		if len(s.Scan(text, nil)) == 0 {
			t.Errorf("%q is missed", text)
		}
	}
	for _, text := range []string{"5x4 tubes", "16:04:04", "fifth of the set", "1, 2, 3"} {
		if m := s.Scan(text, nil); len(m) > 0 {
			t.Errorf("%q is taken for %v", text, m)
		}
	}
}

// TestSpokenNumbers: numbers of the roster in words.
func TestSpokenNumbers(t *testing.T) {
	s := New(partedRoster)
	for _, words := range []string{"zero one two three four five six seven eight nine",
		"null eins zwei drei vier fünf sechs sieben acht neun",
		"zéro un deux trois quatre cinq six sept huit neuf", "cero uno dos tres cuatro cinco seis siete ocho nueve"} {
		w := strings.Fields(words)
		for _, number := range []string{"30418923", "41155206", "900001000", "2125550100"} {
			for _, between := range []string{" ", ", ", "-", "\n"} {
				say := func(number string) string {
					var said []string
					for _, c := range number {
						said = append(said, w[c-'0'])
					}
					return "noted " + strings.Join(said, between) + " yes"
				}
				if len(s.Scan(say(number), nil)) == 0 {
					t.Errorf("%q is missed", say(number))
				}
				if m := s.Scan(say("8"+number[1:]), nil); len(m) > 0 && number[0] != '9' && number[0] != '2' {
					t.Errorf("%q is taken for %v", say("8"+number[1:]), m)
				}
			}
		}
	}
	for _, text := range []string{"three zero four one double eight nine two three",
		"three 0 four one eight nine two three"} {
		if found := len(s.Scan(text, nil)) > 0; found != !strings.Contains(text, "double") {
			t.Errorf("%q: %v", text, found)
		}
	}
	if len(s.Scan("three zero four one eight nine", nil)) > 0 {
		t.Error("six digits of eight are taken for the number")
	}
}
