package schema

import "testing"

func TestTooLong(t *testing.T) {
	volume := Field{Types: []string{"number"}}
	for literal, ok := range map[string]bool{
		"500": true, "500.25": true, "1234567": true, "0.0001234567": true, "5e2": true, "-0": true, "1.23456e7": true,
		"500.00000030418923": false, "12345678": false, "500.00000": true, "1013.250000": true, "1013.250001": false,
		"0.000": true, "1.234567e7": false, "5e12345678": false, "1e-304189": true,
	} {
		if got := volume.TooLong(&Node{Kind: Number, Text: literal}) == ""; got != ok {
			t.Errorf("%s passes %v", literal, got)
		}
	}
	volume = Field{Types: []string{"number"}, Digits: 6, Decimals: 3}
	for literal, ok := range map[string]bool{
		"500.125": true, "500.1250": true, "40.5193": false, "40.51935": false, "0.0005": false, "5e-4": false,
		"5.0012e2": true, "500.1255": false, "100000": true, "1e-3": true,
	} {
		if got := volume.TooLong(&Node{Kind: Number, Text: literal}) == ""; got != ok {
			t.Errorf("%s ml passes %v", literal, got)
		}
	}
	few := Field{Types: []string{"number"}, Digits: 3}
	if few.TooLong(&Node{Kind: Number, Text: "500.5"}) == "" || few.TooLong(&Node{Kind: Number, Text: "50.5"}) != "" {
		t.Error("a field's own digits do not count")
	}
	at := Field{Types: []string{"string"}, Format: "date-time"}
	for text, ok := range map[string]bool{
		"2026-03-02T08:00:00Z": true, "2026-03-02T08:00:00.123+01:00": true, "2026-03-02T08:00:00.1234Z": false,
		"2026-03-02t08:00:00.304189230z": false,
		"2026-03-02T08:00:00+05:45":      true, "2026-03-02T08:00:00+14:00": true, "2026-03-02T08:00:00-12:00": true,
		"2026-03-02T08:00:00-03:30": true,
		"2026-03-02T08:00:00+14:15": false, "2026-03-02T08:00:00-12:15": false, "2026-03-02T08:00:00+19:45": false,
		"2026-03-02T08:00:00+01:41": false,
	} {
		if got := at.TooLong(&Node{Kind: String, Text: text}) == ""; got != ok {
			t.Errorf("%s passes %v", text, got)
		}
	}
	if (&Field{Types: []string{"string"}}).TooLong(&Node{Kind: String, Text: "v1.23456789"}) != "" {
		t.Error("a text has no digits to be counted")
	}
}
