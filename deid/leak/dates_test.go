package leak

import (
	"strings"
	"testing"

	"outbreath/schema"
)

// TestBirthDates: the ways in which people write the date of birth 3 July 1978 of a
// subject on the roster, alone and in sentences. Common practice, no source.
func TestBirthDates(t *testing.T) {
	s := New(&schema.Roster{Columns: []string{"given_name", "family_name", "birth_date"},
		Rows: []map[string]string{{"given_name": "Käthe", "family_name": "Thistlewood", "birth_date": "1978-07-03"}}})
	found := func(text string) bool {
		for _, m := range s.Scan(text, nil) {
			if m.Class == "C" {
				return true
			}
		}
		return false
	}
	for _, d := range strings.Split("1978-07-03|03.07.1978|3.7.1978|3.7.78|03/07/1978|07/03/1978|3/7/78|7/3/78|03-07-1978|03-07-78|19780703|03071978|07031978|030778|070378|780703|"+
		"3 July 1978|July 3, 1978|July 3rd, 1978|3rd of July 1978|3 Jul 78|3-Jul-1978|03JUL1978|3. Juli 1978|3 "+
		"juillet 1978|3 de julio de 1978|3 luglio 1978|3 juli 1978|3 lipca 1978|"+
		"3 июля 1978|3 липня 1978|3 Ιουλίου 1978|1978/07/03|1978.07.03|3 7 1978|03 07 78|3.VII.1978|3 VII "+
		"1978|03.07.'78|1978年7月3日|1978년 7월 3일|July 1978|Juli 1978|07/1978|1978-07", "|") {
		for _, frame := range []string{"{}", "born {}", "DOB {} ok", "geb. {}", "subject says {} is right", "({})",
			"wristband: {}"} {
			if text := strings.ReplaceAll(frame, "{}", d); !found(text) {
				t.Errorf("missed in %q", text)
			}
		}
	}
	for _, text := range []string{"lot 030778", "LK030778", "serial 780703", "reference 030778", "tube 07/1978",
		"firmware 7.1978", "030779", "08/1978", "August 1978", "03 07 79 ml",
		"pulse 72 75 78", "at 03:07:78", "VII 1978", "room 3 VII", "+49 030778 12", "450 ml in 07 min",
		"flow 7.19 78"} {
		if found(text) {
			t.Errorf("a date of birth in %q", text)
		}
	}
	if !found("born 08/1981, says her sister") || !found("geboren im August 1981") {
		t.Error("a month of birth that is on no roster is missed")
	}
}
