package leak

import (
	"bytes"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"outbreath/schema"
)

// spelledInASCII are names as people of the country, passports and keyboards write
// them. ICAO Doc 9303 part 3 for the passports' (from memory); the rest common
// practice, no source.
var spelledInASCII = []struct{ given, family, ascii string }{
	{"Søren", "Fjældgård", "Soren Fjaeldgard|Soeren Fjaeldgaard|Soren Fjaeldgaard|Soeren Fjaeldgard"},
	{"Jörg", "Weißmüller", "Jorg Weissmuller|Joerg Weissmueller|Jorg Weissmueller"},
	{"Łucja", "Dąbrowska-Żak", "Lucja Dabrowska-Zak"},
	{"Đorđe", "Živković", "Dorde Zivkovic|Djordje Zivkovic"},
	{"Þóra", "Guðmundsdóttir", "Thora Gudmundsdottir|Thora Gudhmundsdottir"},
	{"Íñigo", "Peñafiel", "Inigo Penafiel"},
	{"Élodie", "Cœurvaillant", "Elodie Coeurvaillant"},
	{"Åsa", "Öhrnström", "Asa Ohrnstrom|Aasa Oehrnstroem"},
	{"Çağla", "Işıkoğlu", "Cagla Isikoglu"},
	{"Γεώργιος", "Παπαδόπουλος", "Georgios Papadopoulos"},
	{"Наталья", "Широкова", "Natalya Shirokova|Natalia Shirokova"},
	{"Bǎoyī", "Nguyễn", "Baoyi Nguyen"},
}

// TestASCIIAmongSamples: a name in ASCII letters is found among samples, whatever
// spelling, case and order, with a blank, none or EDF's underscore between.
func TestASCIIAmongSamples(t *testing.T) {
	r := &schema.Roster{Columns: []string{"subject_id", "given_name", "family_name"}}
	for _, x := range spelledInASCII {
		r.Rows = append(r.Rows, map[string]string{"given_name": x.given, "family_name": x.family})
	}
	all, err := NewLiterals(RosterLiterals(r, "", true))
	if err != nil {
		t.Fatal(err)
	}
	samples, rnd, n := all.Samples(), rand.New(rand.NewPCG(5, 5)), 0
	found := func(data []byte) (hits int) {
		s := samples.Stream(func(Hit, []byte) { hits++ })
		s.Write(data)
		s.Close()
		return hits
	}
	noise := func() []byte {
		b := make([]byte, 64)
		for i := range b {
			b[i] = byte(128 + rnd.IntN(128)) // no letter touches the name
		}
		return b
	}
	for _, x := range spelledInASCII {
		for _, name := range strings.Split(x.ascii, "|") {
			given, family, _ := strings.Cut(name, " ")
			for _, form := range []string{name, given + family, given + "_" + family, family + " " + given, family +
				", " + given, family + given} {
				for _, form := range []string{form, strings.ToUpper(form), strings.ToLower(form)} {
					n++
					if found(slices.Concat(noise(), []byte(form), noise())) == 0 {
						t.Errorf("%s %s: %q is not found", x.given, x.family, form)
					}
				}
			}
		}
	}
	if n < 300 {
		t.Errorf("%d forms only", n)
	}
	letters := []byte("abcdefghijklmnopqrstuvwxyz ABCDEFGHIJKLMNOPQRSTUVWXYZ")
	b := bytes.Repeat([]byte{0}, 8<<20) // as many letters by chance as 8 MB hold
	for i := range b {
		b[i] = letters[rnd.IntN(len(letters))]
	}
	if k := found(b); k != 0 {
		t.Errorf("%d names by chance", k)
	}
}
