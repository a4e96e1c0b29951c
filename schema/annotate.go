package schema

import (
	"fmt"
	"slices"
)

// Annotation returns the value of "deid" that gives a field the treatment t.
func (t Treatment) Annotation() *Node {
	kind := string(t.Kind)
	switch {
	case t.Kind == Shift && t.Clock != "":
		return jsonObject(Member{kind, jsonObject(word("clock", t.Clock))})
	case t.Kind == Pseudonym:
		return jsonObject(word(kind, t.Purpose))
	case t.Kind == AgeBand, t.Kind == Region && t.Width > 0, t.Kind == Round && !t.Coded:
		return jsonObject(Member{kind, jsonNumber(t.Width)})
	case t.Kind == Round:
		return jsonObject(Member{kind, jsonNumber(t.Width)}, Member{"from", jsonNumber(t.From)},
			Member{"to", jsonNumber(t.To)})
	}
	return jsonText(kind)
}

// Allows reports whether a plan may give a field that the tool itself reads the treatment t.
// It is true for every other field.
func Allows(path string, t Treatment) bool {
	i := slices.IndexFunc(core, func(c coreField) bool { return c.path == path })
	return i < 0 || core[i].deid == nil || slices.Contains(core[i].deid, t.String())
}

// A Retreatment gives a field another treatment, and says why.
type Retreatment struct {
	Treatment Treatment
	Why       string // one plain sentence
}

// Amended returns the plan's annotated schema, complete and with its references expanded,
// in which the fields at the paths in changes are treated otherwise. The result loads as the plan
// of a study; the error says why it does not.
func (p *Plan) Amended(name string, changes map[string]Retreatment) ([]byte, error) {
	for path := range changes {
		if _, ok := p.Field(path); !ok {
			return nil, fmt.Errorf("the plan has no field %s", path)
		}
	}
	w := writer{described: true, leaf: func(leaf *shape) []Member {
		words := slices.DeleteFunc(slices.Clone(leaf.words), func(m Member) bool { return m.Name == "$comment" })
		c, changed := changes[leaf.path]
		if !changed {
			return words
		}
		words = slices.DeleteFunc(words, func(m Member) bool { return m.Name == "deid" || m.Name == "why" })
		return append(words, Member{"deid", c.Treatment.Annotation()}, word("why", c.Why))
	}}
	root, _ := w.write(p.records.shape)
	data := top(root).Encode()
	if _, err := ParsePlan(name, data); err != nil {
		return nil, err
	}
	return data, nil
}
