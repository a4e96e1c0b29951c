package schema

import (
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"
)

// maxAlternatives bounds the entries of "oneOf" and "anyOf" in a schema, once
// every reference is written out.
const maxAlternatives = 64

// A beside is what stands beside "oneOf" or "anyOf" and holds in each of the
// alternatives. Written into each of them it means the same, because a record
// must satisfy both.
type beside struct {
	words []Member
	home  string // pointer of the "properties" or "items" among words
}

// ofFields are the keywords that read one another: the same ones in another
// schema, even of the same value, do not see them.
var ofFields = []string{"properties", "additionalProperties"}

// join returns words with those beside the alternatives added. The message
// says why that cannot be done.
func (b beside) join(words []Member) (all []Member, message string) {
	has := func(words []Member) bool {
		return slices.ContainsFunc(words, func(m Member) bool { return slices.Contains(ofFields, m.Name) })
	}
	if has(b.words) && has(words) {
		return nil, `"properties" and "additionalProperties" stand both beside the alternatives and in one of ` +
			`them, where they do not know each other: name all fields in each alternative, or all beside them`
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
				` stands both beside the alternatives and in one of them: keep one of the two`
		}
	}
	return all, ""
}

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

func equal(a, b *Node) bool {
	return (a == nil) == (b == nil) && (a == nil || string(a.Encode()) == string(b.Encode()))
}

// choiceOf returns the keyword that makes a schema one of alternatives.
func (s *shape) choiceOf() string {
	for _, name := range []string{"oneOf", "anyOf"} {
		if s.word(name) != nil {
			return name
		}
	}
	return ""
}

// alternatives walks every one of them. Afterwards s.words has only what
// belongs to the choice itself.
func (w *shaper) alternatives(s *shape, home string, depth int) error {
	s.choice = s.choiceOf()
	list := s.word(s.choice)
	switch {
	case s.choice == "oneOf" && s.word("anyOf") != nil:
		return wrong(s.pointer, `"oneOf" and "anyOf" stand beside each other: keep one of the two`)
	case list.Kind != Array || len(list.Items) == 0:
		return wrong(s.pointer, `the value of "`+s.choice+`" must be a list of at least one schema`)
	}
	var own []Member
	shared := beside{home: home}
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
				`are written out`)
		}
		part, err := w.shape(item, at, s.path, depth+1, shared)
		if err != nil {
			return err
		}
		s.branches = append(s.branches, part)
	}
	return nil
}

// record says whether nothing but an object can stand here.
func (s *shape) record() bool {
	for _, b := range s.branches {
		if !b.record() {
			return false
		}
	}
	return s.branches != nil || s.members != nil
}

// requires says whether every alternative has the leaf at path, and requires it
// in its object.
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

// add puts the row of a leaf into the treatment table. If another alternative
// has the leaf too, both must say the same of it.
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

// merge widens f to the values that o accepts. What f says of its values holds
// for all of them afterwards; so a form that only one of the two fixes is none.
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
		f.Decimals = 0 // one of the two has no limit
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

// nearestOf returns the one alternative that the value at e was probably meant to
// be: all others are ruled out by its type, or by a listed value that it, or one
// of its fields, has not. It is nil if that leaves none or several.
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

func innermost(e *jsonschema.ValidationError, f func(*jsonschema.ValidationError)) {
	if len(e.Causes) == 0 {
		f(e)
	}
	for _, c := range e.Causes {
		innermost(c, f)
	}
}

// isChoice goes by the library's own words, because a field may be called
// "oneOf". They hold no value.
func isChoice(e *jsonschema.ValidationError) bool {
	return e.Message == "oneOf failed" || e.Message == "anyOf failed"
}

// parent returns the location of the object or list that a value stands in.
func parent(location string) string {
	if i := strings.LastIndexByte(location, '/'); i >= 0 {
		return location[:i]
	}
	return "-"
}

// alternatives counts them.
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
