package schema

import (
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"
)

// maxAlternatives bounds the entries of "oneOf" and "anyOf" in a schema, counted after every
// reference is expanded.
const maxAlternatives = 64

// siblings are the keywords next to "oneOf" or "anyOf". They are moved into each of the
// alternatives, which means the same, because a record must satisfy both.
type siblings struct {
	words []Member
	home  string // pointer of the "properties" or "items" among words
}

// ofFields are the keywords that depend on each other within one schema object: in another
// schema object, even for the same value, they have no effect on each other.
var ofFields = []string{"properties", "additionalProperties"}

// join returns words with the siblings added. A message other than "" says why that is not
// possible.
func (b siblings) join(words []Member) (all []Member, message string) {
	has := func(words []Member) bool {
		return slices.ContainsFunc(words, func(m Member) bool { return slices.Contains(ofFields, m.Name) })
	}
	if has(b.words) && has(words) {
		return nil, `"properties" and "additionalProperties" are both next to the alternatives and in one of ` +
			`them, where they do not see each other: name all fields in each alternative, or all next to them`
	}
	all = slices.Clone(b.words)
	for _, m := range words {
		i := slices.IndexFunc(all, func(o Member) bool { return o.Name == m.Name })
		switch {
		case i < 0:
			all = append(all, m)
		case m.Name == "required" && isNames(m.Value) == "" && isNames(all[i].Value) == "":
			all[i].Value = union(all[i].Value, m.Value)
		case !equal(all[i].Value, m.Value):
			return nil, `the keyword ` + odd(m.Name) +
				` is both next to the alternatives and in one of them: keep one of the two`
		}
	}
	return all, ""
}

// union returns the list of the texts in a, and of those in b that a does not have.
func union(a, b *Node) *Node {
	n := &Node{Kind: Array, Items: slices.Clone(a.Items)}
	seen := make(map[string]bool)
	for _, item := range a.Items {
		seen[item.Text] = true
	}
	for _, item := range b.Items {
		if !seen[item.Text] {
			n.Items = append(n.Items, item)
		}
	}
	return n
}

// equal reports whether two nodes, which may be nil, encode to the same JSON.
func equal(a, b *Node) bool {
	return (a == nil) == (b == nil) && (a == nil || string(a.Encode()) == string(b.Encode()))
}

// choiceOf returns the keyword of s that lists alternatives, or "".
func (s *shape) choiceOf() string {
	for _, name := range []string{"oneOf", "anyOf"} {
		if s.word(name) != nil {
			return name
		}
	}
	return ""
}

// alternatives walks each alternative of s, with the siblings moved into it. Afterwards
// s.words has only the keywords of the choice itself.
func (w *shaper) alternatives(s *shape, home string, depth int) error {
	s.choice = s.choiceOf()
	list := s.word(s.choice)
	switch {
	case s.choice == "oneOf" && s.word("anyOf") != nil:
		return wrong(s.pointer, `"oneOf" and "anyOf" are next to each other: keep one of the two`)
	case list.Kind != Array || len(list.Items) == 0:
		return wrong(s.pointer, `the value of "`+s.choice+`" must be a list of at least one schema`)
	}
	var own []Member
	shared := siblings{home: home}
	for _, m := range s.words {
		if m.Name == s.choice {
			continue
		}
		if message := lint(m.Name, m.Value, onAny, depth == 1, w.plan); message != "" {
			return wrong(s.pointer, message)
		}
		if u := keywords[m.Name].use; u&silent != 0 || m.Name == "title" || m.Name == "description" {
			own = append(own, m)
		} else {
			shared.words = append(shared.words, m)
		}
	}
	s.words = own
	for i, item := range list.Items {
		at := s.pointer + "/" + s.choice + "/" + strconv.Itoa(i)
		if w.alternative++; w.alternative > maxAlternatives {
			return wrong(at, `the schema has more than 64 alternatives in "oneOf" and "anyOf" once its references `+
				`are expanded`)
		}
		part, err := w.shape(item, at, s.path, depth+1, shared)
		if err != nil {
			return err
		}
		s.branches = append(s.branches, part)
	}
	return nil
}

// record reports whether s accepts only objects.
func (s *shape) record() bool {
	for _, b := range s.branches {
		if !b.record() {
			return false
		}
	}
	return s.branches != nil || s.members != nil
}

// requires reports whether every alternative has the leaf at path, and requires it within its
// object.
func (s *shape) requires(path []string) bool {
	for _, b := range s.branches {
		if !b.requires(path) {
			return false
		}
	}
	switch {
	case s.branches != nil:
		return true
	case s.items != nil:
		return path[0] == "*" && len(path) > 1 && s.items.requires(path[1:])
	}
	for _, m := range s.members {
		if m.name == path[0] {
			return len(path) == 1 && m.required || len(path) > 1 && m.requires(path[1:])
		}
	}
	return false
}

// add adds the row of a leaf to the treatment table. If another alternative has the leaf too,
// the two must agree.
func (p *Plan) add(leaf *shape) error {
	i, again := p.index[leaf.path]
	if !again {
		p.index[leaf.path] = len(p.Fields)
		p.Fields = append(p.Fields, *leaf.field)
		return nil
	}
	if message := p.Fields[i].merge(*leaf.field); message != "" {
		return wrong(leaf.pointer, message)
	}
	return nil
}

// merge widens f to the values that o accepts as well. Afterwards every statement of f holds
// for all of them, so a format or limit that only one of the two has is dropped. The message
// is "" unless the two contradict each other.
func (f *Field) merge(o Field) (message string) {
	switch {
	case f.Treatment != o.Treatment:
		return fmt.Sprintf(`the alternatives contradict each other: %s has the treatment %q here and %q in another `+
			`one; give it the same in all`, f.Path, o.Treatment, f.Treatment)
	case f.Risk != "" && o.Risk != "" && f.Risk != o.Risk:
		return fmt.Sprintf(`the alternatives contradict each other: %s has the risk %q here and %q in another one; `+
			`give it the same in all`, f.Path, o.Risk, f.Risk)
	case f.Format != o.Format:
		f.Format = ""
	}
	f.Enum = f.Enum && o.Enum
	was := f.Decimals
	f.Digits = max(f.Digits, o.Digits)
	if f.Decimals = max(f.Decimals, o.Decimals); min(was, o.Decimals) == 0 {
		f.Decimals = 0 // no limit in one of the two
	}
	f.Wide = f.Wide || o.Wide
	if f.Risk == "" {
		f.Risk = o.Risk
	}
	if f.Why == "" {
		f.Why = o.Why
	}
	f.Types = slices.Clone(f.Types)
	for _, t := range o.Types {
		if !slices.Contains(f.Types, t) {
			f.Types = append(f.Types, t)
		}
	}
	if f.Treatment.unfit(*f) != "" {
		return fmt.Sprintf(`the alternatives give %s different formats, but the treatment %q needs one: give it `+
			`the same "format" in all`, f.Path, f.Treatment)
	}
	return ""
}

// nearestOf returns the alternative that the value at e was probably meant to match: all
// others are ruled out by the type of the value, or by a listed value that it, or one of its
// fields, does not have. It returns nil if none or several remain.
func nearestOf(e *jsonschema.ValidationError) *jsonschema.ValidationError {
	var found *jsonschema.ValidationError
	for _, c := range e.Causes {
		ruledOut := false
		innermost(c, func(l *jsonschema.ValidationError) {
			switch path.Base(l.KeywordLocation) {
			case "type":
				ruledOut = ruledOut || l.InstanceLocation == e.InstanceLocation
			case "const", "enum":
				ruledOut = ruledOut || l.InstanceLocation == e.InstanceLocation ||
					parent(l.InstanceLocation) == e.InstanceLocation
			}
		})
		switch {
		case ruledOut:
		case found != nil:
			return nil
		default:
			found = c
		}
	}
	return found
}

// innermost calls f for every error below e that has no cause of its own.
func innermost(e *jsonschema.ValidationError, f func(*jsonschema.ValidationError)) {
	if len(e.Causes) == 0 {
		f(e)
	}
	for _, c := range e.Causes {
		innermost(c, f)
	}
}

// isChoice reports whether e is about alternatives. It compares the library's own message,
// which holds no value, because a field may be called "oneOf".
func isChoice(e *jsonschema.ValidationError) bool {
	return e.Message == "oneOf failed" || e.Message == "anyOf failed"
}

// parent returns the location of the object or list that contains a value.
func parent(location string) string {
	if i := strings.LastIndexByte(location, '/'); i >= 0 {
		return location[:i]
	}
	return "-"
}

// alternatives returns the number of alternatives in s.
func (s *shape) alternatives() int {
	n := len(s.branches)
	for _, b := range s.branches {
		n += b.alternatives()
	}
	for _, m := range s.members {
		n += m.alternatives()
	}
	if s.items != nil {
		n += s.items.alternatives()
	}
	return n
}
