package deid

import (
	"strings"

	"outbreath/schema"
)

// A step is one node in the tree of a plan's paths. It has a field (for a single
// value), members (for an object) or an item (for a list); where the plan allows
// alternatives, it may have several of these.
type step struct {
	name    string
	field   int // index in Plan.Fields, -1 for none
	members []*step
	item    *step

	gone      bool // every value allowed here is dropped
	fieldGone bool // a single value is dropped
	allGone   bool // all members are dropped
}

// steps arranges the fields of a plan as a tree, in the plan's order.
func steps(p *schema.Plan) *step {
	root := &step{field: -1}
	for i, f := range p.Fields {
		at := root
		for token := range strings.SplitSeq(strings.TrimPrefix(f.Path, "/"), "/") {
			at = at.down(token)
		}
		at.field = i
	}
	root.markGone(p)
	return root
}

// down returns the step for one token of a path, "*" for the items of a list, and adds
// it if necessary.
func (s *step) down(token string) *step {
	if token == "*" {
		if s.item == nil {
			s.item = &step{name: token, field: -1}
		}
		return s.item
	}
	for _, m := range s.members {
		if m.name == token {
			return m
		}
	}
	m := &step{name: token, field: -1}
	s.members = append(s.members, m)
	return m
}

// markGone sets gone, fieldGone and allGone of s and of all steps below it.
func (s *step) markGone(p *schema.Plan) {
	s.fieldGone = s.field < 0 || p.Fields[s.field].Treatment.Kind == schema.Drop
	s.allGone = true
	for _, m := range s.members {
		m.markGone(p)
		s.allGone = s.allGone && m.gone
	}
	s.gone = s.fieldGone && s.allGone
	if s.item != nil {
		s.item.markGone(p)
		s.gone = s.gone && s.item.gone
	}
}

// planPath returns the path in a plan ("/tubes/*/barcode") for a pointer into a record
// ("/tubes/0/barcode"). A token that begins with a digit is a list index, because no
// field name does.
func planPath(pointer string) string {
	tokens := strings.Split(pointer, "/")
	for i, t := range tokens {
		if t != "" && t[0] >= '0' && t[0] <= '9' {
			tokens[i] = "*"
		}
	}
	return strings.Join(tokens, "/")
}
