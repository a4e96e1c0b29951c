package schema

import (
	"slices"
	"strconv"
)

// Forms of the values that treatments make. Source: contract.
const (
	pseudonymForm = `[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}-[0-9A-Z]`
	recordingForm = `^recordings/` + pseudonymForm + `-[1-9][0-9]*\.(csv|edf)$`
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

// written returns the schema with its references written out, and without what
// says nothing about a record. It is what the library compiles.
func written(s *shape) *Node {
	return top(s.write(func(leaf *shape) []Member { return leaf.spoken(true) }, true))
}

// outgoing returns the schema of the treated records. Words of the schema's
// author are kept only if described, that is, if they are our own.
func outgoing(s *shape, described bool) *Node {
	s = s.unequal()
	return top(s.write(func(leaf *shape) []Member { return leaf.treated(described) }, described))
}

// unequal returns s without "uniqueItems" where a treatment could make equal
// entries of different ones.
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
	return &c
}

func top(n *Node) *Node {
	n.Members = append([]Member{word("$schema", draft2020)}, n.Members...)
	return n
}

// write builds a schema out of leaves made by f; nil stands for a leaf that is
// gone, and so is an object or list of which nothing is left.
func (s *shape) write(f func(*shape) []Member, described bool) *Node {
	switch {
	case s.items != nil:
		items := s.items.write(f, described)
		if items == nil {
			return nil
		}
		return jsonObject(append(s.spoken(described), Member{"items", items})...)
	case s.members != nil:
		properties, required := jsonObject(), &Node{Kind: Array}
		for _, m := range s.members {
			part := m.write(f, described)
			if part == nil {
				continue
			}
			properties.Members = append(properties.Members, Member{m.name, part})
			if m.required {
				required.Items = append(required.Items, jsonText(m.name))
			}
		}
		if len(properties.Members) == 0 {
			return nil
		}
		words := append(s.spoken(described), Member{"additionalProperties", jsonFalse()})
		if len(required.Items) > 0 {
			words = append(words, Member{"required", required})
		}
		return jsonObject(append(words, Member{"properties", properties})...)
	}
	if words := f(s); words != nil {
		return jsonObject(words...)
	}
	return nil
}

// spoken returns the keywords of s that say something about a record, without
// those that write makes anew.
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

// treated returns the keywords for what the treatment makes of the leaf, or
// nil if it drops it.
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
		words = []Member{typed("string"), word("format", s.field.Format)}
	case Year:
		words = yearWords(s.field.Format)
	case AgeBand:
		words = []Member{typed("string"), word("pattern", ageBandForm)}
	case Region:
		words = []Member{typed("string"), {"minLength", jsonNumber(1)}, {"maxLength", jsonNumber(16)}}
	case Round:
		words = []Member{typed("number")}
		if t.Coded {
			words = append(words, Member{"minimum", jsonNumber(t.From)}, Member{"maximum", jsonNumber(t.To)})
		}
	case Text:
		words = []Member{typed("string")}
	case Recording:
		words = []Member{typed("string"), word("pattern", recordingForm)}
	}
	if title := s.word("title"); described && title != nil {
		words = append([]Member{{"title", title}}, words...)
	}
	return words
}

// yearWords describes a date reduced to its year: the year alone, and beside
// it, for a time of day, the seconds since the session began.
func yearWords(format string) []Member {
	if format == "date" {
		return []Member{typed("integer")}
	}
	names := []string{"year", "elapsed_s"}
	return []Member{
		typed("object"), {"additionalProperties", jsonFalse()}, {"required", jsonTexts(names)},
		{"properties", jsonObject(
			Member{names[0], jsonObject(typed("integer"))},
			Member{names[1], jsonObject(typed("number"))},
		)},
	}
}

// sameLeaves says whether every value leaves as it is, so that different
// entries of a list stay different.
func sameLeaves(s *shape) bool {
	same := true
	s.each(func(leaf *shape) { same = same && (leaf.field == nil || leaf.field.Treatment.Kind == Keep) })
	return same
}
