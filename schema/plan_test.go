package schema

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"outbreath/schema/costtest"
)

func plan(t testing.TB, name string) *Plan {
	t.Helper()
	p, err := LoadPlan(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestBuiltin is the treatment table of the three plans, so that a change to
// any of them is a change here. "=" means as in "shifted".
func TestBuiltin(t *testing.T) {
	table := [][4]string{
		{"/session_id", "pseudonym session", "=", "="},
		{"/study", "keep", "=", "="},
		{"/site", "keep", "=", "="},
		{"/operator", "pseudonym operator", "=", "="},
		{"/subject/subject_id", "pseudonym subject", "=", "="},
		{"/subject/birth_date", "age-band 5", "keep", "="},
		{"/subject/sex", "keep", "=", "="},
		{"/subject/postal_code", "region", "keep", "="},
		{"/subject/smoking_status", "keep", "=", "="},
		{"/subject/height_cm", "round 5, 140 to 200", "keep", "="},
		{"/subject/weight_kg", "round 5, 40 to 150", "keep", "="},
		{"/started_at", "shift", "keep", "year"},
		{"/ended_at", "shift", "keep", "year"},
		{"/outcome", "keep", "=", "="},
		{"/fraction", "keep", "=", "="},
		{"/room_c", "round 1", "keep", "="},
		{"/room_kpa", "round 1", "keep", "="},
		{"/kit/lot", "keep", "=", "pseudonym lot"},
		{"/kit/unit", "pseudonym kit", "keep", "="},
		{"/sampler/serial", "keep", "=", "drop"},
		{"/sampler/firmware", "keep", "=", "="},
		{"/sampler/checks/*/name", "keep", "=", "="},
		{"/sampler/checks/*/passed", "keep", "=", "="},
		{"/tubes/*/barcode", "keep", "=", "="},
		{"/tubes/*/position", "keep", "=", "="},
		{"/tubes/*/uncapped_at", "shift", "keep", "year"},
		{"/tubes/*/capped_at", "shift", "keep", "year"},
		{"/tubes/*/volume_ml", "keep", "=", "="},
		{"/tubes/*/storage", "keep", "=", "="},
		{"/tubes/*/role", "keep", "=", "="},
		{"/tubes/*/sorbent", "keep", "=", "="},
		{"/tubes/*/nominal_ml", "keep", "=", "="},
		{"/tubes/*/flow_start_ml_min", "keep", "=", "="},
		{"/tubes/*/flow_end_ml_min", "keep", "=", "="},
		{"/tubes/*/gate_kpa", "keep", "=", "="},
		{"/tubes/*/conditioned_at", "drop", "keep", "="},
		{"/tubes/*/cycles", "keep", "=", "="},
		{"/recordings/*/file", "recording", "=", "="},
		{"/recordings/*/format", "keep", "=", "="},
		{"/recordings/*/content", "text", "=", "drop"},
		{"/recordings/*/started_at", "shift", "keep", "year"},
		{"/recordings/*/source_co2_unit", "keep", "=", "="},
		{"/recordings/*/source_gas_kpa", "round 1", "keep", "="},
		{"/interruptions/*/at", "shift", "keep", "year"},
		{"/interruptions/*/cause", "text", "=", "drop"},
		{"/interruptions/*/note", "text", "=", "drop"},
		{"/notes", "text", "=", "drop"},
	}
	optional := map[string]bool{"/subject/postal_code": true, "/subject/smoking_status": true,
		"/subject/height_cm": true,
		"/subject/weight_kg": true, "/notes": true, "/room_c": true, "/room_kpa": true, "/sampler/firmware": true,
		"/tubes/*/role": true, "/tubes/*/sorbent": true, "/tubes/*/nominal_ml": true,
		"/tubes/*/flow_start_ml_min": true, "/tubes/*/flow_end_ml_min": true,
		"/tubes/*/gate_kpa": true, "/tubes/*/conditioned_at": true, "/tubes/*/cycles": true,
		"/recordings/*/started_at": true, "/recordings/*/source_co2_unit": true,
		"/recordings/*/source_gas_kpa": true}
	risk := map[string]string{"/subject/birth_date": "quasi", "/subject/sex": "quasi", "/subject/postal_code": "quasi",
		"/subject/height_cm": "quasi", "/subject/weight_kg": "quasi", "/subject/smoking_status": "sensitive"}
	for i, name := range Builtin() {
		p := plan(t, name)
		if p.Name != name || len(p.Fields) != len(table) {
			t.Fatalf("plan %s calls itself %s and has %d fields, want %d", name, p.Name, len(p.Fields), len(table))
		}
		for j, f := range p.Fields {
			want := table[j][1+i]
			if want == "=" {
				want = table[j][1]
			}
			if f.Path != table[j][0] || f.Treatment.String() != want || f.Required == optional[f.Path] ||
				f.Risk != risk[f.Path] {
				t.Errorf("%s: %s %s required %t risk %q, want %s %s", name, f.Path, f.Treatment, f.Required, f.Risk,
					table[j][0], want)
			}
			if len(f.Why) < 20 || !strings.HasSuffix(f.Why, ".") {
				t.Errorf("%s: %s has no reason", name, f.Path)
			}
			if got, ok := p.Field(f.Path); !ok || cmp.Diff(f, got) != "" {
				t.Errorf("%s: Field(%s) = %v, %t", name, f.Path, got, ok)
			}
		}
	}
	if _, err := LoadPlan("safe"); err == nil {
		t.Error("an unknown plan was loaded")
	}
	if _, ok := plan(t, "shifted").Field("/tubes"); ok {
		t.Error("a list is no field")
	}
}

// own returns a plan of a study's own: "shifted" with changes. Each change is
// a JSON pointer into the schema and the new value; "" removes it.
func own(t testing.TB, changes ...string) []byte {
	t.Helper()
	n, err := ParseJSON(sessionSchema)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(changes); i += 2 {
		edit(t, n, changes[i], changes[i+1])
	}
	return n.Encode()
}

// edit puts the JSON text value at pointer; "" removes what is there.
func edit(t testing.TB, root *Node, pointer, value string) {
	t.Helper()
	cut := strings.LastIndex(pointer, "/")
	parent, name := root.At(pointer[:cut]), pointer[cut+1:]
	if parent == nil {
		t.Fatalf("nothing at %s", pointer[:cut])
	}
	name, _ = unescapeToken(name)
	var v *Node
	if value != "" {
		var err error
		if v, err = ParseJSON([]byte(value)); err != nil {
			t.Fatal(err)
		}
	}
	if parent.Kind == Array {
		var i int
		fmt.Sscan(name, &i)
		switch {
		case v == nil:
			parent.Items = append(parent.Items[:i:i], parent.Items[i+1:]...)
		case i == len(parent.Items):
			parent.Items = append(parent.Items, v)
		default:
			parent.Items[i] = v
		}
		return
	}
	var members []Member
	done := false
	for _, m := range parent.Members {
		if m.Name == name {
			if v != nil {
				members = append(members, Member{name, v})
			}
			done = true
			continue
		}
		members = append(members, m)
	}
	if !done && v != nil {
		members = append(members, Member{name, v})
	}
	parent.Members = members
}

func TestParsePlanRefuses(t *testing.T) {
	const barcode, sex, notes, born, height = "/properties/tubes/items/properties/barcode",
		"/properties/subject/properties/sex",
		"/properties/notes", "/properties/subject/properties/birth_date", "/properties/subject/properties/height_cm"
	for _, c := range []struct {
		name    string
		changes []string
		message string
	}{
		{"leaf without a treatment", []string{notes + "/deid", ""},
			"at /properties/notes of the schema: this field has no treatment"},
		{"unknown treatment", []string{notes + "/deid", `"encrypt"`},
			"at /properties/notes of the schema: the treatment is none of"},
		{"treatment in two parts", []string{notes + "/deid", `{"pseudonym": "subject", "age-band": 5}`},
			"the treatment is none of"},
		{"round in two parts", []string{height + "/deid", `{"round": 5, "age-band": 5}`},
			"with both ends and nothing else"},
		{"round with one end", []string{height + "/deid", `{"round": 5, "from": 140}`},
			"with both ends and nothing else"},
		{"round with ends between multiples", []string{height + "/deid", `{"round": 5, "from": 141, "to": 200}`},
			"must be multiples of the width"},
		{"round with ends the wrong way", []string{height + "/deid", `{"round": 5, "from": 200, "to": 140}`},
			"must be multiples of the width"},
		{"pseudonym without a purpose", []string{notes + "/deid", `"pseudonym"`}, "needs a purpose"},
		{"pseudonym of unknown purpose", []string{notes + "/deid", `{"pseudonym": "shift"}`}, "is made for"},
		{"pseudonym of a kind that is no name", []string{notes + "/deid", `{"pseudonym": "Kit 1"}`}, "is made for"},
		{"shift with an unknown clock", []string{"/properties/started_at/deid", `{"shift": {"clock": "minute"}}`},
			`"keep", "hour" or "drop"`},
		{"days of a text", []string{notes + "/deid", `"day"`}, `the treatment "day" needs`},
		{"round without a width", []string{height + "/deid", `"round"`}, "needs a width"},
		{"width 0", []string{height + "/deid", `{"round": 0}`}, "from 1 to 100"},
		{"width 101", []string{height + "/deid", `{"round": 101}`}, "from 1 to 100"},
		{"width 2.5", []string{height + "/deid", `{"round": 2.5}`}, "from 1 to 100"},
		{"width in quotes", []string{height + "/deid", `{"round": "5"}`}, "from 1 to 100"},
		{"band of 51 years", []string{born + "/deid", `{"age-band": 51}`}, "from 1 to 50"},
		{"round of a text", []string{notes + "/deid", `{"round": 5}`},
			"at /properties/notes of the schema: the treatment \"round\" needs"},
		{"text of a number", []string{height + "/deid", `"text"`}, `"text" needs "type": "string"`},
		{"text of listed values", []string{sex + "/deid", `"text"`}, "is for free text"},
		{"text of a constant", []string{notes + "/const", `"x"`}, "is for free text"},
		{"text of a date", []string{born + "/deid", `"text"`}, "is for free text"},
		{"shift of a text", []string{notes + "/deid", `"shift"`}, `"format": "date" or "date-time"`},
		{"year of a time of day", []string{notes + "/deid", `"year"`, notes + "/format", `"time"`},
			`"format": "date" or "date-time"`},
		{"age band of a time", []string{"/properties/started_at/deid", `{"age-band": 5}`}, "needs a birth date"},
		{"region of 4 characters", []string{"/properties/subject/properties/postal_code/deid", `{"region": 4}`},
			"from 1 to 3"},
		{"region of a number", []string{height + "/deid", `"region"`}, `"region" needs`},
		{"text that may be null", []string{notes + "/type", `["string", "null"]`}, `"text" needs`},
		{"unknown risk", []string{sex + "/risk", `"high"`}, `the value of "risk" must be "quasi" or "sensitive"`},
		{"why of two lines", []string{sex + "/why", `"a\nb"`}, `the value of "why" must be`},
		{"treatment of an object", []string{"/properties/kit/deid", `"keep"`},
			`at /properties/kit of the schema: the keyword "deid" does not fit here`},
		{"columns beside a text", []string{notes + "/columns", `[{"name": "t_s", "min": 0, "max": 1}]`},
			`"columns" belongs next to`},
		{"column without a range", []string{"/properties/recordings/items/properties/file/columns",
			`[{"name": "t_s", "min": 0}]`}, `needs a "min" and a greater "max"`},
		{"column with a range upside down", []string{"/properties/recordings/items/properties/file/columns",
			`[{"name": "t_s", "min": 1, "max": 0}]`}, `needs a "min" and a greater "max"`},
		{"column twice", []string{"/properties/recordings/items/properties/file/columns",
			`[{"name": "t_s", "min": 0, "max": 1}, {"name": "t_s", "min": 0, "max": 1}]`}, `"name" of its own`},
		{"column of odd name", []string{"/properties/recordings/items/properties/file/columns",
			`[{"name": "a,b", "min": 0, "max": 1}]`}, `"name" of its own`},
		{"column with an unknown part", []string{"/properties/recordings/items/properties/file/columns",
			`[{"name": "a", "min": 0, "max": 1, "unit": "s"}]`}, `"columns" must be`},
		{"no columns", []string{"/properties/recordings/items/properties/file/columns", `[]`}, `"columns" must be`},

		{"object open to other names", []string{"/properties/kit/additionalProperties", ""},
			`at /properties/kit of the schema: "additionalProperties": false is missing`},
		{"object open by a schema", []string{"/properties/kit/additionalProperties",
			`{"type": "string", "deid": "keep"}`}, `"additionalProperties" must be true or false`},
		{"top open", []string{"/additionalProperties", "true"},
			`at the top of the schema: "additionalProperties": false is missing`},
		{"patternProperties", []string{"/properties/kit/patternProperties",
			`{"^x": {"type": "string", "deid": "keep"}}`}, `the keyword "patternProperties" is not supported`},
		{"object without fields", []string{"/properties/kit/properties", "{}", "/properties/kit/required", ""},
			`has no "properties"`},
		{"list without items", []string{"/properties/tubes/items", ""},
			`at /properties/tubes of the schema: "items" is missing`},
		{"list of anything", []string{"/properties/tubes/items", "true"}, `the value of "items" must be an object`},
		{"field that may be anything", []string{notes, "true"},
			"at /properties/notes of the schema: a schema is expected here"},
		{"field without a type", []string{notes + "/type", ""}, `"type" must name`},
		{"unknown type", []string{notes + "/type", `"text"`}, `"type" must name`},
		{"no type at all", []string{notes + "/type", "[]"}, `"type" must name`},
		{"type twice", []string{notes + "/type", `["string", "string"]`}, "each once"},
		{"text or object", []string{notes + "/type", `["string", "object"]`}, "cannot be something else as well"},
		{"whole schema is a list", []string{"/type", `"array"`, "/properties", "", "/required", "",
			"/additionalProperties", "", "/items", `{"type": "string", "deid": "drop"}`}, "must describe an object"},
		{"whole schema is a text", []string{"/type", `"string"`, "/properties", "", "/required", "",
			"/additionalProperties", "", "/deid", `"drop"`}, "must describe an object"},
		{"required field without properties", []string{"/properties/kit/required", `["lot", "unit", "colour"]`},
			`"required" names the field "colour"`},
		{"required twice", []string{"/properties/kit/required", `["lot", "lot"]`}, "a list of different field names"},
		{"field called *", []string{"/properties/*", `{"type": "string", "deid": "drop"}`},
			"at /properties/* of the schema: a field name is made of"},
		{"field with a slash", []string{"/properties/a~1b", `{"type": "string", "deid": "drop"}`},
			"a field name is made of"},
		{"field like an index", []string{"/properties/0", `{"type": "string", "deid": "drop"}`},
			"a field name is made of"},

		{"misspelt keyword", []string{notes + "/maxLenght", "5"}, `the keyword "maxLenght" is not known here`},
		{"keyword of another type", []string{notes + "/minimum", "5"}, `the keyword "minimum" does not fit here`},
		{"empty enum", []string{sex + "/enum", "[]"}, "a list of at least one"},
		{"enum without type and value", []string{sex + "/enum", "[]", sex + "/type", ""}, "a list of at least one"},
		{"enum of objects", []string{sex + "/enum", "[{}]"}, "a list of at least one"},
		{"pattern for another engine", []string{notes + "/pattern", `"(?=x)"`}, "as RE2 knows them"},
		{"pattern that explodes", []string{notes + "/pattern", `"(((a{1000}){1000}){1000})"`}, "as RE2 knows them"},
		{"long pattern", []string{notes + "/pattern", `"` + strings.Repeat("a", 501) + `"`}, "at most 500 bytes"},
		{"unknown format", []string{notes + "/format", `"datetime"`}, `the value of "format" must be`},
		{"format that nothing treats", []string{notes + "/format", `"email"`}, `the value of "format" must be`},
		{"negative length", []string{notes + "/maxLength", "-1"}, "a whole number from 0"},
		{"length of 1.5", []string{notes + "/maxLength", "1.5"}, "a whole number from 0"},
		{"length in quotes", []string{notes + "/maxLength", `"5"`}, "a whole number from 0"},
		{"limit in quotes", []string{height + "/minimum", `"5"`}, `the value of "minimum" must be a number`},
		{"multiple of 0", []string{height + "/multipleOf", "0.0e5"}, "a number greater than 0"},
		{"multiple of less", []string{height + "/multipleOf", "-1"}, "a number greater than 0"},
		{"title of two", []string{notes + "/title", "2"}, `the value of "title" must be a text`},
		{"unique what", []string{"/properties/tubes/uniqueItems", `"yes"`}, "true or false"},

		{"another draft", []string{"/$schema", `"http://json-schema.org/draft-07/schema#"`},
			`the value of "$schema" must be`},
		{"$schema within", []string{"/properties/kit/$schema", `"` + draft2020 + `"`},
			`the keyword "$schema" does not fit here`},
		{"$id within", []string{"/properties/kit/$id", `"x"`}, `the keyword "$id" does not fit here`},
		{"$dynamicRef", []string{notes + "/$dynamicRef", `"#x"`}, `the keyword "$dynamicRef" is not supported`},
		{"$anchor", []string{notes + "/$anchor", `"x"`}, `the keyword "$anchor" is not supported`},
		{"reference to a file", []string{notes + "/$ref", `"file:///etc/passwd"`},
			"may only point into the schema itself"},
		{"reference to a neighbour", []string{notes + "/$ref", `"notes.json"`},
			"may only point into the schema itself"},
		{"reference to the network", []string{notes + "/$ref", `"https://example.org/s.json#/$defs/x"`},
			"may only point into the schema itself"},
		{"reference to an anchor", []string{notes + "/$ref", `"#notes"`}, "may only point into the schema itself"},
		{"reference to the whole", []string{notes + "/$ref", `"#"`}, "may only point into the schema itself"},
		{"reference that is no text", []string{notes + "/$ref", `1`}, "may only point into the schema itself"},
		{"reference to nothing", []string{notes + "/$ref", `"#/$defs/x"`}, "points to nothing"},
		{"reference to itself", []string{"/$defs", `{"x": {"$ref": "#/$defs/x"}}`, notes, `{"$ref": "#/$defs/x"}`},
			"leads back to itself"},
		{"reference to its parent", []string{"/properties/kit/properties/kit", `{"$ref": "#/properties/kit"}`},
			"leads back to itself"},
		{"keyword on both sides of a reference", []string{"/$defs", `{"x": {"type": "string", "maxLength": 5}}`,
			notes, `{"$ref": "#/$defs/x", "maxLength": 6, "deid": "text"}`}, `"maxLength" is both next to`},
		{"allOf", []string{notes + "/allOf", `[{"type": "string"}]`}, `the keyword "allOf" is not supported`},
		{"if", []string{"/if", `{"type": "object"}`}, `the keyword "if" is not supported`},

		{"no barcode", []string{barcode, "", "/properties/tubes/items/required/0", ""},
			"the field /tubes/*/barcode is missing"},
		{"barcode optional", []string{"/properties/tubes/items/required/0", ""},
			`/tubes/*/barcode must be in "required"`},
		{"barcode dropped", []string{barcode + "/deid", `"drop"`}, "/tubes/*/barcode must have the treatment keep"},
		{"subject kept", []string{"/properties/subject/properties/subject_id/deid", `"keep"`},
			"/subject/subject_id must have the treatment pseudonym subject"},
		{"subject as a session", []string{"/properties/subject/properties/subject_id/deid",
			`{"pseudonym": "session"}`}, "must have the treatment pseudonym subject"},
		{"operator kept", []string{"/properties/operator/deid", `"keep"`}, "/operator must have the treatment"},
		{"start without a format", []string{"/properties/started_at/format", "", "/properties/started_at/deid",
			`"drop"`}, `/started_at must have "format": "date-time"`},
		{"start of a day", []string{"/properties/started_at/format", `"date"`},
			`/started_at must have "format": "date-time"`},
		{"birth date in free form", []string{born + "/format", "", born + "/deid", `"drop"`},
			`/subject/birth_date must have "format": "date"`},
		{"birth date in parts", []string{born, `{"type": "object", "additionalProperties": false, "properties": ` +
			`{"year": {"type": "integer", "deid": "keep"}}}`}, "the field /subject/birth_date is missing"},
		{"volume as a text", []string{"/properties/tubes/items/properties/volume_ml",
			`{"type": "string", "deid": "keep"}`}, `/tubes/*/volume_ml must have "type"`},
		{"recording without rules", []string{"/properties/recordings/items/properties/format/enum/2", `"bin"`},
			`must have "enum" with "csv"`},
		{"recording of any format", []string{"/properties/recordings/items/properties/format/enum", ""},
			`must have "enum" with "csv"`},
		{"recording elsewhere", []string{notes + "/deid", `"recording"`}, "change /notes"},
		{"second session pseudonym", []string{notes + "/deid", `{"pseudonym": "session"}`}, "change /notes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := ParsePlan("plans/own.json", own(t, c.changes...))
			e, ok := err.(*ConfigError)
			if !ok || p != nil {
				t.Fatalf("ParsePlan = %v, %v, want a *ConfigError", p, err)
			}
			if e.File != "plans/own.json" || !strings.Contains(e.Message, c.message) {
				t.Errorf("got %s: %s\nwant ...%s...", e.File, e.Message, c.message)
			}
		})
	}
	t.Run("not JSON", func(t *testing.T) {
		_, err := ParsePlan("own.json", []byte("{\n  \"type\": }"))
		if err == nil || !strings.Contains(err.Error(), "own.json: line 2, column 11: a value must begin here") {
			t.Errorf("got %v", err)
		}
	})
	t.Run("too large", func(t *testing.T) {
		_, err := ParsePlan("own.json", append(own(t), make([]byte, maxSchemaBytes)...))
		if err == nil || !strings.Contains(err.Error(), "larger than 1 MiB") {
			t.Errorf("got %v", err)
		}
	})
}

// TestParsePlanOwn accepts what a study may want, and what it gets is what
// the treatments make.
func TestParsePlanOwn(t *testing.T) {
	p, err := ParsePlan("own.json", own(t,
		"/$id", `"https://example.org/lark.json"`,
		"/$comment", `"written by the study office"`,
		"/$defs", `{"time": {"type": "string", "format": "date-time", "deid": "drop", "title": "a time"}, "all of `+
			`it": {"$ref": "#/$defs/time"}}`,
		"/properties/ended_at", `{"$ref": "#/$defs/all%20of%20it", "deid": "shift", "why": "Intervals stay true."}`,
		"/properties/diet", `{"enum": ["fasting", "fed", null], "deid": "keep", "risk": "sensitive", "examples": `+
			`["fed"], "title": "Diet"}`,
		"/properties/visit_day", `{"type": "string", "format": "date", "deid": "year"}`,
		"/properties/peak_flow", `{"type": ["integer", "number"], "multipleOf": 0.5, "maximum": 900, "deid": `+
			`{"round": 10}}`,
		"/properties/secret", `{"type": "object", "additionalProperties": false, "properties": {"a": {"type": `+
			`"array", "items": {"type": "string", "deid": "drop"}}}}`,
		"/required/12", `"secret"`,
		"/properties/words", `{"type": "array", "uniqueItems": true, "maxItems": 3, "items": {"type": "string", `+
			`"pattern": "^[a-z ]+$", "deid": "text"}}`,
		"/properties/codes", `{"type": "array", "uniqueItems": true, "items": {"type": "integer", "deid": "keep"}}`,
		"/properties/recordings/items/properties/file/columns",
		`[{"name": "t_s", "min": 0, "max": 3600, "rising": true}, {"name": "flow_l_s", "min": -20, "max": 2e1}]`,
	))
	if err != nil {
		t.Fatal(err)
	}
	f, _ := p.Field("/ended_at")
	if diff := cmp.Diff(Field{Path: "/ended_at", Treatment: Treatment{Kind: Shift}, Types: []string{"string"},
		Format: "date-time", Required: true, Why: "Intervals stay true."}, f); diff != "" {
		t.Error(diff)
	}
	f, _ = p.Field("/diet")
	if diff := cmp.Diff(Field{Path: "/diet", Treatment: Treatment{Kind: Keep}, Types: []string{"string", "null"},
		Enum: true, Risk: "sensitive"}, f); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]Column{{"t_s", 0, 3600, true, 0}, {"flow_l_s", -20, 20, false, 0}}, p.Columns()); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(DefaultColumns(), plan(t, "shifted").Columns()); diff != "" {
		t.Error(diff)
	}

	out := parse(t, string(p.Outgoing()))
	for pointer, want := range map[string]string{
		"/properties/ended_at": `{"type": "string", "pattern": ` +
			`"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\\.[0-9]{1,3})?$"}`,
		"/properties/diet":      `{"enum": ["fasting", "fed", null]}`,
		"/properties/visit_day": `{"type": "integer"}`,
		"/properties/peak_flow": `{"type": "number"}`,
		"/properties/words":     `{"type": "array", "maxItems": 3, "items": {"type": "string"}}`,
		"/properties/codes": `{"type": "array", "uniqueItems": true, "items": {"type": ` +
			`"integer"}}`,
		"/properties/session_id": `{"type": "string", "pattern": ` +
			`"^[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z]$"}`,
		"/properties/recordings/items/properties/file": `{"type": "string", "pattern": ` +
			`"^recordings/[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z]-[1-9][0-9]*\\.(csv|edf)$", ` +
			`"columns": [{"name": "t_s", "min": 0, "max": 3600, "rising": true}, {"name": "flow_l_s", "min": -20, ` +
			`"max": 2e1}]}`,
		"/properties/kit/required": `["lot", "unit"]`,
	} {
		if got := out.At(pointer); got == nil {
			t.Errorf("%s is not in the outgoing schema", pointer)
		} else if diff := cmp.Diff(parse(t, want), got, unplaced); diff != "" {
			t.Errorf("%s: %s", pointer, diff)
		}
	}
	if out.At("/properties/secret") != nil || strings.Contains(string(p.Outgoing()), "secret") {
		t.Error("an object of which nothing leaves is in the outgoing schema")
	}
}

// TestOutgoing holds for every plan: it can be compiled again, nothing of ours
// is in it, and its leaves are those that are not dropped.
func TestOutgoing(t *testing.T) {
	study, err := ParsePlan("own.json", own(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []*Plan{plan(t, "shifted"), plan(t, "limited"), plan(t, "year-only"), study} {
		out := p.Outgoing()
		if _, err := CompileOutgoing(out); err != nil {
			t.Errorf("%s: %v", p.Name, err)
		}
		n := parse(t, string(out))
		words := 0
		var walk func(n *Node, named bool)
		walk = func(n *Node, named bool) {
			for _, m := range n.Members {
				if !named && keywords[m.Name].use&ours != 0 {
					t.Errorf("%s: the outgoing schema holds %q", p.Name, m.Name)
				}
				if !named && (m.Name == "title" || m.Name == "description" || m.Name == "$id") {
					words++
				}
				walk(m.Value, !named && m.Name == "properties")
			}
			for _, item := range n.Items {
				walk(item, false)
			}
		}
		walk(n, false)
		if (words > 0) != (p != study) {
			t.Errorf("%s: the outgoing schema holds %d texts of the schema's author", p.Name, words)
		}
		s, err := shapeOf(n, false)
		if err != nil {
			t.Fatal(err)
		}
		left := make(map[string]bool)
		s.each(func(leaf *shape) {
			path := leaf.path
			for _, part := range []string{"/year", "/elapsed_s", "/day", "/date"} {
				path = strings.TrimSuffix(path, part)
			}
			left[path] = true
		})
		for _, f := range p.Fields {
			if left[f.Path] == (f.Treatment.Kind == Drop) {
				t.Errorf("%s: %s has the treatment %s; in the outgoing schema: %t", p.Name, f.Path, f.Treatment,
					left[f.Path])
			}
			delete(left, f.Path)
		}
		if len(left) > 0 {
			t.Errorf("%s: the outgoing schema has fields that the plan does not know: %v", p.Name, left)
		}
	}
}

// A record as the laboratory gets it under each plan; the values are invented.
func TestOutgoingAccepts(t *testing.T) {
	const (
		session, subject, operator = "0123-4567-89AB-CDEF-G", "HJKM-NPQR-STVW-XYZ0-*", "1111-2222-3333-4444-5"
	)
	record := func(t *testing.T, changes ...string) *Node {
		n := parse(t, validRecord)
		for pointer, v := range map[string]string{
			"/session_id": `"` + session + `"`, "/operator": `"` + operator + `"`,
			"/subject/subject_id": `"HJKM-NPQR-STVW-XYZ0-1"`,
			"/subject/birth_date": `"45-49"`, "/subject/postal_code": `"000"`,
			"/recordings/0/file": `"recordings/` + session + `-1.csv"`,
			"/kit/unit":          `"` + operator + `"`,
		} {
			edit(t, n, pointer, v)
		}
		for _, pointer := range []string{"/started_at", "/ended_at", "/tubes/0/uncapped_at", "/tubes/0/capped_at",
			"/interruptions/0/at"} {
			n.At(pointer).Text = strings.TrimSuffix(n.At(pointer).Text, "-05:00")
		}
		for i := 0; i < len(changes); i += 2 {
			edit(t, n, changes[i], changes[i+1])
		}
		return n
	}
	years := []string{"/started_at", `{"year": 2026, "elapsed_s": 0}`, "/ended_at",
		`{"year": 2026, "elapsed_s": 725.5}`,
		"/tubes/0/uncapped_at", `{"year": 2026, "elapsed_s": -30}`, "/tubes/0/capped_at",
		`{"year": 2026, "elapsed_s": 100}`,
		"/interruptions", `[{"at": {"year": 2026, "elapsed_s": 60}}]`, "/sampler/serial", "",
		"/kit/lot", `"` + operator + `"`, "/recordings/0/content", "", "/notes", ""}
	limited := []string{"/subject/birth_date", `"1970-01-01"`, "/kit/unit", "7"}
	for _, pointer := range []string{"/started_at", "/ended_at", "/tubes/0/uncapped_at", "/tubes/0/capped_at",
		"/interruptions/0/at"} {
		limited = append(limited, pointer, `"2026-03-02T08:22:00-05:00"`)
	}
	for _, c := range []struct {
		plan    string
		changes []string
		problem string // pointer, "" for none
	}{
		{"shifted", nil, ""},
		{"shifted", []string{"/subject/birth_date", `"90+"`, "/recordings/0/file",
			`"recordings/` + session + `-12.edf"`}, ""},
		{"shifted", []string{"/subject/birth_date", `"1970-01-01"`}, "/subject/birth_date"},
		{"shifted", []string{"/subject/birth_date", `"90-94"`}, ""}, // which bands there are is for the treatment
		{"shifted", []string{"/subject/subject_id", `"` + subject + `"`}, "/subject/subject_id"},
		{"shifted", []string{"/session_id", `"0123-4567-89AB-CDEI-G"`}, "/session_id"}, // no I in the alphabet
		{"shifted", []string{"/session_id", `"` + session + `\n"`}, "/session_id"},
		{"shifted", []string{"/recordings/0/file", `"recordings/a.csv"`}, "/recordings/0/file"},
		{"shifted", []string{"/recordings/0/file", `"recordings/` + session + `-0.csv"`}, "/recordings/0/file"},
		{"shifted", []string{"/started_at", `"2026-03-02T08:22:00-05:00"`}, "/started_at"},
		{"shifted", []string{"/started_at", `"2026-03-02T08:22:00.250"`}, ""},
		{"shifted", []string{"/started_at", `"2026-03-02T08:22:00.2501"`}, "/started_at"},
		{"shifted", []string{"/started_at", `"2026-03-02T08"`}, "/started_at"},
		{"limited", limited, ""},
		{"limited", append([]string{}, append(limited, "/subject/birth_date", `"45-49"`)...), "/subject/birth_date"},
		{"limited", append([]string{}, append(limited, "/ended_at", `"2026-03-02T08:22:00"`)...), "/ended_at"},
		{"year-only", years, ""},
		{"year-only", append([]string{"/notes", `"x"`}, years[:len(years)-2]...), ""},
	} {
		v, err := CompileOutgoing(plan(t, c.plan).Outgoing())
		if err != nil {
			t.Fatal(err)
		}
		problems := v.Validate("data", record(t, c.changes...))
		switch {
		case c.plan == "year-only" && len(c.changes) > 0 && c.changes[0] == "/notes":
			if len(problems) != 1 || problems[0].Rule != "schema.unknown" {
				t.Errorf("notes under year-only: %v", problems)
			}
		case c.problem == "" && len(problems) > 0, c.problem != "" &&
			(len(problems) != 1 || problems[0].Pointer != c.problem):
			t.Errorf("%s %v: %v", c.plan, c.changes, problems)
		}
	}
}

func TestCompileOutgoingRefuses(t *testing.T) {
	for name, text := range map[string]string{
		"not JSON":         `{`,
		"our own keywords": string(sessionSchema),
		"open object":      `{"type": "object", "properties": {"a": {"type": "string"}}}`,
		"reference elsewhere": `{"type": "object", "additionalProperties": false, "properties": {"a": {"$ref": ` +
			`"file:///etc/passwd"}}}`,
		"true":   `true`,
		"a list": `[]`,
		"unknown keyword": `{"type": "object", "additionalProperties": false, "properties": {"a": {"type": ` +
			`"string", "x": 1}}}`,
	} {
		if v, err := CompileOutgoing([]byte(text)); err == nil || v != nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// TestTraps are inputs that have stopped other readers. Each must be refused,
// or done with, at little cost.
func TestTraps(t *testing.T) {
	deep := strings.Repeat(`{"type": "object", "additionalProperties": false, "properties": {"a": `, 20) +
		`{"type": "string", "deid": "drop"}` + strings.Repeat("}}", 20)
	var doubling, either, chain, wide, fields strings.Builder
	for i := range 100 {
		fmt.Fprintf(&fields, `"f%d": {"type": "string", "deid": "drop"},`, i)
	}
	for i := range 40 {
		fmt.Fprintf(&either, `"d%d": {"oneOf": [{"$ref": "#/$defs/d%d"}, {"$ref": "#/$defs/d%d"}]},`, i, i+1, i+1)
		fmt.Fprintf(&doubling, `"d%d": {"type": "object", "additionalProperties": false, "properties": {"a": `+
			`{"$ref": "#/$defs/d%d"}, "b": {"$ref": "#/$defs/d%d"}}},`, i, i+1, i+1)
	}
	for i := range 5000 {
		fmt.Fprintf(&chain, `"d%d": {"$ref": "#/$defs/d%d"},`, i, i+1)
		fmt.Fprintf(&wide, `"f%d": {"$ref": "#/$defs/big"},`, i)
	}
	big := `{"big": {"enum": ["` + strings.Repeat("x", 500_000) + `"], "deid": "keep"}}`
	head := `{"type": "object", "additionalProperties": false, `
	for name, text := range map[string]string{
		"doubling references": head + `"properties": {"a": {"$ref": "#/$defs/d0"}}, "$defs": {` +
			doubling.String() + `"d40": {"type": "string", "deid": "drop"}}}`,
		"doubling alternatives": head + `"properties": {"a": {"$ref": "#/$defs/d0"}}, "$defs": {` +
			either.String() + `"d40": {"type": "string", "deid": "drop"}}}`,
		"doubling after one alternative": head + `"properties": {"a": {"oneOf": [{"$ref": "#/$defs/d0"}]}}, ` +
			`"$defs": {` + doubling.String() + `"d40": {"type": "string", "deid": "drop"}}}`,
		"64 alternatives of large ones": head + `"properties": {"a": {"enum": ["` + strings.Repeat("x", 100_000) +
			`"], "deid": "keep", "anyOf": [` + strings.Repeat(`{"type": "string"},`, 63) + `{"type": "string"}]}}}`,
		"64 alternatives of 100 fields": head + `"properties": {` + strings.TrimSuffix(fields.String(), ",") +
			`}, "anyOf": [` + strings.Repeat(`{"required": ["f1"]},`, 63) + `{"required": ["f1"]}]}`,
		"alternatives within themselves": head + `"properties": {"a": {"$ref": "#/$defs/a"}}, "$defs": {"a": ` +
			`{"oneOf": [{"type": "string", "deid": "drop"}, {"$ref": "#/$defs/a"}]}}}`,
		"16 alternatives in one another": head + `"properties": {"a": ` + strings.Repeat(`{"oneOf": [`, 16) +
			`{"type": "string", "deid": "drop"}` + strings.Repeat("]}", 16) + `}}`,
		"10,000 levels of objects": head + `"properties": {"a": ` +
			strings.Repeat(`{"type": "object", "additionalProperties": false, "properties": {"a": `, 10_000) +
			`{"type": "string", "deid": "drop"}` + strings.Repeat("}}", 10_000) + `}}`,
		"10,000 levels of alternatives": head + `"properties": {"a": ` + strings.Repeat(`{"anyOf": [`, 10_000) +
			`{"type": "string", "deid": "drop"}` + strings.Repeat("]}", 10_000) + `}}`,
		"empty enum among alternatives": head + `"properties": {"a": {"anyOf": [{"enum": [], "deid": "keep"}, ` +
			`{"type": "string", "deid": "keep"}]}}}`,
		"$dynamicRef among alternatives": head + `"properties": {"a": {"oneOf": [{"$dynamicRef": "#x"}, {"type": ` +
			`"string", "deid": "keep"}]}}}`,
		"file among alternatives": head + `"properties": {"a": {"oneOf": [{"$ref": "file:///etc/passwd"}, ` +
			`{"type": "string", "deid": "keep"}]}}}`,
		"chain of references": head + `"properties": {"a": {"$ref": "#/$defs/d0"}}, "$defs": {` +
			chain.String() + `"d5000": {"type": "string", "deid": "drop"}}}`,
		"deep objects": deep,
		"large once written": head + `"properties": {` + wide.String() +
			`"z": {"type": "string", "deid": "drop"}}, "$defs": ` + big + `}`,
		"10,000 levels": strings.Repeat(`{"properties":`, 10_000),
		"huge exponent": head + `"properties": {"a": {"type": "number", "deid": "keep", "minimum": 1e10000000}}}`,
		"5,001 fields": head + `"properties": {` +
			strings.TrimSuffix(strings.ReplaceAll(wide.String(), `{"$ref": "#/$defs/big"}`,
				`{"type": "string", "deid": "drop"}`), ",") + `, "z": {"type": "string", "deid": "drop"}}}`,
		"pattern of 500 bytes": head + `"properties": {"a": {"type": "string", "deid": "keep", "pattern": "` +
			strings.Repeat(`(x{1,9}){1,9}`, 38) + `"}}}`,
	} {
		quickly(t, name, func(t *testing.T) {
			if _, err := ParsePlan("own.json", []byte(text)); err == nil {
				t.Error("accepted")
			} else if len(err.Error()) > 500 {
				t.Errorf("the message is %d bytes long", len(err.Error()))
			} else {
				t.Log(err)
			}
		})
	}
	p := plan(t, "shifted")
	var unknown strings.Builder
	for i := range 49_000 {
		fmt.Fprintf(&unknown, `"x%d": 1,`, i)
	}
	for _, c := range []struct {
		name, text string
		problems   int
		rule       string
	}{
		{"200,000 errors", `{"tubes": [` + strings.Repeat("1,", 200_000) + `1]}`, 1, "schema.size"},
		{"49,000 errors", `{"tubes": [` + strings.Repeat("1,", 49_000) + `1]}`, maxProblems, "schema.required"},
		{"49,000 unknown fields", `{` + unknown.String() + `"z": 1}`, maxProblems, "schema.required"},
		{"16,000 large numbers", `{"tubes": [` + strings.Repeat(`{"volume_ml": 1e308, "x": 1},`, 16_000) + `1]}`,
			maxProblems, "schema.required"},
	} {
		quickly(t, c.name, func(t *testing.T) {
			problems := p.Validate("r", parse(t, c.text))
			if len(problems) != c.problems || problems[0].Rule != c.rule {
				t.Errorf("%d problems, the first %v", len(problems), problems[0])
			}
		})
	}
}

// quickly fails if f costs more than a trap may.
func quickly(t *testing.T, name string, f func(*testing.T)) {
	t.Run(name, func(t *testing.T) {
		costtest.Within(t, 200, func() { f(t) })
	})
}

func FuzzParsePlan(f *testing.F) {
	f.Add(sessionSchema)
	f.Add(own(f, "/$defs", `{"t": {"type": "string", "format": "date-time"}}`, "/properties/ended_at",
		`{"$ref": "#/$defs/t", "deid": "shift"}`))
	f.Add([]byte(`{"type": "object", "additionalProperties": false, "properties": {"a": {"$ref": "#/properties/a"}}}`))
	f.Add(own(f, "/oneOf", `[{"required": ["notes"]}, {}]`, "/properties/x",
		`{"deid": "keep", "anyOf": [{"enum": ["a"]}, {"type": "number", "minimum": 5}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		if v, err := CompileOutgoing(data); err == nil {
			v.Validate("r", parse(t, validRecord))
		}
		p, err := ParsePlan("own.json", data)
		if err != nil {
			if _, ok := err.(*ConfigError); !ok {
				t.Fatalf("the error is a %T", err)
			}
			return
		}
		for _, f := range p.Fields {
			if f.Treatment.Kind == "" || f.Treatment.unfit(f) != "" {
				t.Fatalf("%s has the treatment %q", f.Path, f.Treatment)
			}
		}
		if _, err := CompileOutgoing(p.Outgoing()); err != nil {
			t.Fatalf("what leaves has no schema: %v", err)
		}
		p.Validate("r", parse(t, validRecord))
	})
}
