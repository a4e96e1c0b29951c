package schema

import (
	"errors"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
)

// Bounds of a schema.
const (
	maxSchemaBytes = 1 << 20
	maxSchemaDepth = 16 // nested objects and lists
	maxReferences  = 16 // in a chain
	maxLeaves      = 5000
	maxWritten     = 4 << 20 // bytes once every reference is expanded
)

// A shape is a schema with its references expanded. Records are checked against exactly what was
// walked, and nothing else.
type shape struct {
	pointer string // its place in the schema
	path    string // of the values it describes, "*" for every index
	types   []string
	words   []Member // the keywords in their order
	members []shapeMember
	items   *shape
	field   *Field // of a leaf
	cost    leafCost

	choice   string // "oneOf" or "anyOf" of the branches
	branches []*shape
}

type shapeMember struct {
	name     string
	required bool
	*shape
}

// word returns the value of a keyword, or nil.
func (s *shape) word(name string) *Node { return (&Node{Members: s.words}).Member(name) }

// A shaper walks a schema.
type shaper struct {
	root    *Node
	plan    bool           // a plan: our own annotations are required; otherwise they are unknown
	open    map[*Node]bool // schemas that contain the current place
	targets map[string]*Node
	leaves  int
	written int

	steps            map[string]int // of each pattern seen
	allSteps, listed int

	alternative int // number walked so far
}

// shapeOf reads a schema. The error names the pointer of what is wrong.
func shapeOf(root *Node, plan bool) (*shape, error) {
	w := &shaper{root: root, plan: plan, open: make(map[*Node]bool), targets: make(map[string]*Node),
		steps: make(map[string]int)}
	s, err := w.shape(root, "", "", 1, siblings{})
	if err != nil {
		return nil, err
	}
	if !s.record() {
		return nil, wrong("", `the schema must describe an object: "type": "object" with "properties"`)
	}
	return s, nil
}

// wrong returns an error about the schema at pointer.
func wrong(pointer, message string) error {
	if pointer == "" {
		return fmt.Errorf("at the top of the schema: %s", message)
	}
	return fmt.Errorf("at %s of the schema: %s", plain(pointer), message)
}

// shape walks the schema n. around are the keywords next to the choice that n is an alternative
// of.
func (w *shaper) shape(n *Node, pointer, path string, depth int, around siblings) (*shape, error) {
	if depth > maxSchemaDepth {
		return nil, wrong(pointer, "objects, lists and alternatives are more than 16 levels deep, or a reference "+
			"leads back to itself")
	}
	words, opened, err := w.resolve(n, pointer)
	if err != nil {
		return nil, err
	}
	defer func() {
		for _, o := range opened {
			delete(w.open, o)
		}
	}()
	words, message := around.join(words)
	if message != "" {
		return nil, wrong(pointer, message)
	}
	s := &shape{pointer: pointer, path: path, words: words}
	home := pointer
	if slices.ContainsFunc(around.words, func(m Member) bool { return m.Name == "properties" || m.Name == "items" }) {
		home = around.home
	}
	for _, m := range words {
		if !slices.Contains(holders, m.Name) {
			w.written += len(m.Name) + len(m.Value.Encode())
		}
		if w.written > maxWritten {
			return nil, wrong(pointer, "the schema is larger than 4 MiB once its references are expanded")
		}
	}
	if s.choiceOf() != "" {
		return s, w.alternatives(s, home, depth)
	}
	for _, m := range words {
		if slices.Contains(unsupported, m.Name) {
			return nil, wrong(pointer, lint(m.Name, m.Value, onAny, false, w.plan))
		}
	}
	on, message := s.typesOf()
	if message != "" {
		return nil, wrong(pointer, message)
	}
	for _, m := range words {
		if message := lint(m.Name, m.Value, on, depth == 1, w.plan); message != "" {
			return nil, wrong(pointer, message)
		}
	}
	switch {
	case on == onObject:
		return s, w.object(s, home, depth)
	case on == onArray:
		return s, w.array(s, home, depth)
	}
	if w.leaves++; w.leaves > maxLeaves {
		return nil, wrong(pointer, "the schema has more than 5,000 fields")
	}
	if message := w.bound(s); message != "" {
		return nil, wrong(pointer, message)
	}
	if w.plan {
		return s, w.field(s)
	}
	return s, nil
}

// resolve returns the keywords of n, with those of the schemas that it refers to. The nodes that
// it adds to w.open, which are opened, remain there while the parts of n are walked.
func (w *shaper) resolve(n *Node, pointer string) (words []Member, opened []*Node, err error) {
	if n.Kind != Object {
		return nil, nil, wrong(pointer, `a schema is expected here, written as an object; true and false are not `+
			`supported`)
	}
	for {
		if w.open[n] || len(opened) > maxReferences {
			return nil, opened, wrong(pointer, `a reference leads back to itself, or through more than 16 others: `+
				`say here what is meant`)
		}
		w.open[n] = true
		opened = append(opened, n)
		var ref *Node
		for _, m := range n.Members {
			twice := slices.ContainsFunc(words, func(o Member) bool { return o.Name == m.Name })
			switch {
			case m.Name == "$ref":
				ref = m.Value
			case !twice:
				words = append(words, m)
			case !slices.Contains(nearest, m.Name):
				return nil, opened, wrong(pointer, `the keyword `+odd(m.Name)+` is both next to "$ref" and in `+
					`what it refers to: keep one of the two`)
			}
		}
		if ref == nil {
			return words, opened, nil
		}
		if n, err = w.target(ref); err != nil {
			return nil, opened, wrong(pointer, err.Error())
		}
	}
}

// target returns the schema that a reference points to (RFC 6901, section 6: a pointer as the
// fragment of a URI).
func (w *shaper) target(ref *Node) (*Node, error) {
	if n := w.targets[ref.text()]; n != nil {
		return n, nil
	}
	fragment, ok := strings.CutPrefix(ref.text(), "#")
	pointer, err := url.PathUnescape(fragment)
	if !ok || err != nil || pointer == "" || pointer[0] != '/' {
		return nil, errors.New(`"$ref" may only point into the schema itself, for example "#/$defs/time"; nothing ` +
			`is loaded from elsewhere`)
	}
	n := w.root.At(pointer)
	if n == nil || n.Kind != Object {
		return nil, errors.New(`"$ref" points to nothing in the schema`)
	}
	w.targets[ref.Text] = n
	return n, nil
}

// holders are the keywords whose values are walked, not copied.
var holders = []string{"properties", "items", "$defs", "oneOf", "anyOf"}

// nearest are the keywords that may be both next to a reference and in what it refers to. The one
// next to the reference counts.
var nearest = []string{"title", "description", "$comment", "default", "examples", "deprecated", "deid", "risk",
	"why", "columns", "digits", "decimals"}

// typesOf sets the types of s from "type", or from the listed values, and returns their kinds. The
// message is "" if they are valid.
func (s *shape) typesOf() (use, string) {
	const want = `"type" must name what is expected here: "object", "array", "string", "number", "integer", "boolean" ` +
		`or "null"`
	switch t, enum, value := s.word("type"), s.word("enum"), s.word("const"); {
	case t != nil && t.Kind == String:
		s.types = []string{t.Text}
	case t != nil && t.Kind == Array:
		for _, item := range t.Items {
			if slices.Contains(s.types, item.text()) {
				return 0, want + ", each once"
			}
			s.types = append(s.types, item.text())
		}
	case t != nil:
		return 0, want
	case enum != nil && enum.Kind == Array:
		for _, item := range enum.Items {
			if name := typeName(item); !slices.Contains(s.types, name) {
				s.types = append(s.types, name)
			}
		}
	case value != nil:
		s.types = []string{typeName(value)}
	}
	var on use
	for _, t := range s.types {
		o, ok := map[string]use{"object": onObject, "array": onArray, "string": onString, "number": onNumber,
			"integer": onNumber, "boolean": onOther, "null": onOther}[t]
		if !ok {
			return 0, want
		}
		on |= o
	}
	switch {
	case on == 0 && s.word("enum") != nil:
		return 0, `the value of "enum" must be a list of at least one text, number, true, false or null`
	case on == 0:
		return 0, want
	case on&(onObject|onArray) != 0 && len(s.types) > 1:
		return 0, `an object or a list cannot be something else as well: "type" must name it alone`
	}
	return on, ""
}

func onlyText(types []string) bool {
	return !slices.ContainsFunc(types, func(t string) bool { return t != "string" && t != "null" })
}

func typeName(n *Node) string {
	return [...]string{Null: "null", Bool: "boolean", Number: "number", String: "string", Object: "object",
		Array: "array"}[n.Kind]
}

// fieldName matches the names of fields. They are shown in treatment tables and messages, and must
// not look like a path.
var fieldName = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_.-]{0,63}$`)

// object walks the fields of an object, which must be complete: no unnamed field may pass.
func (w *shaper) object(s *shape, home string, depth int) error {
	if n := s.word("additionalProperties"); n == nil || n.Text != "false" {
		return wrong(s.pointer, `"additionalProperties": false is missing: a field without a name here would leave `+
			`untreated`)
	}
	properties := s.word("properties")
	if properties == nil || w.plan && len(properties.Members) == 0 { // a treated object may have nothing left
		return wrong(s.pointer, `the object has no "properties": name its fields`)
	}
	s.members = []shapeMember{}
	required := make(map[string]bool)
	if n := s.word("required"); n != nil {
		for _, item := range n.Items {
			if properties.Member(item.Text) == nil {
				return wrong(s.pointer, `"required" names the field `+odd(item.Text)+`, which "properties" does `+
					`not have`)
			}
			required[item.Text] = true
		}
	}
	for _, m := range properties.Members {
		at := home + "/properties/" + EscapeToken(m.Name)
		if !fieldName.MatchString(m.Name) {
			return wrong(at, "a field name is made of letters, digits, underscores, points and hyphens, at most "+
				"64, and does not begin with a digit")
		}
		part, err := w.shape(m.Value, at, s.path+"/"+m.Name, depth+1, siblings{})
		if err != nil {
			return err
		}
		s.members = append(s.members, shapeMember{m.Name, required[m.Name], part})
	}
	return nil
}

// array walks the entries of a list.
func (w *shaper) array(s *shape, home string, depth int) error {
	items := s.word("items")
	if items == nil {
		return wrong(s.pointer, `"items" is missing: say what the entries of this list are`)
	}
	var err error
	s.items, err = w.shape(items, home+"/items", s.path+"/*", depth+1, siblings{})
	return err
}

// field makes the leaf's row of the treatment table, and checks that its annotations fit.
func (w *shaper) field(s *shape) error {
	f := Field{Path: s.path, Types: s.types, Enum: s.word("enum") != nil || s.word("const") != nil}
	if onlyText(s.types) { // a format does not apply to other values
		f.Format = s.word("format").text()
	}
	f.Risk = s.word("risk").text()
	f.Why = s.word("why").text()
	f.Digits = whole(s.word("digits"), 0)
	f.Decimals = whole(s.word("decimals"), 0)
	deid := s.word("deid")
	if deid == nil {
		return wrong(s.pointer, `this field has no treatment: add "deid", for example "deid": "drop"`)
	}
	var message string
	if f.Treatment, message = parseTreatment(deid); message == "" {
		message = f.Treatment.unfit(f)
	}
	if columns := s.word("columns"); message == "" && columns != nil {
		if f.Treatment.Kind != Recording {
			message = `"columns" belongs next to "deid": "recording"`
		} else {
			_, message = parseColumns(columns)
		}
	}
	if message != "" {
		return wrong(s.pointer, message)
	}
	f.Wide = s.wide(f)
	s.field = &f
	return nil
}

// each calls f for every leaf, in the order of the schema.
func (s *shape) each(f func(*shape)) {
	switch {
	case s.branches != nil:
		for _, b := range s.branches {
			b.each(f)
		}
	case s.items != nil:
		s.items.each(f)
	case s.members != nil:
		for _, m := range s.members {
			m.each(f)
		}
	default:
		f(s)
	}
}
