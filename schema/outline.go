package schema

import (
	"slices"
	"strconv"
	"strings"
)

// An Outline says what the records of a plan are made of: an object, a list or a
// single value. It is for those who fill a record from elsewhere. Alternatives
// ("oneOf", "anyOf") are laid over one another: a member is required if all of them
// require it, and a value is listed if one of them lists it.
type Outline struct {
	Name     string     // of the member; "" for the record itself and for the entries of a list
	Path     string     // as in [Field]: "/tubes/*/barcode"; "" for the record itself
	Required bool       // in its object
	Members  []*Outline // of an object, in the order of the schema
	Items    *Outline   // of a list: its entries
	Leaf     *Leaf      // of a single value
}

// A Leaf is what the schema says of the values of one field.
type Leaf struct {
	Field
	Description string   // of the schema, for people; "" if it gives none
	Listed      []string // the values of "enum" or "const" as written; nil if others are accepted as well
	Patterns    []string // "pattern" of each alternative that has one
	Minimum     string   // the least number as written, "" if there is none
	Maximum     string   // the greatest number as written, "" if there is none
	Default     string   // "default" as written, "" if there is none
	MinLength   int      // characters of a text; 0 if it may be empty
	MaxLength   int      // characters of a text; 0 if there is no limit
}

// Accepts reports whether the field takes values of a JSON type.
func (l *Leaf) Accepts(name string) bool { return slices.Contains(l.Types, name) }

// Outline returns the form of the plan's records.
func (p *Plan) Outline() *Outline {
	o := &Outline{}
	p.records.shape.outline(o)
	o.finish(p)
	return o
}

// outline adds what s describes to o.
func (s *shape) outline(o *Outline) {
	switch {
	case s.branches != nil:
		for _, b := range s.branches {
			b.outline(o)
		}
	case s.items != nil:
		if o.Items == nil {
			o.Items = &Outline{Path: s.items.path}
		}
		s.items.outline(o.Items)
	case s.members != nil:
		s.object(o)
	default:
		s.leaf(o)
	}
}

// object adds the members of one alternative. One that another alternative lacks is
// not required.
func (s *shape) object(o *Outline) {
	again := o.Members != nil
	had := func(name string) bool {
		return slices.ContainsFunc(s.members, func(m shapeMember) bool { return m.name == name })
	}
	for _, m := range o.Members {
		m.Required = m.Required && had(m.Name)
	}
	for _, m := range s.members {
		i := slices.IndexFunc(o.Members, func(x *Outline) bool { return x.Name == m.name })
		if i < 0 {
			i = len(o.Members)
			o.Members = append(o.Members, &Outline{Name: m.name, Path: m.path, Required: !again})
		}
		o.Members[i].Required = o.Members[i].Required && m.required
		m.outline(o.Members[i])
	}
}

// leaf adds what one alternative says of a value.
func (s *shape) leaf(o *Outline) {
	first := o.Leaf == nil
	if first {
		o.Leaf = &Leaf{}
	}
	l := o.Leaf
	if l.Description == "" {
		l.Description = s.word("description").text()
	}
	if n := s.word("default"); n != nil {
		l.Default = n.Text
	}
	if n := s.word("pattern"); n != nil {
		l.Patterns = append(l.Patterns, n.Text)
	}
	var listed []string
	if n := s.word("enum"); n != nil {
		for _, item := range n.Items {
			listed = append(listed, item.Text)
		}
	} else if n := s.word("const"); n != nil {
		listed = []string{n.Text}
	}
	if first {
		l.Listed = listed
		l.Minimum, l.Maximum = s.bounds()
		l.MinLength, l.MaxLength = whole(s.word("minLength"), 0), whole(s.word("maxLength"), 0)
		return
	}
	if l.Listed != nil && listed != nil {
		for _, v := range listed {
			if !slices.Contains(l.Listed, v) {
				l.Listed = append(l.Listed, v)
			}
		}
	} else {
		l.Listed = nil
	}
	l.Minimum, l.Maximum, l.MinLength, l.MaxLength = "", "", 0, 0 // each alternative has its own
}

// bounds returns the least and the greatest number that s accepts, as written.
func (s *shape) bounds() (least, greatest string) {
	for _, name := range []string{"minimum", "exclusiveMinimum"} {
		if n := s.word(name); n != nil && n.Kind == Number {
			least = n.Text
		}
	}
	for _, name := range []string{"maximum", "exclusiveMaximum"} {
		if n := s.word(name); n != nil && n.Kind == Number {
			greatest = n.Text
		}
	}
	return least, greatest
}

// finish takes the plan's own row over into each leaf.
func (o *Outline) finish(p *Plan) {
	for _, m := range o.Members {
		m.finish(p)
	}
	if o.Items != nil {
		o.Items.finish(p)
	}
	if o.Leaf != nil {
		o.Leaf.Field, _ = p.Field(o.Path)
	}
}

// Find returns the part of o at a path such as "/tubes/*/barcode", or nil.
func (o *Outline) Find(path string) *Outline {
	if path == "" {
		return o
	}
	for _, name := range splitPath(path) {
		next := o.Items
		if name != "*" {
			i := slices.IndexFunc(o.Members, func(m *Outline) bool { return m.Name == name })
			if i < 0 {
				return nil
			}
			next = o.Members[i]
		}
		if o = next; o == nil {
			return nil
		}
	}
	return o
}

// Record builds a record from single values, given by their pointers ("/tubes/0/barcode").
// Members come in the order of the schema, so that equal values give equal bytes of
// [Node.Encode]. An object or list of which nothing is given is left out, unless the
// schema requires it: then an object lacks its members, which Validate reports, and a
// list is empty. Values at pointers that the outline does not have are not used.
func (o *Outline) Record(values map[string]*Node) *Node {
	n := o.build("", values)
	if n == nil {
		n = &Node{Kind: Object}
	}
	return n
}

func (o *Outline) build(pointer string, values map[string]*Node) *Node {
	switch {
	case o.Leaf != nil:
		return values[pointer]
	case o.Items != nil:
		return o.list(pointer, values)
	}
	n := &Node{Kind: Object}
	for _, m := range o.Members {
		v := m.build(pointer+"/"+EscapeToken(m.Name), values)
		if v == nil && m.Required && m.Items != nil {
			v = &Node{Kind: Array}
		}
		if v != nil {
			n.Members = append(n.Members, Member{m.Name, v})
		}
	}
	if len(n.Members) == 0 {
		return nil
	}
	return n
}

func (o *Outline) list(pointer string, values map[string]*Node) *Node {
	n := &Node{Kind: Array}
	for i := range entriesAt(pointer, values) {
		v := o.Items.build(pointer+"/"+strconv.Itoa(i), values)
		if v == nil {
			v = &Node{Kind: Null} // a gap, which no schema of ours accepts in silence
		}
		n.Items = append(n.Items, v)
	}
	if len(n.Items) == 0 {
		return nil
	}
	return n
}

// entriesAt counts the entries of the list at pointer: one more than the greatest
// index that is used.
func entriesAt(pointer string, values map[string]*Node) int {
	count := 0
	for at := range values {
		rest, ok := strings.CutPrefix(at, pointer+"/")
		if !ok {
			continue
		}
		token, _, _ := strings.Cut(rest, "/")
		if i, err := strconv.Atoi(token); err == nil && i >= 0 && i < maxEntries {
			count = max(count, i+1)
		}
	}
	return count
}

// maxEntries bounds the entries of a list that is filled from elsewhere.
const maxEntries = 50_000
