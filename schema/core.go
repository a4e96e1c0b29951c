package schema

import (
	"fmt"
	"slices"
	"strings"
)

// A coreField is a field that the tool itself reads, with what it requires of a plan. Every plan
// must have the fields that are not optional. What depends on an absent optional field is not
// computed.
type coreField struct {
	path     string
	types    []string // allowed ones
	format   string
	deid     []string // allowed treatments, in the form of Treatment.String; nil for any
	optional bool     // the plan need not have it
}

var core = []coreField{
	{path: "/session_id", types: []string{"string"}, deid: []string{"pseudonym session"}},
	{path: "/study", types: []string{"string"}, deid: []string{"keep"}},
	{path: "/site", types: []string{"string"}, deid: []string{"keep"}},
	{path: "/operator", types: []string{"string"}, deid: []string{"pseudonym operator", "drop"}, optional: true},
	{path: "/subject/subject_id", types: []string{"string"}, deid: []string{"pseudonym subject"}},
	{path: "/subject/birth_date", types: []string{"string"}, format: "date", optional: true},
	{path: "/started_at", types: []string{"string"}, format: "date-time"},
	{path: "/ended_at", types: []string{"string"}, format: "date-time"},
	{path: "/fraction", types: []string{"string"}, deid: []string{"keep"}, optional: true},
	{path: "/tubes/*/barcode", types: []string{"string"}, deid: []string{"keep"}},
	{path: "/tubes/*/position", types: []string{"string", "integer"}, deid: []string{"keep"}, optional: true},
	{path: "/tubes/*/volume_ml", types: []string{"number", "integer"}, deid: []string{"keep"}, optional: true},
	{path: "/tubes/*/storage", types: []string{"string"}, deid: []string{"keep"}, optional: true},
	{path: "/tubes/*/uncapped_at", types: []string{"string"}, format: "date-time", optional: true},
	{path: "/tubes/*/capped_at", types: []string{"string"}, format: "date-time", optional: true},
	{path: "/recordings/*/file", types: []string{"string"}, deid: []string{"recording"}},
	{path: "/recordings/*/format", types: []string{"string"}, deid: []string{"keep"}},
}

// core returns an error if a field that the tool itself reads is missing from the plan or does
// not fit.
func (p *Plan) core(s *shape) error {
	for _, c := range core {
		f, ok := p.Field(c.path)
		switch {
		case !ok && c.optional && !taken(s, c.path):
			continue
		case !ok:
			return fmt.Errorf("the field %s is missing, which the tool itself reads: add it", c.path)
		case taken(s, c.path):
			return fmt.Errorf("the field %s must be a single value in every alternative, because the tool itself "+
				"reads it", c.path)
		case slices.ContainsFunc(f.Types, func(t string) bool { return !slices.Contains(c.types, t) }):
			return fmt.Errorf(`the field %s must have "type": "%s"`, c.path, strings.Join(c.types, `" or "`))
		case c.format != "" && f.Format != c.format:
			return fmt.Errorf(`the field %s must have "format": "%s"`, c.path, c.format)
		case c.deid != nil && !slices.Contains(c.deid, f.Treatment.String()):
			return fmt.Errorf("the field %s must have the treatment %s, because the tool relies on it", c.path,
				strings.Join(c.deid, " or "))
		case !c.optional && !f.Required:
			return fmt.Errorf(`the field %s must be in "required", because the tool itself reads it`, c.path)
		}
	}
	for _, f := range p.Fields {
		t := f.Treatment
		if (t.Kind == Recording) != (f.Path == "/recordings/*/file") {
			return fmt.Errorf(`the treatment "recording" belongs to /recordings/*/file and to nothing else: change `+
				`%s`, f.Path)
		}
		if t.Kind == Pseudonym && (t.Purpose == "session") != (f.Path == "/session_id") {
			return fmt.Errorf(`the pseudonym of a session belongs to /session_id and to nothing else: change %s`,
				f.Path)
		}
	}
	return coreFormats(s)
}

// taken reports whether path is an object or a list in some alternative, not a leaf.
func taken(s *shape, path string) bool {
	found := false
	s.each(func(leaf *shape) { found = found || strings.HasPrefix(leaf.path, path+"/") })
	return found
}

// coreFormats checks that the plan lists only recording formats that can be treated.
func coreFormats(s *shape) error {
	var err error
	s.each(func(leaf *shape) {
		if leaf.path != "/recordings/*/format" {
			return
		}
		var listed []*Node
		if enum := leaf.word("enum"); enum != nil {
			listed = enum.Items
		} else if value := leaf.word("const"); value != nil {
			listed = []*Node{value}
		}
		ok := len(listed) > 0
		for _, item := range listed {
			ok = ok && (item.text() == "csv" || item.text() == "edf")
		}
		if !ok {
			err = fmt.Errorf(`the field /recordings/*/format must have "enum" with "csv", "edf" or both: other ` +
				`recordings cannot be treated`)
		}
	})
	return err
}

func splitPath(path string) []string { return strings.Split(strings.TrimPrefix(path, "/"), "/") }
