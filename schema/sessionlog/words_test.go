package sessionlog

import (
	"slices"
	"strings"
	"testing"

	"outbreath/schema"
)

// TestOwnHeadings: every heading of a workbook of ours names its own column alone.
func TestOwnHeadings(t *testing.T) {
	for _, p := range []*schema.Plan{shifted(t), ownPlan(t)} {
		h := newHeads(p)
		seen := map[string]bool{}
		for i := range h.columns {
			c := &h.columns[i]
			if seen[c.Sheet+"|"+normal(c.Heading)] {
				t.Errorf("%s: the heading %q is there twice", c.Sheet, c.Heading)
			}
			seen[c.Sheet+"|"+normal(c.Heading)] = true
			if got := h.meanings(c.Sheet, c.Heading); len(got) != 1 || got[0].column != c || got[0].entry != "" {
				t.Errorf("%s: %q means %+v", c.Sheet, c.Heading, got)
			}
			name := strings.TrimPrefix(last(c.Field), rosterPrefix)
			if name == "*" { // an entry that is a single value has no name
				continue
			}
			if got := h.meanings(c.Sheet, name); !slices.ContainsFunc(got, func(m meaning) bool {
				return m.column == c && m.entry == ""
			}) {
				t.Errorf("%s: the field's name %q means %+v", c.Sheet, name, got)
			}
		}
		if len(seen) < 20 {
			t.Errorf("only %d headings", len(seen))
		}
	}
}

// TestListedHeadings: every word of the list means its field in the field's sheet, alone or
// with others; then it is asked about. Few are.
func TestListedHeadings(t *testing.T) {
	h := newHeads(shifted(t))
	words, shared := 0, 0
	for field, list := range wordList("headings.txt") {
		sheetName := ""
		for _, c := range h.columns {
			if c.Field == field && sheetName == "" {
				sheetName = c.Sheet
			}
		}
		if sheetName == "" {
			t.Errorf("%s is no field of the built-in plans", field)
			continue
		}
		for _, w := range list {
			found := h.meanings(sheetName, w)
			if !slices.ContainsFunc(found, func(m meaning) bool { return m.column.Field == field }) {
				t.Errorf("%s: %q means %+v", field, w, found)
			}
			words++
			if len(found) > 1 {
				shared++
				t.Logf("%s: %q means %d fields", field, w, len(found))
			}
		}
	}
	t.Logf("%d words, %d of them of several fields", words, shared)
	if words < 400 || shared > words/20 {
		t.Errorf("%d words, %d of them of several fields", words, shared)
	}
}

// TestListedValues: every word of the list means its value alone where the schema lists it.
func TestListedValues(t *testing.T) {
	var leaves []*schema.Leaf
	for _, c := range Columns(shifted(t)) {
		if c.Leaf != nil && (c.Leaf.Listed != nil || c.Leaf.Accepts("boolean")) {
			leaves = append(leaves, c.Leaf)
		}
	}
	n := 0
	for value, list := range wordList("values.txt") {
		for _, l := range leaves {
			if !slices.Contains(l.Listed, value) && !(l.Accepts("boolean") && (value == "true" || value == "false")) {
				continue
			}
			for _, w := range append(list, value, strings.ToUpper(value)) {
				if got := listed(l, w); len(got) != 1 || got[0] != value {
					t.Errorf("%s: %q means %v, want %s", l.Path, w, got, value)
				}
				n++
			}
		}
	}
	if n < 200 {
		t.Errorf("only %d words", n)
	}
}

// TestUnits compares conversions with published figures: SI Brochure (9th edition), table 8
// (1 mmHg = 133.322 Pa, 1 bar = 100 kPa, 1 L = 1000 mL); 32 °F is 0 °C and 98.6 °F is 37 °C,
// 1 lb = 0.45359237 kg and 1 in = 2.54 cm by definition. From memory.
func TestUnits(t *testing.T) {
	for _, c := range []struct{ value, from, to, want string }{
		{"0.5", "L", "mL", "500"}, {"50", "cl", "mL", "500"}, {"1013.25", "mbar", "kPa", "101.325"},
		{"760", "mmHg", "kPa", "101.325"}, {"1", "bar", "kPa", "100"}, {"32", "°F", "°C", "0"}, {"98.6", "°F",
			"°C", "37"},
		{"293.15", "K", "°C", "20"}, {"1.75", "m", "cm", "175"}, {"70", "in", "cm", "177.8"}, {"100", "lb", "kg",
			"45.359237"},
		{"0.25", "l/min", "mL/min", "250"}, {"101325", "Pa", "kPa", "101.325"}, {"70", "°F", "°C", "21.1"},
	} {
		if got := convert(c.value, mustUnit(c.from), mustUnit(c.to)); got != c.want {
			t.Errorf("%s %s is %s %s, want %s", c.value, c.from, got, c.to, c.want)
		}
	}
	for heading, want := range map[string]string{"Volume (ml)": "mL", "Volumen [ml]": "mL", "Volume, l": "L",
		"volume_ml": "mL", "Volume in ml": "mL", "flow_start_ml_min": "mL/min", "Flow start (mL/min)": "mL/min",
		"Temp °C": "°C", "Room pressure (hPa)": "hPa", "Volume": ""} {
		if _, u, _ := splitUnit(heading); u.name != want {
			t.Errorf("%q has the unit %q, want %q", heading, u.name, want)
		}
	}
}
