package schema

import (
	_ "embed"
	"fmt"
	"slices"
)

// A Field is one leaf of a plan.
//
// Path is an RFC 6901 pointer in which "*" stands for every array index, for
// example "/tubes/*/barcode".
type Field struct {
	Path      string
	Treatment Treatment
	Risk      string   // "quasi", "sensitive" or ""
	Types     []string // JSON types the leaf accepts
	Format    string   // "date", "date-time", "time"; "" if no format applies to all values
	Enum      bool     // only listed values are accepted, in every alternative
	Required  bool     // required in its object, in every alternative
	Why       string   // one plain sentence
	Wide      bool     // a kept text that may hold words, such as a name
	Digits    int      // of a kept number, at most; 0: see [UsualDigits]
	Decimals  int      // decimal places of a kept number, at most; 0: no limit
}

// A Plan says what every field is and how it is treated.
type Plan struct {
	Name   string  // "shifted", "limited", "year-only", or the path of the study's own schema
	Fields []Field // in the order of the schema
	planInternals
}

type planInternals struct {
	records  *Validator
	outgoing []byte
	columns  []Column // of a CSV recording; nil for [DefaultColumns]
	index    map[string]int
}

// session.schema.json is the plan "shifted". The other built-in plans differ
// from it by the changes listed in variants.
//
//go:embed session.schema.json
var sessionSchema []byte

// A change gives one field of a built-in plan another treatment.
type change struct {
	path, deid, why string // deid in JSON
}

var variants = map[string][]change{
	"shifted": nil,
	"limited": {
		{"/subject/birth_date", `"keep"`, "The data-use agreement allows true dates; the laboratory needs the " +
			"exact age."},
		{"/subject/postal_code", `"keep"`, "The data-use agreement allows the full postal code, but no street."},
		{"/subject/height_cm", `"keep"`, "The data-use agreement allows the exact height."},
		{"/subject/weight_kg", `"keep"`, "The data-use agreement allows the exact weight."},
		{"/started_at", `"keep"`, "The data-use agreement allows true dates and times."},
		{"/ended_at", `"keep"`, "The data-use agreement allows true dates and times."},
		{"/room_c", `"keep"`, "The data-use agreement allows true dates, so the exact temperature tells nothing more."},
		{"/room_kpa", `"keep"`, "The data-use agreement allows true dates, so the exact pressure tells nothing more."},
		{"/tubes/*/uncapped_at", `"keep"`, "The data-use agreement allows true dates and times."},
		{"/tubes/*/capped_at", `"keep"`, "The data-use agreement allows true dates and times."},
		{"/tubes/*/conditioned_at", `"keep"`, "The data-use agreement allows true dates and times."},
		{"/recordings/*/started_at", `"keep"`, "The data-use agreement allows true dates and times."},
		{"/recordings/*/source_gas_kpa", `"keep"`, "The data-use agreement allows true dates, so the exact pressure " +
			"tells nothing more."},
		{"/kit/unit", `"keep"`, "The data-use agreement allows true dates, so the order in which kits are used tells " +
			"nothing more."},
		{"/interruptions/*/at", `"keep"`, "The data-use agreement allows true dates and times."},
	},
	"year-only": {
		{"/started_at", `"year"`, "Only the year leaves; the session begins at 0 seconds."},
		{"/ended_at", `"year"`, "Only the year leaves, and the seconds since the session began."},
		{"/kit/lot", `{"pseudonym": "lot"}`, "Lots are used one after another, so the number would show the part of " +
			"the year; the pseudonym still shows which sessions share a lot."},
		{"/sampler/serial", `"drop"`, "With the year it could lead to the site's device log; this plan does " +
			"without it."},
		{"/tubes/*/uncapped_at", `"year"`, "Only the year leaves, and the seconds since the session began."},
		{"/tubes/*/capped_at", `"year"`, "Only the year leaves, and the seconds since the session began."},
		{"/recordings/*/started_at", `"year"`, "Only the year leaves, and the seconds since the session began."},
		{"/recordings/*/content", `"drop"`, "This plan lets no free text leave."},
		{"/interruptions/*/at", `"year"`, "Only the year leaves, and the seconds since the session began."},
		{"/interruptions/*/cause", `"drop"`, "This plan lets no free text leave."},
		{"/interruptions/*/note", `"drop"`, "This plan lets no free text leave."},
		{"/notes", `"drop"`, "This plan lets no free text leave."},
	},
}

// Builtin lists the names of the plans that come with the tool.
func Builtin() []string { return []string{"shifted", "limited", "year-only"} }

// LoadPlan returns the built-in plan called name. The error is a
// *[ConfigError].
func LoadPlan(name string) (*Plan, error) {
	changes, ok := variants[name]
	if !ok {
		return nil, &ConfigError{File: "study.json", Message: `the plan must be "shifted", "limited", "year-only" ` +
			`or the path of a schema in the collection folder`}
	}
	root, err := ParseJSON(sessionSchema)
	if err != nil {
		return nil, err
	}
	for _, c := range changes {
		if err := c.apply(root); err != nil {
			return nil, err
		}
	}
	return newPlan(name, root, true)
}

// apply makes the change in the built-in schema, which has no references.
func (c change) apply(root *Node) error {
	n := root
	for _, name := range splitPath(c.path) {
		if name == "*" {
			n = n.Member("items")
		} else {
			n = n.Member("properties").Member(name)
		}
	}
	deid, err := ParseJSON([]byte(c.deid))
	if err != nil || n.Member("deid") == nil || n.Member("why") == nil {
		return fmt.Errorf("the built-in plans have no field %s that can be changed", c.path)
	}
	*n.Member("deid") = *deid
	n.Member("why").Text = c.why
	return nil
}

// ParsePlan reads a study's own annotated JSON Schema (draft 2020-12). It
// refuses, with a *[ConfigError] that names the pointer in the schema: a leaf without a
// treatment, an unknown or unsuitable treatment, an object that accepts unnamed properties, a
// reference that leaves the document, keywords that the library evaluates wrongly or that are
// not supported, and a schema without the fields that the tool itself needs, such as
// session_id.
//
// All this applies to every alternative of "oneOf" and "anyOf". Alternatives that give one
// field different treatments are refused too. Bounds: 1 MiB, 16 levels, 5,000 fields and 64
// alternatives, counted after references are expanded.
func ParsePlan(name string, data []byte) (*Plan, error) {
	root, err := parseSchema(data)
	if err != nil {
		return nil, &ConfigError{File: name, Message: err.Error()}
	}
	return newPlan(name, root, false)
}

// parseSchema parses the JSON of a schema. The error says where it is broken.
func parseSchema(data []byte) (*Node, error) {
	if len(data) > maxSchemaBytes {
		return nil, fmt.Errorf("the schema is larger than 1 MiB")
	}
	root, err := ParseJSON(data)
	if e, ok := err.(*SyntaxError); ok {
		return nil, fmt.Errorf("line %d, column %d: %s", e.Line, e.Column, e.Message)
	}
	return root, err
}

// newPlan makes a plan from a schema: the treatment table, the schema of what leaves, and the
// validator of records. builtin marks our own schemas, whose descriptions may leave.
func newPlan(name string, root *Node, builtin bool) (*Plan, error) {
	p := &Plan{Name: name}
	p.index = make(map[string]int)
	s, err := shapeOf(root, true)
	if err == nil {
		err = p.table(s)
	}
	if err == nil {
		err = p.core(s)
	}
	if err == nil {
		p.outgoing = outgoing(s, builtin).Encode()
		if len(p.outgoing) > maxSchemaBytes {
			err = fmt.Errorf("the schema of what leaves would be larger than 1 MiB")
		}
	}
	if err == nil {
		p.records, err = newValidator(s)
	}
	if err == nil && !builtin {
		if _, e := CompileOutgoing(p.outgoing); e != nil {
			err = fmt.Errorf("the schema of what leaves would be too large or too deep to be read again: make this " +
				"one smaller")
		}
	}
	if err != nil {
		return nil, &ConfigError{File: name, Message: err.Error()}
	}
	return p, nil
}

// table fills in the treatment table and the columns of recordings.
func (p *Plan) table(s *shape) error {
	var err error
	var columns *Node
	s.each(func(leaf *shape) {
		if err != nil {
			return
		}
		_, again := p.index[leaf.path]
		if err = p.add(leaf); err != nil || leaf.field.Treatment.Kind != Recording {
			return
		}
		if own := leaf.word("columns"); again && !equal(own, columns) {
			err = wrong(leaf.pointer, `the alternatives contradict each other: the recording has other "columns" `+
				`in another one; give it the same in all`)
		} else if own != nil {
			columns = own
			p.columns, _ = parseColumns(columns)
		}
	})
	for i := range p.Fields {
		p.Fields[i].Required = s.requires(splitPath(p.Fields[i].Path))
	}
	return err
}

// Field returns the leaf at path ("/tubes/*/barcode").
func (p *Plan) Field(path string) (Field, bool) {
	i, ok := p.index[path]
	if !ok {
		return Field{}, false
	}
	return p.Fields[i], true
}

// Columns returns the columns that the plan declares for CSV recordings;
// [DefaultColumns] if it declares none.
func (p *Plan) Columns() []Column {
	if p.columns == nil {
		return DefaultColumns()
	}
	return slices.Clone(p.columns)
}

// Validate checks a record against the plan's schema, formats asserted, and
// returns its problems ordered by position, at most 100.
func (p *Plan) Validate(file string, n *Node) []Problem { return p.records.Validate(file, n) }

// Outgoing returns the JSON Schema of the records that leave, without dropped fields, and with
// patterns for pseudonyms, bands, years and recording names. It is itself valid 2020-12, and
// has no "deid" annotation.
//
// A list whose entries are dropped, and an object or list of which nothing remains, is dropped
// as a whole. "oneOf" becomes "anyOf", because alternatives may be equal once treated.
func (p *Plan) Outgoing() []byte { return slices.Clone(p.outgoing) }
