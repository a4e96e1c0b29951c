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
				ok = ok || strings.Contains(text[m.Start:m.End], v) && (m.Confidence == Sure) == sure
			}
			if !ok {
				t.Errorf("%s %s: %+v", c.word, v, New(nil).Scan(text, nil))
			}
			s := schemes()[strings.ToLower(squeeze(strings.TrimPrefix(strings.Fields(c.word)[0], "Steuer-")))]
			if got := s.holds(squeeze(foldString(v))); got != sure {
				t.Errorf("%s %s: the check returns %v", c.word, v, got)
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

// What the check digits decide, for numbers that other detectors find: sure or
// likely where they hold, at most possible where they do not.
func TestCheckDigits(t *testing.T) {
	for _, c := range []struct {
		text string
		at   string
		want Confidence // "" : nothing, or possible
	}{
		// NHS number method (weights 10 to 2); the first good one from memory.
		{"NHS no. 943 476 5919", "943 476 5919", Sure},
		{"NHS number 9434765870", "9434765870", Sure}, // SN
		{"NHS no. 943 476 5871", "943 476 5871", ""},  // SN
		{"NHS number 1745438911", "1745438911", ""},   // SN
		// SSA, questions on randomization: never issued. 219-09-9999 is a printed specimen, from memory.
		{"SSN 219-09-9999", "219-09-9999", Likely},
		{"SSN 000-12-3456", "000-12-3456", ""},
		{"SSN 666-12-3456", "666-12-3456", ""},
		{"SSN 900-12-3456", "900-12-3456", ""},
		{"SSN 123-00-4567", "123-00-4567", ""},
		{"SSN 123-45-0000", "123-45-0000", ""},
		{"ITIN 912-90-3456", "912-90-3456", Likely}, // SN
		// ISO 13616; SN.
		{"IBAN GB82 WEST 1234 5698 7654 32", "GB82 WEST 1234 5698 7654 32", Sure},
		{"BE31435411161155", "BE31435411161155", Sure},
		{"GB28NWBK60161331926819", "GB28NWBK60161331926819", ""},
		// ISO/IEC 7812-1, Luhn; a card company's test number, from memory.
		{"card 4111 1111 1111 1111", "4111 1111 1111 1111", Likely},
		{"card 4111 1111 1111 1112", "4111 1111 1111 1112", ""},
	} {
		text := "seen " + c.text + " on the form"
		var got Confidence
		for _, m := range New(nil).Scan(text, nil) {
			if strings.Contains(text[m.Start:m.End], c.at) && m.Confidence != Possible {
				got = m.Confidence
			}
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.text, got, c.want)
		}
	}
}
