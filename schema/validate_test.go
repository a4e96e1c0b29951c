package schema

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// validRecord is an invented session, valid under every built-in plan.
const validRecord = `{
  "session_id": "WEIR-V0001",
  "study": "LARK-2",
  "site": "WEIR",
  "operator": "op-kestrel",
  "subject": {
    "subject_id": "S-0001",
    "birth_date": "1978-05-17",
    "sex": "female",
    "postal_code": "36059",
    "smoking_status": "never",
    "height_cm": 171,
    "weight_kg": 68.5
  },
  "started_at": "2026-03-02T08:22:00-05:00",
  "ended_at": "2026-03-02T08:31:00-05:00",
  "outcome": "complete",
  "fraction": "end-tidal",
  "kit": {"lot": "L2611", "unit": 7},
  "sampler": {"serial": "SMP-207", "firmware": "3.2.1", "checks": [{"name": "leak-test", "passed": true}]},
  "tubes": [
    {"barcode": "LK07-0001-A", "position": "A", "uncapped_at": "2026-03-02T08:23:00-05:00", "capped_at": "2026-03-02T08:25:00-05:00", "volume_ml": 500, "storage": "refrigerated"}
  ],
  "recordings": [
    {"file": "recordings/trace-0001.csv", "format": "csv", "content": "CO2 and mouth pressure"}
  ],
  "interruptions": [
    {"at": "2026-03-02T08:24:00-05:00", "cause": "cough", "note": ""}
  ],
  "notes": ""
}
`

func TestValidate(t *testing.T) {
	p := plan(t, "shifted")
	if problems := p.Validate("r", parse(t, validRecord)); len(problems) != 0 {
		t.Fatalf("the valid record: %v", problems)
	}
	const z = "ZQXJ" // is in every wrong value, and may not come back
	for _, c := range []struct {
		pointer, value string
		at, rule       string // pointer and rule of the one problem; "" if there is none
		message        string
	}{
		{"/session_id", "", "", "schema.required", "session_id is missing: add it"},
		{"/subject/sex", "", "/subject", "schema.required", "subject.sex is missing: add it"},
		{"/tubes/0/storage", "", "/tubes/0", "schema.required", "tubes[0].storage is missing: add it"},
		{"/interruptions/0/note", "", "/interruptions/0", "schema.required",
			"interruptions[0].note is missing: add it"},
		{"/notes", "", "", "", ""},
		{"/interruptions", "", "", "", ""},
		{"/subject/height_cm", "", "", "", ""},
		{"/recordings", "[]", "", "", ""},
		{"/ZQXJ Quillon", `"ZQXJ"`, "", "schema.unknown",
			"the field with this value is not part of the plan: remove it or correct its name"},
		{"/tubes/0/ZQXJ", `1`, "/tubes/0", "schema.unknown",
			"the field with this value is not part of the plan"},
		{"/session_id", `""`, "/session_id", "schema.length", "session_id must not be empty"},
		{"/session_id", `"` + strings.Repeat(z, 17) + `"`, "/session_id", "schema.length",
			"session_id must be at most 64 characters long"},
		{"/session_id", `12`, "/session_id", "schema.type", "session_id must be a text in quotation marks"},
		{"/session_id", `null`, "/session_id", "schema.type",
			"session_id must be a text in quotation marks; where there is none, leave the field out if the plan " +
				"allows it"},
		{"/subject", `"ZQXJ"`, "/subject", "schema.type", `subject must be an object in "{" and "}"`},
		{"/tubes", `{}`, "/tubes", "schema.type", `tubes must be a list in "[" and "]"`},
		{"/tubes", `[]`, "/tubes", "schema.length", "tubes must have at least one entry"},
		{"/tubes/0/volume_ml", `"ZQXJ"`, "/tubes/0/volume_ml", "schema.type",
			"tubes[0].volume_ml must be a number, without quotation marks"},
		{"/tubes/0/volume_ml", `0`, "/tubes/0/volume_ml", "schema.range", "tubes[0].volume_ml must be greater than 0"},
		{"/tubes/0/volume_ml", `1e308`, "/tubes/0/volume_ml", "schema.range",
			"tubes[0].volume_ml must be at most 100000"},
		{"/tubes/0/position", `2`, "", "", ""},
		{"/tubes/0/position", `2.5`, "/tubes/0/position", "schema.type",
			"tubes[0].position must be a text in quotation marks or a whole number"},
		{"/tubes/0/position", `"=ZQXJ()"`, "/tubes/0/position", "schema.pattern",
			"tubes[0].position is not in the form that the plan requires: begins with a letter or digit"},
		{"/tubes/0/barcode", `"ZQXJ 1"`, "/tubes/0/barcode", "schema.pattern",
			"tubes[0].barcode is not in the form that the plan requires: as printed on the tube"},
		{"/tubes/0/barcode", `"ZQXJ\n"`, "/tubes/0/barcode", "schema.pattern",
			"tubes[0].barcode is not in the form that the plan requires"},
		{"/tubes/0/barcode", `"ZQXJ,1"`, "/tubes/0/barcode", "schema.pattern",
			"tubes[0].barcode is not in the form that the plan requires"},
		{"/tubes/0/storage", `"ZQXJ"`, "/tubes/0/storage", "schema.enum",
			"tubes[0].storage must be one of refrigerated, ambient, frozen"},
		{"/subject/sex", `"F"`, "/subject/sex", "schema.enum",
			"subject.sex must be one of female, male, other, unknown"},
		{"/subject/birth_date", `"1978-02-30"`, "/subject/birth_date", "schema.format",
			"subject.birth_date must be a date of the calendar written year-month-day, such as 2026-03-01"},
		{"/subject/birth_date", `"17.05.1978"`, "/subject/birth_date", "schema.format",
			"subject.birth_date must be a date"},
		{"/subject/height_cm", `29`, "/subject/height_cm", "schema.range", "subject.height_cm must be at least 30"},
		{"/subject/weight_kg", `400.5`, "/subject/weight_kg", "schema.range", "subject.weight_kg must be at most 400"},
		{"/subject/smoking_status", `"` + strings.Repeat("x", 41) + `"`, "/subject/smoking_status", "schema.length",
			"subject.smoking_status must be at most 24 characters long"},
		{"/sampler/checks/0/passed", `"true"`, "/sampler/checks/0/passed", "schema.type",
			"sampler.checks[0].passed must be true or false, without quotation marks"},
		{"/sampler/checks/0/name", "", "/sampler/checks/0", "schema.required",
			"sampler.checks[0].name is missing: add it"},
		{"/sampler/checks", "", "", "", ""},
		{"/sampler/firmware", "", "", "", ""},
		{"/sampler/serial", "", "/sampler", "schema.required", "sampler.serial is missing: add it"},
		{"/kit", "", "", "", ""},
		{"/fraction", `"mixed-expiratory"`, "", "", ""},
		{"/fraction", `"airway"`, "", "", ""},
		{"/fraction", `"ZQXJ"`, "/fraction", "schema.enum",
			"fraction must be one of end-tidal, mixed-expiratory, whole, airway"},
		{"/tubes/0/role", `"room-air"`, "", "", ""},
		{"/tubes/0/role", `"ZQXJ"`, "/tubes/0/role", "schema.enum",
			"tubes[0].role must be one of sample, room-air, field-blank, travel-blank, duplicate, spike"},
		{"/tubes/0/cycles", `1.5`, "/tubes/0/cycles", "schema.type", "tubes[0].cycles must be a whole number"},
		{"/tubes/0/conditioned_at", `"2026-02-27"`, "/tubes/0/conditioned_at", "schema.format",
			"tubes[0].conditioned_at must be"},
		{"/recordings/0/started_at", `"2026-03-02T08:22:05-05:00"`, "", "", ""},
		{"/room_kpa", `1013`, "/room_kpa", "schema.range", "room_kpa must be at most 115"},
		{"/kit/lot", `"ZQXJ\n1"`, "/kit/lot", "schema.pattern",
			"kit.lot is not in the form that the plan requires: as printed on the kit"},
		{"/recordings/0/format", `"ZQXJ"`, "/recordings/0/format", "schema.enum",
			"recordings[0].format must be one of csv, edf"},
		{"/notes", `"` + strings.Repeat("x", 1<<20) + `"`, "", "", ""},
		{"/notes", `"` + strings.Repeat("x", 1<<20+1) + `"`, "/notes", "schema.length",
			"notes must be at most 1048576 characters long"},
	} {
		t.Run(c.pointer+"="+c.value[:min(len(c.value), 20)], func(t *testing.T) {
			n := parse(t, validRecord)
			edit(t, n, c.pointer, c.value)
			n = parse(t, string(n.Encode())) // for the places
			problems := p.Validate("sessions/0001.json", n)
			if c.rule == "" {
				if len(problems) > 0 {
					t.Errorf("got %v", problems)
				}
				return
			}
			if len(problems) != 1 {
				t.Fatalf("got %d problems: %v", len(problems), problems)
			}
			got := problems[0]
			at := n.At(c.at)
			if c.rule == "schema.unknown" {
				at = n.At(c.pointer)
			}
			if got.File != "sessions/0001.json" || got.Pointer != c.at || got.Rule != c.rule || got.Severity != Error ||
				got.Line != at.Line || got.Column != at.Column || !strings.HasPrefix(got.Message, c.message) {
				t.Errorf("got %+v\nwant %s at %d:%d %s: %s", got, c.at, at.Line, at.Column, c.rule, c.message)
			}
			if strings.Contains(fmt.Sprint(got), z) {
				t.Errorf("the problem repeats the value: %+v", got)
			}
		})
	}
	for _, text := range []string{`[]`, `"ZQXJ"`, `1`, `null`} {
		problems := p.Validate("r", parse(t, text))
		if len(problems) != 1 || problems[0].Rule != "schema.type" ||
			problems[0].Message != `the file must be an object in "{" and "}"` && text != "null" {
			t.Errorf("%s: %v", text, problems)
		}
	}
}

// Keywords that the built-in plans do not use, in a study's own.
func TestValidateOwn(t *testing.T) {
	p, err := ParsePlan("own.json", own(t,
		"/properties/dose", `{"type": "number", "minimum": 0, "exclusiveMaximum": 10, "multipleOf": 0.5, "deid": `+
			`"keep"}`,
		"/properties/arm", `{"const": "B", "deid": "keep"}`,
		"/properties/code", `{"type": "string", "minLength": 3, "pattern": "^[A-Z]+$", "deid": "drop"}`,
		"/properties/clock", `{"type": "string", "format": "time", "deid": "drop"}`,
		"/properties/odd", `{"enum": ["a\u0007", ""], "deid": "drop"}`,
		"/properties/list", `{"type": "array", "uniqueItems": true, "minItems": 2, "maxItems": 3, "items": `+
			`{"type": ["boolean", "null"], "deid": "drop"}}`,
	))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range [][4]string{
		{"/dose", "9.5", "", ""},
		{"/dose", "-0.5", "schema.range", "dose must be at least 0"},
		{"/dose", "10", "schema.range", "dose must be less than 10"},
		{"/dose", "0.25", "schema.multipleOf", "dose must be a multiple of 0.5"},
		{"/arm", `"A"`, "schema.enum", "arm must be B"},
		{"/code", `"AB"`, "schema.length", "code must be at least 3 characters long"},
		{"/code", `"abc"`, "schema.pattern", "code is not in the form that the plan requires"},
		{"/clock", `"25:00:00Z"`, "schema.format", "clock must be a time of day with its distance from UTC, such " +
			"as 09:30:00+01:00"},
		{"/clock", `"23:59:59Z"`, "", ""},
		{"/odd", `"b"`, "schema.enum", "odd must be one of the values that the plan lists"},
		{"/list", `[true, null]`, "", ""},
		{"/list", `[true]`, "schema.length", "list must have at least 2 entries"},
		{"/list", `[true, true]`, "schema.uniqueItems", "list has two equal entries: remove one of them"},
		{"/list", `[true, "x"]`, "schema.type", "list[1] must be true or false or null, without quotation marks"},
	} {
		n := parse(t, validRecord)
		edit(t, n, c[0], c[1])
		problems := p.Validate("r", n)
		if c[2] == "" && len(problems) == 0 {
			continue
		}
		if len(problems) != 1 || problems[0].Rule != c[2] || problems[0].Message != c[3] {
			t.Errorf("%s = %s: got %v, want %s %s", c[0], c[1], problems, c[2], c[3])
		}
	}
}

// The library finds errors in another order from run to run.
func TestValidateOrder(t *testing.T) {
	p := plan(t, "shifted")
	n := parse(t, "{\"kit\": {\"x\": 1, \"y\": 2}, \"tubes\": [{}, {\"barcode\": \"\"}],\n\"subject\": {\"sex\": "+
		"1}, \"notes\": 2}")
	want := fmt.Sprint(p.Validate("r", n))
	for range 50 {
		if got := fmt.Sprint(p.Validate("r", n)); got != want {
			t.Fatalf("got %s\nthen %s", want, got)
		}
	}
	last := Problem{}
	for _, p := range p.Validate("r", n) {
		if p.Line < last.Line || p.Line == last.Line && p.Column < last.Column || p == last {
			t.Errorf("%+v comes after %+v", p, last)
		}
		last = p
	}
}

// Source: RFC 3339, section 5.8 (the first four and the leap seconds, which we
// refuse), and the grammar of section 5.6.
func TestFormats(t *testing.T) {
	for _, c := range []struct {
		format, value string
		ok            bool
	}{
		{"date-time", "1985-04-12T23:20:50.52Z", true},
		{"date-time", "1996-12-19T16:39:57-08:00", true},
		{"date-time", "1937-01-01T12:00:27.87+00:20", true},
		{"date-time", "1990-12-31T23:59:60Z", false},
		{"date-time", "1990-12-31T15:59:60-08:00", false},
		{"date-time", "2026-03-01T09:30:00+23:59", true},
		{"date-time", "2026-03-01T09:30:00.123456789Z", true},
		{"date-time", "2026-03-01T09:30:00.1234567890Z", false},
		{"date-time", "2026-03-01T09:30:00", false},
		{"date-time", "2026-03-01 09:30:00Z", false},
		{"date-time", "2026-03-01t09:30:00z", false},
		{"date-time", "2026-03-01T09:30Z", false},
		{"date-time", "2026-03-01T09:30:00,5Z", false},
		{"date-time", "2026-03-01T09:30:00.Z", false},
		{"date-time", "2026-03-01T9:30:00Z", false},
		{"date-time", "2026-03-01T24:00:00Z", false},
		{"date-time", "2026-02-29T09:30:00Z", false},
		{"date-time", "2024-02-29T09:30:00Z", true},
		{"date-time", "2026-03-01T09:30:00+24:00", false},
		{"date-time", "2026-03-01T09:30:00+0100", false},
		{"date-time", "2026-03-01T09:30:00Z\n", false},
		{"date-time", "2026-03-01T09:30:00Z ", false},
		{"date", "2026-03-01", true},
		{"date", "2026-13-01", false},
		{"date", "2026-3-1", false},
		{"date", "26-03-01", false},
		{"date", "2100-02-29", false},
		{"date", "2000-02-29", true},
		{"date", "2026-03-01Z", false},
		{"date", "", false},
		{"time", "09:30:00+01:00", true},
		{"time", "09:30:00", false},
		{"time", "9:30:00Z", false},
	} {
		if got := formats[c.format](c.value); got != c.ok {
			t.Errorf("%s %q: %t, want %t", c.format, c.value, got, c.ok)
		}
	}
}

// TestNothingUntreated is the promise of a plan: whatever is in a record
// that it accepts is a field of the plan, and so has a treatment.
func TestNothingUntreated(t *testing.T) {
	p := plan(t, "shifted")
	fitting := []Member{{}, word("started_at", "2026-03-02T08:22:05-05:00"), {"room_c", jsonNumber(22)},
		{"room_kpa", jsonNumber(101)},
		// each somewhere
		word("role", "spike"), word("sorbent", "S-1"), {"nominal_ml", jsonNumber(500)}, {"cycles", jsonNumber(3)}}
	accepted := 0
	rapid.Check(t, func(t *rapid.T) {
		root, err := ParseJSON([]byte(validRecord))
		if err != nil {
			t.Fatal(err)
		}
		var places []*Node
		var walk func(n *Node)
		walk = func(n *Node) {
			places = append(places, n)
			if n.Kind == Object { // most of what may be added to is nowhere else
				places = append(places, n, n, n)
			}
			for _, m := range n.Members {
				walk(m.Value)
			}
			for _, item := range n.Items {
				walk(item)
			}
		}
		walk(root)
		n := rapid.SampledFrom(places).Draw(t, "place")
		added := node(2).Draw(t, "added")
		switch n.Kind {
		case Object:
			if fits := rapid.SampledFrom(fitting).Draw(t, "fitting"); fits.Name != "" && n.Member(fits.Name) == nil {
				n.Members = append(n.Members, fits)
				break
			}
			name := rapid.OneOf(rapid.SampledFrom([]string{"notes", "subject", "x", ""}), rapid.String()).Draw(t,
				"name")
			if n.Member(name) == nil {
				n.Members = append(n.Members, Member{name, added})
			}
		case Array:
			n.Items = append(n.Items, added)
		default:
			*n = *added
		}
		if len(p.Validate("r", root)) > 0 {
			return
		}
		accepted++
		var check func(n *Node, path string)
		check = func(n *Node, path string) {
			for _, m := range n.Members {
				check(m.Value, path+"/"+m.Name)
			}
			for _, item := range n.Items {
				check(item, path+"/*")
			}
			if _, ok := p.Field(path); !ok && n.Kind != Object && n.Kind != Array {
				t.Fatalf("a value at %q was accepted without a treatment", path)
			}
		}
		check(root, "")
	})
	if accepted == 0 {
		t.Error("no record was accepted")
	}
}
