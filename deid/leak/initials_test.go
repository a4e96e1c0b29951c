package leak_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"outbreath/deid/leak"
)

func TestInitials(t *testing.T) {
	for _, c := range []struct {
		given, family string
		want          []string
	}{
		{"Jana", "Miller", []string{"JM", "MJ"}},
		{"Inés María", "Quiñonero de la Vega", []string{"IQ", "QI", "IMQ", "IQDLV", "IMQDLV"}},
		{"Anneliese", "van der Zwaluwen", []string{"AZ", "ZA"}},
		{"", "Miller", nil},
	} {
		if got := leak.Initials(c.given, c.family); !slices.Equal(got, c.want) {
			t.Errorf("%s %s: %q", c.given, c.family, got)
		}
	}
	initials := []string{"JM", "MJ"}
	for text, want := range map[string]string{
		"JM coughed twice": "JM", "tube changed, (JM)": "JM", "J.M. was late": "J.M", "J. M. felt dizzy": "J. M",
		"with MJ": "MJ", "JM's tube": "JM", "ĴM rested": "ĴM",
		"JM-0417": "", "lot 12-JM": "", "JMX": "", "3JM": "", "jm": "", "AJM": "", "J. Miller": "", "Jm": "",
		"x.JM": "", "J.K.": "", "": "", "J": "",
	} {
		got := ""
		for _, m := range leak.FindInitials(text, initials) {
			got += text[m.Start:m.End]
		}
		if got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	if m := leak.FindInitials("OK to go; O.K. came", []string{"OK"}); len(m) != 1 || m[0].Start != 10 {
		t.Errorf("%+v", m)
	}
}

// A clean note seldom holds the initials of its own subject by chance.
func TestInitialsByChance(t *testing.T) {
	for _, h := range []half{tuning(), heldOut()} {
		r := rand.New(rand.NewPCG(h.seed, 7))
		people := roster(r, h.locales, 320)
		notes, alarms := 0, 0
		for _, n := range h.harmless(r, 1600) {
			for range 10 {
				p := people[r.IntN(len(people))]
				notes++
				for _, m := range leak.FindInitials(n.text, leak.Initials(p.given, p.family)) {
					alarms++
					t.Logf("%s %s: %q", p.given, p.family, n.text[m.Start:m.End])
				}
			}
		}
		t.Logf("%s: %d alarms in %d clean notes", h.name, alarms, notes)
		if notes != 16_000 || alarms > 16 {
			t.Error("more than one in a thousand")
		}
	}
}
