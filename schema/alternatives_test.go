package schema

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Every alternative is held to what a plan without any is.
func TestAlternativesRefused(t *testing.T) {
	const x, kit = "/properties/x", "/properties/kit"
	closed := func(properties string) string {
		return `{"type": "object", "additionalProperties": false, "properties": {` + properties + `}}`
	}
	const kept, dropped = `{"type": "string", "deid": "keep"}`, `{"type": "string", "deid": "drop"}`
	for _, c := range []struct {
		name    string
		changes []string
		message string
	}{
		{"no treatment in one", []string{x, `{"oneOf": [` + kept + `, {"type": "number"}]}`},
			"at /properties/x/oneOf/1 of the schema: this field has no treatment"},
		{"no treatment deep in one", []string{x, `{"anyOf": [` + kept + `, ` +
			closed(`"a": {"type": "array", "items": {"oneOf": [`+dropped+`, {"type": "null"}]}}`) + `]}`},
			"at /properties/x/anyOf/1/properties/a/items/oneOf/1 of the schema: this field has no treatment"},
		{"no treatment behind a reference", []string{"/$defs", `{"n": {"type": "number"}}`, x,
			`{"oneOf": [` + kept + `, {"$ref": "#/$defs/n"}]}`},
			"at /properties/x/oneOf/1 of the schema: this field has no treatment"},
		{"two treatments", []string{x, `{"oneOf": [` + kept + `, ` + dropped + `]}`},
			`at /properties/x/oneOf/1 of the schema: the alternatives contradict each other: /x has the treatment ` +
				`"drop" here and "keep" in another`},
		{"two treatments deep", []string{x, `{"anyOf": [` + closed(`"k": {"const": 1, "deid": "keep"}, "a": `+kept) +
			`, ` + closed(`"k": {"const": 2, "deid": "keep"}, "a": {"type": "string", "deid": "text"}`) + `]}`},
			"at /properties/x/anyOf/1/properties/a of the schema: the alternatives contradict each other"},
		{"two pseudonyms", []string{x, `{"anyOf": [{"type": "string", "deid": {"pseudonym": "subject"}}, {"type": ` +
			`"string", "deid": {"pseudonym": "operator"}}]}`}, "contradict each other"},
		{"two widths", []string{x, `{"anyOf": [{"type": "number", "deid": {"round": 5}}, {"type": "number", ` +
			`"deid": {"round": 10}}]}`}, "contradict each other"},
		{"two risks", []string{x, `{"anyOf": [{"type": "number", "deid": "keep", "risk": "quasi"}, {"type": ` +
			`"string", "deid": "keep", "risk": "sensitive"}]}`}, `has the risk "sensitive" here`},
		{"beside and within", []string{x, `{"deid": "keep", "anyOf": [` + dropped + `]}`},
			`at /properties/x/anyOf/0 of the schema: the keyword "deid" is both next to`},
		{"unfit in one", []string{x, `{"deid": {"round": 5}, "oneOf": [{"type": "number"}, {"type": "string"}]}`},
			`at /properties/x/oneOf/1 of the schema: the treatment "round" needs`},
		{"text of a constant", []string{x, `{"deid": "text", "type": "string", "oneOf": [{"minLength": 9}, ` +
			`{"const": "none"}]}`}, `at /properties/x/oneOf/1 of the schema: the treatment "text" is for free text`},
		{"text of listed values", []string{x, `{"oneOf": [{"enum": ["a"], "deid": "text"}]}`}, "is for free text"},
		{"two formats", []string{x, `{"type": "string", "deid": "shift", "oneOf": [{"format": "date"}, {"format": ` +
			`"date-time"}]}`}, "different formats"},
		{"treatment of an object", []string{x, `{"deid": "drop", "oneOf": [` + closed(`"a": `+dropped) + `]}`},
			`at /properties/x/oneOf/0 of the schema: the keyword "deid" does not fit here`},
		{"open in one", []string{x, `{"oneOf": [` + closed(`"a": `+kept) +
			`, {"type": "object", "properties": {"b": ` + kept + `}}]}`},
			`at /properties/x/oneOf/1 of the schema: "additionalProperties": false is missing`},
		{"open by true", []string{kit + "/additionalProperties", "", kit + "/oneOf",
			`[{"additionalProperties": true}]`}, `"properties" and "additionalProperties" are both`},
		{"fields beside and within", []string{kit + "/oneOf", `[` + closed(`"a": `+kept) + `]`},
			`at /properties/kit/oneOf/0 of the schema: "properties" and "additionalProperties" are both`},
		{"anything", []string{x, `{"oneOf": [` + kept + `, true]}`},
			"at /properties/x/oneOf/1 of the schema: a schema is expected here"},
		{"a list of anything", []string{x, `{"oneOf": [` + kept + `, {"type": "array"}]}`},
			`at /properties/x/oneOf/1 of the schema: "items" is missing`},
		{"none", []string{x, `{"oneOf": []}`}, "a list of at least one schema"},
		{"no list", []string{x, `{"anyOf": ` + kept + `}`}, "a list of at least one schema"},
		{"both keywords", []string{x, `{"anyOf": [` + kept + `], "oneOf": [` + kept + `]}`}, "are next to each other"},
		{"65", []string{x, `{"deid": "keep", "anyOf": [` + strings.Repeat(`{"type": "string"},`, 64) +
			`{"type": "string"}]}`}, "at /properties/x/anyOf/64 of the schema: the schema has more than 64"},
		{"in itself", []string{x, `{"oneOf": [` + kept + `, {"$ref": "#/properties/x"}]}`}, "leads back to itself"},
		{"keyword of another type", []string{x, `{"deid": "keep", "minimum": 5, "oneOf": [{"type": "number"}, ` +
			`{"type": "string"}]}`}, `at /properties/x/oneOf/1 of the schema: the keyword "minimum" does not fit`},
		{"misspelt beside", []string{x, `{"diid": "keep", "oneOf": [` + kept + `]}`},
			`at /properties/x of the schema: the keyword "diid" is not known`},
		{"misspelt field in required", []string{"/oneOf", `[{"required": ["notes"]}, {"required": ["note"]}]`},
			`at /oneOf/1 of the schema: "required" names the field "note"`},
		{"allOf", []string{x, `{"oneOf": [{"allOf": [` + kept + `]}]}`},
			`at /properties/x/oneOf/0 of the schema: the keyword "allOf" is not supported here: write its parts ` +
				`together`},
		{"not beside", []string{x, `{"not": {}, "oneOf": [` + kept + `]}`},
			`at /properties/x of the schema: the keyword "not" is not supported`},
		{"unevaluatedProperties", []string{kit + "/additionalProperties", "", kit + "/unevaluatedProperties",
			"false", kit + "/anyOf", "[{}]"}, `the keyword "unevaluatedProperties" is not supported`},
		{"prefixItems", []string{x, `{"oneOf": [{"type": "array", "items": ` + kept + `, "prefixItems": [` + kept +
			`]}]}`}, `the keyword "prefixItems" is not supported`},
		{"dependentSchemas", []string{kit + "/oneOf", `[{"dependentSchemas": {}}]`},
			`the keyword "dependentSchemas" is not supported`},

		{"core field missing in one", []string{"/properties/subject",
			`{"oneOf": [` + strings.Replace(closed(`"subject_id": {"type": "string", "deid": {"pseudonym": `+
				`"subject"}}`), "{", `{"required": ["subject_id"], `, 1) + `, ` + closed(`"no": `+dropped) + `]}`},
			`/subject/subject_id must be in "required"`},
		{"core field optional in one", []string{"/properties/kit", "", "/properties/tubes/items/required/0", "",
			"/properties/tubes/items/anyOf", `[{"required": ["barcode"]}, {}]`},
			`/tubes/*/barcode must be in "required"`},
		{"core field an object in one", []string{"/properties/study",
			`{"oneOf": [` + kept + `, ` + closed(`"a": `+kept) + `]}`},
			"/study must be a single value in every alternative"},
		{"core field without a format in one", []string{"/properties/started_at",
			`{"type": "string", "deid": "keep", "oneOf": [{"format": "date-time"}, {"maxLength": 4}]}`},
			`/started_at must have "format"`},
		{"recording of any format in one", []string{"/properties/recordings/items/properties/format",
			`{"type": "string", "deid": "keep", "oneOf": [{"const": "csv"}, {"minLength": 4}]}`},
			`must have "enum" with "csv"`},
		{"recordings with other columns", []string{"/properties/recordings/items/properties/file",
			`{"type": "string", "deid": "recording", "oneOf": [{"columns": [{"name": "a", "min": 0, "max": 1}]}, ` +
				`{}]}`}, `other "columns" in another one`},
		{"everything a list in one", []string{"/type", "", "/additionalProperties", "", "/required", "",
			"/properties", "", "/oneOf", `[{"type": "array", "items": ` + kept + `}]`}, "must describe an object"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ParsePlan("own.json", own(t, c.changes...))
			if err == nil {
				t.Fatal("accepted")
			}
			if _, ok := err.(*ConfigError); !ok || !strings.Contains(err.Error(), c.message) {
				t.Errorf("got %v\nwant ...%s...", err, c.message)
			}
		})
	}
}

// TestAlternatives accepts what a study may want, and knows of it what holds
// for every alternative.
func TestAlternatives(t *testing.T) {
	p, err := ParsePlan("own.json", own(t,
		"/$defs", `{"person": {"type": "object", "additionalProperties": false, "required": ["kind", "called"], "properties": {
			"kind": {"const": "person", "deid": "keep"}, "called": {"type": "string", "deid": "drop"}, "by": {"const": "op-lead", "deid": {"pseudonym": "operator"}}}}}`,
		"/oneOf", `[{"required": ["notes"]}, {"required": ["words"]}]`,
		"/properties/words", `{"type": "array", "minItems": 1, "maxItems": 3, "uniqueItems": true, "items": `+
			`{"oneOf": [{"type": "number", "deid": "drop"}, {"type": "object", "additionalProperties": false, `+
			`"properties": {"a": {"type": "string", "deid": "text"}}}]}}`,
		"/properties/dose", `{"deid": "keep", "risk": "sensitive", "why": "The dose matters.", "anyOf": [{"enum": `+
			`["unknown", null]}, {"type": "number", "minimum": 0}, {"type": "string", "format": "date"}]}`,
		"/properties/informant",
		`{"title": "Who told it", "oneOf": [{"$ref": "#/$defs/person"}, {"type": "object", "additionalProperties": false, "required": ["kind", "ward"], "properties": {
			"kind": {"const": "ward", "deid": "keep"}, "ward": {"enum": ["north", "south"], "deid": "keep"}}}, {"type": "string", "deid": "drop"}]}`,
		"/properties/lists", `{"oneOf": [{"type": "array", "minItems": 2, "items": {"type": "object", `+
			`"additionalProperties": false, "properties": {"gone": {"type": "string", "deid": "drop"}}}}, {"type": `+
			`"array", "items": {"type": "object", "additionalProperties": false, "properties": {"left": {"type": `+
			`"string", "deid": "keep"}}}}]}`,
		"/properties/emptied", `{"anyOf": [{"type": "array", "minItems": 2, "maxItems": 4, "items": {"type": `+
			`"string", "deid": "drop"}}, {"type": "array", "items": {"type": "object", "additionalProperties": `+
			`false, "properties": {"left": {"type": "string", "deid": "keep"}}}}]}`,
		"/properties/same", `{"type": "string", "deid": {"pseudonym": "operator"}, "oneOf": [{"const": "op-1"}, `+
			`{"pattern": "^x"}]}`,
		"/required/12", `"same"`, "/required/13", `"informant"`,
		"/properties/recordings/items/properties/format",
		`{"deid": "keep", "oneOf": [{"const": "csv"}, {"const": "edf"}]}`,
	))
	if err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]Field{
		"/dose": {Treatment: Treatment{Kind: Keep}, Types: []string{"string", "null", "number"},
			Risk: "sensitive", Why: "The dose matters."},
		"/informant/kind":   {Treatment: Treatment{Kind: Keep}, Types: []string{"string"}, Enum: true},
		"/informant/called": {Treatment: Treatment{Kind: Drop}, Types: []string{"string"}},
		"/informant":        {Treatment: Treatment{Kind: Drop}, Types: []string{"string"}, Required: true},
		"/same": {Treatment: Treatment{Kind: Pseudonym, Purpose: "operator"}, Types: []string{"string"},
			Required: true},
	} {
		want.Path = path
		if got, _ := p.Field(path); cmp.Diff(want, got) != "" {
			t.Errorf("%s: %s", path, cmp.Diff(want, got))
		}
	}
	out := parse(t, string(p.Outgoing()))
	for _, hidden := range []string{"oneOf", "op-lead", "op-1", "Who told it", "gone", "called"} {
		if strings.Contains(string(p.Outgoing()), `"`+hidden+`"`) {
			t.Errorf("the outgoing schema holds %q", hidden)
		}
	}
	const alias = `{"type": "string", "pattern": "^[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z]$"}`
	for pointer, want := range map[string]string{
		"/anyOf/0/properties/same": alias,
		"/anyOf/0/properties/words": `{"type": "array", "maxItems": 3, "items": {"type": "object", ` +
			`"additionalProperties": false, "properties": {"a": {"type": "string"}}}}`,
		"/anyOf/1/properties/dose": `{"anyOf": [{"enum": ["unknown", null]}, {"type": "number", "minimum": 0}, ` +
			`{"type": "string", "format": "date"}]}`,
		"/anyOf/1/properties/informant": `{"anyOf": [{"type": "object", "additionalProperties": false, "required": ["kind"], "properties": {"kind": {"const": "person"}, "by": ` + alias + `}},
			{"type": "object", "additionalProperties": false, "required": ["kind", "ward"], "properties": {"kind": {"const": "ward"}, "ward": {"enum": ["north", "south"]}}}]}`,
		"/anyOf/1/properties/emptied": `{"anyOf": [{"type": "array", "maxItems": 0, "items": {"type": "null"}}, ` +
			`{"type": "array", "items": {"type": "object", "additionalProperties": false, "properties": {"left": ` +
			`{"type": "string"}}}}]}`,
		"/anyOf/1/properties/lists": `{"anyOf": [{"type": "array", "minItems": 2, "items": {"type": "object", ` +
			`"additionalProperties": false, "properties": {}}}, {"type": "array", "items": {"type": "object", ` +
			`"additionalProperties": false, "properties": {"left": {"type": "string"}}}}]}`,
	} {
		if got := out.At(pointer); got == nil {
			t.Errorf("%s is not in the outgoing schema", pointer)
		} else if diff := cmp.Diff(parse(t, want), got, unplaced); diff != "" {
			t.Errorf("%s: %s", pointer, diff)
		}
	}
	for _, item := range out.At("/anyOf/0/required").Items {
		if item.Text == "informant" {
			t.Error("the outgoing schema requires a field that may be dropped")
		}
	}
}

// Messages name the fault in the alternative that was meant.
func TestAlternativesExplained(t *testing.T) {
	p, err := ParsePlan("own.json", own(t, "/properties/informant", `{"oneOf": [
		{"type": "object", "additionalProperties": false, "required": ["kind", "name"], "properties": {"kind": {"const": "person", "deid": "keep"}, "name": {"type": "string", "deid": "drop"}}},
		{"type": "object", "additionalProperties": false, "required": ["kind", "ward"], "properties": {"kind": {"const": "ward", "deid": "keep"}, "ward": {"enum": ["north", "south"], "deid": "keep"}}},
		{"type": "array", "items": {"type": "integer", "deid": "keep"}}]}`,
		"/properties/twice", `{"deid": "keep", "oneOf": [{"type": "number"}, {"type": "integer"}]}`))
	if err != nil {
		t.Fatal(err)
	}
	for value, want := range map[string][]string{
		`{"kind": "person", "name": "x"}`:   nil,
		`{"kind": "ward", "ward": "north"}`: nil,
		`[1, 2]`:                            nil,
		`{"kind": "person"}`:                {"/informant schema.required informant.name is missing: add it"},
		`{"kind": "person", "name": "x", "age": 90}`: {"/informant schema.unknown the field with this value " +
			"is not part of the plan: remove it or correct its name"},
		`[1, "x"]`: {"/informant/1 schema.type informant[1] must be a whole " +
			"number, without quotation marks"},
		`{"kind": "uncle"}`: {"/informant schema.alternatives informant fits none"},
		`"Odile"`:           {"/informant schema.alternatives informant"},
	} {
		var got []string
		for _, q := range p.Validate("r", parse(t, strings.Replace(validRecord, "{", `{"informant": `+value+`,`, 1))) {
			got = append(got, q.Pointer+" "+q.Rule+" "+q.Message)
		}
		ok := len(got) == len(want)
		for i := range got {
			// a oneOf that nothing fits and one that two fit are one keyword
			ok = ok && strings.HasPrefix(strings.Replace(got[i], "does not fit exactly one", "fits none", 1), want[i])
		}
		if !ok {
			t.Errorf("%s: %q, want %q", value, got, want)
		}
	}
	if got := p.Validate("r", parse(t, strings.Replace(validRecord, "{", `{"twice": 5,`, 1))); len(got) != 1 ||
		got[0].Rule != "schema.alternatives" {
		t.Errorf("a value that fits both: %v", got)
	}
}
