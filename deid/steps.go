package deid

import (
	"strings"

	"outbreath/schema"
)

// A step is one place of a plan and the way down from it. Every place has a
// field (a single value stands there), members (an object) or an item (a list);
// where the plan has alternatives, perhaps several of them.
type step struct {
	name    string
	field   int // index in Plan.Fields, -1 for none
	members []*step
	item    *step

	gone      bool // all that may stand here is dropped
	fieldGone bool // the field is
	allGone   bool // the members are
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

// planPath turns a pointer into a record ("/tubes/0/barcode") into the path of
// its field in a plan ("/tubes/*/barcode"): no field name begins with a digit.
func planPath(pointer string) string {
	tokens := strings.Split(pointer, "/")
	for i, t := range tokens {
		if t != "" && t[0] >= '0' && t[0] <= '9' {
			tokens[i] = "*"
		}
	}
	return strings.Join(tokens, "/")
}
