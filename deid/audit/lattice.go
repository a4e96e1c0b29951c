package audit

import (
	"outbreath/deid"
	"outbreath/deid/reach"
	"outbreath/schema"
)

// Lattice returns the ways to treat the quasi-identifiers of plan more coarsely, and the table as
// it leaves now, whose rows are those of the lattice. Coarser values are made from the source that
// in holds, so that they are exactly those that would leave.
func (o *Output) Lattice(in *Input, plan *schema.Plan) (*reach.Table, *Table) {
	t := o.Table(fieldsOf(plan))
	sources := map[string][]*schema.Session{}
	for _, r := range o.Records {
		sources[r.Subject] = append(sources[r.Subject], in.Source[r.Session])
	}
	lattice := &reach.Table{}
	for i := range t.Sensitive {
		values := make([]string, len(t.Rows))
		for r, row := range t.Rows {
			values[r] = row.Sensitive[i]
		}
		lattice.Sensitive = append(lattice.Sensitive, values)
	}
	for i, f := range t.Quasi {
		now, found := make([]string, len(t.Rows)), make([][]sourced, len(t.Rows))
		for r, row := range t.Rows {
			now[r], found[r] = row.Quasi[i], valuesAt(f.Path, sources[row.Who])
		}
		field, _ := plan.Field(f.Path)
		lattice.Axes = append(lattice.Axes, reach.NewAxis(field, now,
			func(r int, t schema.Treatment) (string, bool) {
				if t.Kind == schema.Shift { // a key is needed, but the value as it leaves tells
					return reach.Retreated(now[r], field.Treatment, t)
				}
				return generalised(found[r], t)
			}))
	}
	return lattice, t
}

// fieldsOf returns the fields of a plan as [FieldsOf] does of a ledger.
func fieldsOf(plan *schema.Plan) []Field {
	var list []Field
	for _, f := range plan.Fields {
		list = append(list, Field{f.Path, f.Treatment.String(), f.Risk})
	}
	return list
}

// sourced is a value of the source, and its session.
type sourced struct {
	value   *schema.Node
	session *schema.Session
}

// valuesAt returns all values at path in the sessions.
func valuesAt(path string, sessions []*schema.Session) []sourced {
	var list []sourced
	for _, s := range sessions {
		s.Doc.Walk(func(at schema.Place, n *schema.Node) bool {
			if at.Path == path {
				list = append(list, sourced{n, s})
			}
			return true
		})
	}
	return list
}

// generalised returns the value of a subject under t, false if t does not apply to one of them.
func generalised(found []sourced, t schema.Treatment) (string, bool) {
	values := make([]string, 0, len(found))
	for _, v := range found {
		text, ok := deid.Generalise(t, v.value, v.session)
		if !ok {
			return "", false
		}
		values = append(values, text)
	}
	return reach.Joined(values), true
}

// Figures measures what would leave a collection under its plan, with the sessions that it holds.
func Figures(c *schema.Collection, d *deid.Draft) (*Risk, error) {
	o, err := OfCollection(c, d, nil, nil, nil, &Input{}, nil)
	if err != nil {
		return nil, err
	}
	return Measure(o.Table(fieldsOf(c.Plan)), nil), nil
}
