package schema

import (
	"regexp"
	"testing"
)

// Nothing that a built-in plan keeps lets a name of several words through, and its
// patterns are of the part that the dialects of regular expressions share (RFC 9485
// names it; JSON Schema 2020-12, Core, 6.4 recommends it).
func TestKeptIsNarrow(t *testing.T) {
	for _, name := range Builtin() {
		plan, err := LoadPlan(name)
		if err != nil {
			t.Fatal(err)
		}
		kept := 0
		for _, f := range plan.Fields {
			if f.Treatment.Kind != Keep {
				continue
			}
			if kept++; f.Wide {
				t.Errorf("%s: %s lets words through", name, f.Path)
			}
		}
		if kept < 10 {
			t.Errorf("%s keeps %d fields", name, kept)
		}
	}
	if m := regexp.MustCompile(`"pattern": "[^"]*\\\\[^-][^"]*"`).FindAll(sessionSchema, -1); len(m) > 0 {
		t.Errorf("patterns with classes of one dialect: %s", m)
	}
}

func TestWide(t *testing.T) {
	for words, wide := range map[string]bool{
		`"type": "string"`: true, `"type": "string", "maxLength": 10`: true,
		`"type": "string", "pattern": "^[^0-9]*$"`:                     true,
		`"type": "string", "pattern": "^[A-Za-z ]+$", "maxLength": 64`: true,
		`"type": "string", "pattern": "^[A-Z0-9-]+$"`:                  true,
		`"type": "string", "pattern": "^[A-Z0-9-]+$", "maxLength": 64`: false,
		`"type": "string", "pattern": "^[A-Z]{1,8}$"`:                  false,
		`"type": "string", "enum": ["Ann Lee"]`:                        false,
		`"type": "string", "format": "date"`:                           false,
		`"type": "number"`:                                             false, `"type": ["number", "string"]`: true,
	} {
		n, err := ParseJSON([]byte(`{"type": "object", "additionalProperties": false, "properties": {"a": {` +
			words + `, "deid": "keep", "why": "w"}}}`))
		if err != nil {
			t.Fatal(err)
		}
		s, err := shapeOf(n, true)
		if err != nil {
			t.Fatalf("%s: %v", words, err)
		}
		s.each(func(leaf *shape) {
			if leaf.field.Wide != wide {
				t.Errorf("%s is wide: %v", words, leaf.field.Wide)
			}
		})
	}
}
