package schema

import (
	"slices"
	"strconv"
	"strings"
)

// Patterns of the values that treatments produce. Source: the project's format description.
const (
	pseudonymForm = `[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z]`
	recordingForm = `^recordings/` + pseudonymForm + `-[1-9][0-9]*\.(csv|edf)$`
	localForm     = `^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,3})?$`
	hourForm      = `^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}$`
	ageBandForm   = `^([0-9]{1,2}-[0-9]{1,2}|90\+)$`
)

// Short forms for building schemas.
func jsonText(s string) *Node        { return &Node{Kind: String, Text: s} }
func jsonNumber(i int) *Node         { return &Node{Kind: Number, Text: strconv.Itoa(i)} }
func jsonFalse() *Node               { return &Node{Kind: Bool, Text: "false"} }
func jsonObject(m ...Member) *Node   { return &Node{Kind: Object, Members: m} }
func typed(t string) Member          { return Member{"type", jsonText(t)} }
func word(name, value string) Member { return Member{name, jsonText(value)} }
func jsonTexts(s []string) *Node {
	n := &Node{Kind: Array}
	for _, t := range s {
		n.Items = append(n.Items, jsonText(t))
	}
	return n
}

// written returns the schema with its references expanded, and without silent keywords. It is the
// schema that the library compiles.
func written(s *shape) *Node {
	w := writer{leaf: func(leaf *shape) []Member { return leaf.spoken(true) }, described: true}
	n, _ := w.write(s)
	return top(n)
}

// outgoing returns the schema of the treated records. Titles and descriptions are kept only if
// described is set, for our own schemas: a study's author may have written anything there.
func outgoing(s *shape, described bool) *Node {
	w := writer{leaf: func(leaf *shape) []Member { return leaf.treated(described) }, described: described,
		left: left(s)}
	n, _ := w.write(s.unequal())
	return top(n)
}

// left returns the objects ("/kit/") and lists ("/tubes/*") of which something leaves in at least
// one alternative.
func left(s *shape) map[string]bool {
	found := make(map[string]bool)
	s.each(func(leaf *shape) {
		if leaf.field.Treatment.Kind == Drop {
			return
		}
		for path := leaf.path; path != ""; {
			i := strings.LastIndexByte(path, '/')
			if path[i:] == "/*" {
				found[path] = true
			} else {
				found[path[:i+1]] = true
			}
			path = path[:i]
		}
	})
	return found
}

// unequal returns s without "uniqueItems" on lists where a treatment could make different entries
// equal.
func (s *shape) unequal() *shape {
	c := *s
	if s.items != nil {
		if !sameLeaves(s.items) {
			c.words = slices.DeleteFunc(slices.Clone(s.words), func(m Member) bool { return m.Name == "uniqueItems" })
		}
		c.items = s.items.unequal()
	}
	c.members = slices.Clone(s.members)
	for i, m := range c.members {
		c.members[i].shape = m.unequal()
	}
	c.branches = slices.Clone(s.branches)
	for i, b := range c.branches {
		c.branches[i] = b.unequal()
	}
	return &c
}

func top(n *Node) *Node {
	n.Members = append([]Member{word("$schema", draft2020)}, n.Members...)
	return n
}

// A writer builds a schema from the leaves that leaf makes; nil means that the leaf is dropped.
// An object or list of which nothing remains is dropped too.
type writer struct {
	leaf      func(*shape) []Member
	described bool
	left      map[string]bool // see left; nil if everything remains
}

// write returns the schema of s, nil if it is dropped. sure means that no value of s is dropped.
func (w writer) write(s *shape) (n *Node, sure bool) {
	switch {
	case s.branches != nil:
		return w.choice(s)
	case s.items != nil:
		return w.list(s)
	case s.members != nil:
		return w.object(s)
	}
	words := w.leaf(s)
	if words == nil {
		return nil, false
	}
	return jsonObject(words...), true
}

func (w writer) object(s *shape) (n *Node, sure bool) {
	if w.left != nil && !w.left[s.path+"/"] {
		return nil, false
	}
	properties, required := jsonObject(), &Node{Kind: Array}
	for _, m := range s.members {
		part, sure := w.write(m.shape)
		if part == nil {
			continue
		}
		properties.Members = append(properties.Members, Member{m.name, part})
		if m.required && sure {
			required.Items = append(required.Items, jsonText(m.name))
		}
	}
	words := append(s.spoken(w.described), Member{"additionalProperties", jsonFalse()})
	if len(required.Items) > 0 {
		words = append(words, Member{"required", required})
	}
	return jsonObject(append(words, Member{"properties", properties})...), true
}

func (w writer) list(s *shape) (n *Node, sure bool) {
	if w.left != nil && !w.left[s.path+"/*"] {
		return nil, false
	}
	words := s.spoken(w.described)
	items, sure := w.write(s.items)
	if !sure { // entries may be dropped
		words = slices.DeleteFunc(words, func(m Member) bool { return m.Name == "minItems" })
	}
	if items == nil { // all entries are dropped; other alternatives keep some
		words = slices.DeleteFunc(words, func(m Member) bool { return m.Name == "maxItems" })
		words = append(words, Member{"maxItems", jsonNumber(0)})
		items = jsonObject(typed("null"))
	}
	return jsonObject(append(words, Member{"items", items})...), true
}

// choice writes treated alternatives as "anyOf", and equal ones only once.
func (w writer) choice(s *shape) (n *Node, sure bool) {
	name, branches := s.choice, &Node{Kind: Array}
	if w.left != nil {
		name = "anyOf"
	}
	sure = true
	for _, b := range s.branches {
		part, always := w.write(b)
		sure = sure && always
		if part != nil && (w.left == nil || !slices.ContainsFunc(branches.Items,
			func(o *Node) bool { return equal(o, part) })) {
			branches.Items = append(branches.Items, part)
		}
	}
	switch {
	case len(branches.Items) == 0:
		return nil, false
	case len(branches.Items) == 1 && w.left != nil:
		return branches.Items[0], sure
	}
	return jsonObject(append(s.spoken(w.described), Member{name, branches})...), sure
}

// spoken returns the keywords of s that make a statement about a record, without those that write
// makes itself.
func (s *shape) spoken(described bool) []Member {
	var words []Member
	for _, m := range s.words {
		switch u := keywords[m.Name].use; {
		case u&(ours|silent) != 0:
		case m.Name == "properties" || m.Name == "required" || m.Name == "additionalProperties" || m.Name == "items":
		case (m.Name == "title" || m.Name == "description") && !described:
		default:
			words = append(words, m)
		}
	}
	return words
}

// treated returns the keywords for the values that the treatment produces, or nil if it drops the
// leaf.
func (s *shape) treated(described bool) []Member {
	var words []Member
	switch t := s.field.Treatment; t.Kind {
	case Drop:
		return nil
	case Keep:
		return s.spoken(described)
	case Pseudonym:
		words = []Member{typed("string"), word("pattern", "^"+pseudonymForm+"$")}
	case Shift:
		words = shiftWords(s.field.Format, t.Clock)
	case Year:
		words = elapsedWords(s.field.Format, "year", jsonObject(typed("integer")))
	case DayCount:
		words = elapsedWords(s.field.Format, "day", jsonObject(typed("integer")))
	case AgeBand:
		words = []Member{typed("string"), word("pattern", ageBandForm)}
	case Region:
		most := 3
		if t.Width > 0 {
			most = t.Width
		}
		words = []Member{typed("string"), {"minLength", jsonNumber(1)}, {"maxLength", jsonNumber(most)}}
	case Round:
		words = []Member{typed("number")}
		if t.Coded {
			words = append(words, Member{"minimum", jsonNumber(t.From)}, Member{"maximum", jsonNumber(t.To)})
		}
	case Text:
		words = []Member{typed("string")}
	case Recording:
		words = []Member{typed("string"), word("pattern", recordingForm)}
		if columns := s.word("columns"); columns != nil { // the laboratory checks the recordings again
			words = append(words, Member{"columns", columns})
		}
	}
	if title := s.word("title"); described && title != nil {
		words = append([]Member{{"title", title}}, words...)
	}
	return words
}

// shiftWords describes a moved date, or a moved time, which is local and without an offset.
func shiftWords(format, clock string) []Member {
	switch {
	case format == "date":
		return []Member{typed("string"), word("format", format)}
	case clock == ClockHour:
		return []Member{typed("string"), word("pattern", hourForm)}
	case clock == ClockDrop:
		return elapsedWords(format, "date", jsonObject(typed("string"), word("format", "date")))
	}
	return []Member{typed("string"), word("pattern", localForm)}
}

// elapsedWords describes a date reduced to a whole number. Of a date and time it describes an
// object: the member name, which is as value says, and the seconds since the session began.
func elapsedWords(format, name string, value *Node) []Member {
	if format == "date" {
		return []Member{typed("integer")}
	}
	names := []string{name, "elapsed_s"}
	return []Member{
		typed("object"), {"additionalProperties", jsonFalse()}, {"required", jsonTexts(names)},
		{"properties", jsonObject(
			Member{names[0], value},
			Member{names[1], jsonObject(typed("number"))},
		)},
	}
}

// sameLeaves reports whether every value of s leaves unchanged, so that different entries of a
// list remain different.
func sameLeaves(s *shape) bool {
	same := true
	s.each(func(leaf *shape) { same = same && (leaf.field == nil || leaf.field.Treatment.Kind == Keep) })
	return same
}
