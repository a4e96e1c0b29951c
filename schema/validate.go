package schema

import (
	"errors"
	"fmt"
	"net/url"
	"path"
	"slices"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"
)

// maxProblems bounds the problems of one file: a file with more is wrong as a whole.
const maxProblems = 100

// maxValues bounds the values of a file that is validated, because the library collects every
// error. A session record has about a hundred values.
const maxValues = 50_000

// maxTries bounds values times alternatives, because each value may be tried with each.
const maxTries = 500_000

// A Validator is a compiled schema, possibly from outside.
type Validator struct {
	compiled     *jsonschema.Schema
	doc          *Node // what was compiled
	shape        *shape
	columns      []Column
	costs        map[string]leafCost
	unique       map[string]bool
	alternatives int // in the schema
}

// CompileOutgoing compiles a schema that came with a shipment. It refuses references that leave
// the document, and a schema that is too deep or too large. The error says where in the schema
// the fault is.
func CompileOutgoing(data []byte) (*Validator, error) {
	root, err := parseSchema(data)
	if err != nil {
		return nil, err
	}
	s, err := shapeOf(root, false)
	if err != nil {
		return nil, err
	}
	v, err := newValidator(s)
	if err != nil {
		return nil, err
	}
	return v, v.takeColumns(s)
}

// takeColumns sets the columns that the schema declares for CSV recordings.
func (v *Validator) takeColumns(s *shape) (err error) {
	s.each(func(leaf *shape) {
		n := leaf.word("columns")
		if n == nil || err != nil {
			return
		}
		columns, message := parseColumns(n)
		if message == "" && v.columns != nil && !slices.Equal(columns, v.columns) {
			message = `"columns" contradict each other`
		}
		if message != "" {
			err = wrong(leaf.pointer, message)
		}
		v.columns = columns
	})
	return err
}

// Columns returns the columns that the schema declares for CSV recordings;
// [DefaultColumns] if it declares none.
func (v *Validator) Columns() []Column {
	if v.columns == nil {
		return DefaultColumns()
	}
	return slices.Clone(v.columns)
}

func newValidator(s *shape) (*Validator, error) {
	v := &Validator{doc: written(s), shape: s, alternatives: s.alternatives(), costs: s.costs(),
		unique: s.unique(map[string]bool{})}
	var err error
	if v.compiled, err = compile(newCompiler(), v.doc.Encode()); err != nil {
		// Every keyword was checked, so this is not the reader's fault. The library's text is
		// withheld, because it may quote the schema at length.
		return nil, errors.New("the schema library does not accept the schema: compare it with JSON Schema 2020-12")
	}
	return v, nil
}

// Validate works like [Plan.Validate].
func (v *Validator) Validate(file string, n *Node) []Problem {
	if count := n.count(); count > maxValues || count*v.alternatives > maxTries {
		return []Problem{{File: file, Line: n.Line, Column: n.Column, Rule: "schema.size", Severity: Error,
			Message: "this file holds tens of thousands of values, which no record needs: measured values belong " +
				"in a recording"}}
	}
	if v.Work(n) > maxWork {
		return []Problem{{File: file, Line: n.Line, Column: n.Column, Rule: "schema.size", Severity: Error,
			Message: "this file holds texts or lists that are too long for the patterns and listed values of the " +
				"plan: shorten them"}}
	}
	result, err := run(v.compiled, n.Value())
	if err != nil {
		return []Problem{{File: file, Line: n.Line, Column: n.Column, Rule: "schema.unchecked", Severity: Error,
			Message: "this file cannot be checked against the plan: look for numbers with very many digits"}}
	}
	if result == nil {
		return nil
	}
	var problems []Problem
	leaves(result, func(e *jsonschema.ValidationError) {
		problems = append(problems, v.explain(file, n, e)...)
	})
	return trim(problems)
}

// leaves calls f for the innermost errors; the outer ones only say that there are some. If a value
// fits none of several alternatives, only the errors of the one that was probably meant are
// useful.
func leaves(e *jsonschema.ValidationError, f func(*jsonschema.ValidationError)) {
	if isChoice(e) {
		if one := nearestOf(e); one != nil {
			leaves(one, f)
		} else {
			f(e)
		}
		return
	}
	if len(e.Causes) == 0 {
		f(e)
	}
	for _, c := range e.Causes {
		leaves(c, f)
	}
}

// trim sorts the problems of one file, because the library's order varies from run to run, merges
// equal ones, and drops those beyond maxProblems.
func trim(problems []Problem) []Problem {
	SortProblems(problems)
	problems = slices.Compact(problems)
	return problems[:min(len(problems), maxProblems)]
}

// explain describes one error of the library in our own words. The library's text is never used,
// because it quotes the record.
func (v *Validator) explain(file string, root *Node, e *jsonschema.ValidationError) []Problem {
	pointer := unescapeLocation(e.InstanceLocation)
	n := root.At(pointer)
	_, fragment, _ := strings.Cut(e.AbsoluteKeywordLocation, "#")
	fragment = unescapeLocation(fragment)
	keyword := path.Base(fragment)
	words := v.doc.At(strings.TrimSuffix(fragment, "/"+keyword))
	if n == nil || words == nil {
		n, pointer, words, keyword = root, "", v.doc, ""
	}
	p := Problem{File: file, Pointer: pointer, Line: n.Line, Column: n.Column, Severity: Error,
		Rule: "schema." + keyword}
	name := spell(pointer)
	var problems []Problem
	add := func(p Problem, message string) {
		p.Message = message
		problems = append(problems, p)
	}
	switch keyword {
	case "required":
		for _, field := range words.Member("required").Items {
			if n.Member(field.Text) == nil {
				add(p, spell(pointer+"/"+EscapeToken(field.Text))+" is missing: add it")
			}
		}
	case "additionalProperties":
		p.Rule = "schema.unknown"
		for _, m := range n.Members {
			if words.Member("properties").Member(m.Name) == nil {
				p.Line, p.Column = m.Value.Line, m.Value.Column
				add(p, "the field with this value is not part of the plan: remove it or correct its name")
			}
		}
	default:
		want, rule := expectation(keyword, words, n)
		if rule != "" {
			p.Rule = "schema." + rule
		}
		add(p, name+" "+want)
	}
	return problems
}

// expectation returns what the keyword requires of n, as the end of a sentence, and the rule if it
// is not the keyword itself.
func expectation(keyword string, words, n *Node) (message, rule string) {
	limit := ""
	if w := words.Member(keyword); w != nil {
		limit = w.Text
	}
	switch keyword {
	case "type":
		return "must be " + typeWords(words.Member("type"), n), ""
	case "enum":
		if values, ok := listing(words.Member("enum").Items); ok {
			return "must be one of " + values, ""
		}
		return "must be one of the values that the plan lists", ""
	case "const":
		if value, ok := listing([]*Node{words.Member("const")}); ok {
			return "must be " + value, "enum"
		}
		return "must be the one value that the plan lists", "enum"
	case "format":
		return "must be " + formatWords[limit], ""
	case "pattern":
		if hint := words.Member("description").text(); hint != "" && len(hint) <= 200 &&
			!strings.ContainsFunc(hint, isControl) {
			return "is not in the form that the plan requires: " + hint, ""
		}
		return "is not in the form that the plan requires", ""
	case "uniqueItems":
		return "has two equal entries: remove one of them", ""
	case "anyOf":
		return "fits none of the alternatives that the plan gives for it: compare it with the plan", "alternatives"
	case "oneOf":
		return "does not fit exactly one of the alternatives that the plan gives for it: compare it with the plan",
			"alternatives"
	}
	if w, ok := limitWords[keyword]; ok {
		if limit == "1" && w.one != "" {
			return w.one, w.rule
		}
		return fmt.Sprintf(w.text, limit), w.rule
	}
	return "does not follow the plan", "other"
}

// limitWords are the requirements of the keywords that have a number.
var limitWords = map[string]struct {
	text string // with the number
	one  string // instead, if the number is 1; "" for none
	rule string
}{
	"minLength":        {"must be at least %s characters long", "must not be empty", "length"},
	"maxLength":        {"must be at most %s characters long", "", "length"},
	"minItems":         {"must have at least %s entries", "must have at least one entry", "length"},
	"maxItems":         {"must have at most %s entries", "", "length"},
	"minimum":          {"must be at least %s", "", "range"},
	"exclusiveMinimum": {"must be greater than %s", "", "range"},
	"maximum":          {"must be at most %s", "", "range"},
	"exclusiveMaximum": {"must be less than %s", "", "range"},
	"multipleOf":       {"must be a multiple of %s", "", ""},
}

var formatWords = map[string]string{
	"date":      "a date of the calendar written year-month-day, such as 2026-03-01",
	"date-time": "a date and time with its distance from UTC, such as 2026-03-01T09:30:00+01:00",
	"time":      "a time of day with its distance from UTC, such as 09:30:00+01:00",
}

// typeWords names the allowed types, and adds a hint if only the quotation marks seem to be wrong.
// It does not use the value of n.
func typeWords(types, n *Node) string {
	items := types.Items
	if types.Kind == String {
		items = []*Node{types}
	}
	var names []string
	quoted := false
	for _, t := range items {
		switch t.Text {
		case "object":
			names = append(names, `an object in "{" and "}"`)
		case "array":
			names = append(names, `a list in "[" and "]"`)
		case "string":
			names = append(names, "a text in quotation marks")
		case "number":
			names = append(names, "a number")
			quoted = true
		case "integer":
			names = append(names, "a whole number")
			quoted = true
		case "boolean":
			names = append(names, "true or false")
			quoted = true
		case "null":
			names = append(names, "null")
		}
	}
	text := strings.Join(names, " or ")
	switch {
	case n.Kind == Null && !slices.ContainsFunc(items, func(t *Node) bool { return t.Text == "null" }):
		return text + "; where there is none, leave the field out if the plan allows it"
	case quoted && n.Kind == String:
		return text + ", without quotation marks"
	}
	return text
}

// listing joins the values that a schema lists; ok is false if they would not read well.
func listing(items []*Node) (string, bool) {
	var values []string
	for _, item := range items {
		text := item.Text
		switch {
		case item.Kind == Null:
			text = "null"
		case item.Kind == String && (text == "" || strings.ContainsFunc(text, isControl)):
			return "", false
		}
		values = append(values, text)
	}
	s := strings.Join(values, ", ")
	return s, len(values) > 0 && len(s) <= 200
}

// spell returns a pointer in the form that people read: "tubes[1].volume_ml".
func spell(pointer string) string {
	if pointer == "" {
		return "the file"
	}
	var b strings.Builder
	for i, token := range strings.Split(pointer[1:], "/") {
		switch {
		case token != "" && '0' <= token[0] && token[0] <= '9': // no field name begins with a digit
			b.WriteString("[" + token + "]")
		case i > 0:
			b.WriteString("." + token)
		default:
			b.WriteString(token)
		}
	}
	return b.String()
}

// unescapeLocation turns one of the library's locations, in which names are also percent-escaped,
// into an RFC 6901 pointer.
func unescapeLocation(location string) string {
	if s, err := url.PathUnescape(location); err == nil {
		return s
	}
	return location
}
