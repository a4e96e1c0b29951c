package schema

import (
	"testing"
	"time"
)

// TestHasName: a recorder has a name in capitals, turned round, without accents, with a second
// given name or with ä as ae; another person's name is none of these.
func TestHasName(t *testing.T) {
	row := map[string]string{"given_name": "Jörg Émile", "family_name": "van Mühlen"}
	for _, text := range []string{"Jörg van Mühlen", "VAN MUEHLEN JOERG", "van_muhlen, jorg", "Joerg Paul van Mühlen",
		"Van Muehlen Jörg Emile"} {
		if !HasName(row, text) {
			t.Errorf("%q is not known", text)
		}
	}
	for _, text := range []string{"", "Jörg", "van Mühlen", "Jörg Mühlen", "Georg van Mühlen", "Jörgen van Mühlens"} {
		if HasName(row, text) {
			t.Errorf("%q is taken for the name", text)
		}
	}
	if HasName(map[string]string{"given_name": "Ada"}, "Ada") || HasName(nil, "Ada") {
		t.Error("a name without family name is taken")
	}
}

func TestSexesDiffer(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{{"female", "m", true}, {"male", "W", true}, {"F", "female", false}, {"female", "other", false},
		{"", "male", false}} {
		if SexesDiffer(c.a, c.b) != c.want || SexesDiffer(c.b, c.a) != c.want {
			t.Errorf("%q and %q: want %v", c.a, c.b, c.want)
		}
	}
}

func TestApart(t *testing.T) {
	for d, want := range map[time.Duration]string{61 * time.Minute: "61 minutes after",
		-150 * time.Minute: "2.5 hours before",
		-72 * time.Hour:    "3 days before", 0: "0 minutes after"} {
		if got := Apart(d); got != want {
			t.Errorf("%v is %q, want %q", d, got, want)
		}
	}
}
