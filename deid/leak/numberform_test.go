package leak

import (
	"strings"
	"testing"
)

// Good values: samples of python-stdnum's documentation, as in TestNational; the CPF and the vehicle's from memory. Bad
// values: of the same samples for the tax and the personal number and the DNI; the others are altered good ones.
func TestNumberForms(t *testing.T) {
	for _, c := range []struct{ name, good, bad string }{
		{"social security number", "2 95 10 99 126 111 93", "2 95 10 99 126 111 99"},
		{"tax number", "111.444.777-35", "111.444.777-05"},
		{"tax number", "36 574 261 809", "36 574 261 890"},
		{"identity number", "54362315K", "54362315Z"},
		{"personal number", "880320-0016", "880320-0018"},
		{"social insurance number", "123-456-782", "123-456-783"},
		{"vehicle identification number", "1M8GDM9AXKP042788", "1M8GDM9A1KP042788"},
	} {
		for v, want := range map[string]bool{c.good: true, c.bad: false} {
			text, got := "she gave "+v+" then", false
			for _, m := range New(nil).Scan(text, nil) {
				got = got || m.Basis == "pattern: "+c.name && strings.Contains(text[m.Start:m.End], v)
			}
			if got != want {
				t.Errorf("%s: found as a %s: %v", v, c.name, got)
			}
		}
		for _, m := range New(nil).Scan("tube "+c.good+" recapped", nil) {
			if m.Basis == "pattern: "+c.name {
				t.Errorf("%s: %+v behind the word for a tube", c.good, m)
			}
		}
	}
}
