package leak

import (
	"strings"
	"testing"
)

// SN: samples in the documentation of python-stdnum; the others as named.
func TestNational(t *testing.T) {
	for _, c := range []struct {
		word, good, bad string
	}{
		{"SIN", "123-456-782", "999-999-999"},               // SN
		{"SIN", "123 456 782", "823456785"},                 // SN; 8 is not used
		{"NPI", "1234567893", "1234567894"},                 // CMS check-digit note
		{"BSN", "111222333", "111252333"},                   // SN
		{"BSN", "123456782", "123456783"},                   // from memory
		{"Steuer-IdNr.", "36 574 261 809", "36574261890"},   // SN
		{"IdNr", "86 095 742 719", "36554266806"},           // from memory; SN
		{"CPF", "111.444.777-35", "111.444.777-05"},         // from memory
		{"DNI", "54362315K", "54362315Z"},                   // SN
		{"DNI no.", "12345678-Z", "12345678-A"},             // from memory
		{"NIE", "X1234567L", "X1234567M"},                   // from memory
		{"NIR", "2 95 10 99 126 111 93", "295109912611199"}, // SN
		{"NIR", "253072A07300443", "253072C07300443"},       // SN
		{"NIR", "253072B07300470", "253072B07300471"},       // SN
		{"personnummer", "880320-0016", "880320-0018"},      // SN
		{"VIN", "1M8GDM9AXKP042788", "1M8GDM9A1KP042788"},   // from memory
		{"VIN:", "1G4AH59H45G118341", "1G4AH59H55G118341"},  // 49 CFR 565.15, table
	} {
		for v, sure := range map[string]bool{c.good: true, c.bad: false} {
			text := "seen " + c.word + " " + v + " on the form"
			ok := false
			for _, m := range New(nil).Scan(text, nil) {
				ok = ok || strings.Contains(text[m.Start:m.End], v) && (!sure || m.Confidence != Possible)
			}
			if !ok {
				t.Errorf("%s %s: %+v", c.word, v, New(nil).Scan(text, nil))
			}
			s := schemes[strings.ToLower(squeeze(strings.TrimPrefix(strings.Fields(c.word)[0], "Steuer-")))]
			if got := s.holds(squeeze(foldString(v))); got != sure {
				t.Errorf("%s %s: the check says %v", c.word, v, got)
			}
		}
		if strings.HasPrefix(c.word, "VIN") {
			continue
		}
		for _, m := range New(nil).Scan("tube "+squeeze(c.good)+" recapped", nil) { // a number alone is none
			t.Errorf("%s: %+v without its word", c.good, m)
		}
	}
}
