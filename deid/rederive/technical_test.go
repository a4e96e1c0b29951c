package rederive

import (
	"bytes"
	"os"
	"testing"
)

// The own copy of the word list is the one by which texts are kept; a word that is added
// there must be added here, by somebody who has looked at it.
func TestTechnicalWords(t *testing.T) {
	used, err := os.ReadFile("../../schema/edf/words.txt")
	if err != nil || !bytes.Equal(used, []byte(wordList)) {
		t.Errorf("words.txt is another list than schema/edf/words.txt: %v", err)
	}
	if len(technicalWords()) < 100 {
		t.Error("too few words")
	}
}

// Source of the texts: EDF+ 2.1.3, examples of prefiltering and transducers, and the
// texts of recorders (common practice, no source).
func TestTechnical(t *testing.T) {
	for _, s := range []string{"", "EDF Annotations", "Airway CO2", "HP:0.1Hz LP:75Hz N:50Hz", "AgAgCl electrode",
		"kPa",
		"cmH2O", "Flow 2", "NDIR sensor, mainstream", "50 Hz", "%", "signal 12", "SpO2"} {
		if !technical(s) {
			t.Errorf("%q is not kept", s)
		}
	}
	for _, s := range []string{"Whitlock", "CO2 of Tamsin", "4471923", "flow 1979", "12 34", "19790405 Hz", "flow-207",
		"a@b",
		"CO2\"", "no. 123", "T4471"} {
		if technical(s) {
			t.Errorf("%q is kept", s)
		}
	}
}

// Values by hand.
func TestLess(t *testing.T) {
	for _, a := range []struct{ a, b, want string }{
		{"33300.05", "33300", "0.05"}, {"33300", "33300", "0"}, {"33300.10", "33300.05", "0.05"},
		{"700", "650.25", "49.75"},
		{"7e2", "6.5e2", "50"}, {"7.25e2", "700.0", "25.0"}, {"86400", "600.001", "85799.999"}, {"x", "1", ""},
	} {
		if got := less(a.a, a.b); got != a.want {
			t.Errorf("%s less %s is %q, want %q", a.a, a.b, got, a.want)
		}
	}
}

func FuzzTechnical(f *testing.F) {
	f.Add("HP:0.1Hz LP:75Hz")
	f.Add("12.")
	f.Fuzz(func(t *testing.T, s string) {
		if technical(s) && len(s) > 0 && bytes.ContainsAny([]byte(s), "@\"\x00") {
			t.Fatalf("%q is kept", s)
		}
	})
}

func FuzzLess(f *testing.F) {
	f.Add("33300.05", "33300")
	f.Add("1e300", "1e-300")
	f.Fuzz(func(t *testing.T, a, b string) {
		if len(a) <= 32 && len(b) <= 32 && len(less(a, b)) > 2000 {
			t.Fatalf("%q less %q is long", a, b)
		}
	})
}
