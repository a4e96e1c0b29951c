package sessionlog

import (
	"slices"
	"time"

	"outbreath/schema"
	"outbreath/schema/sheet"
)

// A Typed is what one line typed for one field says. Without Node, Doubts and Problem it
// says that there is no value.
type Typed struct {
	Node    *schema.Node
	Doubts  []Doubt // questions that must be answered first
	Problem string  // what is wrong and what to do; never with the value
}

// ReadTyped reads a line that a person has typed for a field ("/tubes/*/volume_ml") by the
// rules for the cells of a log. started is when the session began, as RFC 3339, "" if that
// is not known: a time without a day is of that day, else of in.Today.
func ReadTyped(in Inputs, s *Settings, field, line, started string) Typed {
	o := in.Plan.Outline().Find(field)
	if o == nil || o.Leaf == nil {
		return Typed{Problem: "the plan has no such field"}
	}
	columns := Columns(in.Plan)
	i := slices.IndexFunc(columns, func(c Column) bool {
		return c.Field == field && (field != sessionField || c.Sheet == SessionsSheet)
	})
	c := &Column{Field: field, Heading: o.Name, Leaf: o.Leaf}
	if i >= 0 {
		c = &columns[i]
	}
	r := &reader{in: in, set: s, out: &Reading{}, asked: map[string]*question{}, skipped: map[rowOf]bool{}}
	src := &source{Table: &sheet.Table{Text: true, Rows: []sheet.Row{{Number: 1,
		Cells: []sheet.Cell{{Kind: sheet.Text, Text: line, Shown: line}}}}}, sheet: c.Sheet, rows: []int{0}}
	col := &column{meaning: meaning{column: c}, src: src, heading: c.Heading}
	src.cols, r.sources = []*column{col}, []*source{src}
	v := r.read(col)[0]
	out := Typed{Node: v.node}
	if !v.bad && (v.hasHm || v.exact != "" || v.hasDay && v.node == nil) {
		if text := r.moment(field, o.Leaf, v, r.typedClock(started), value{}); text != "" {
			out.Node = &schema.Node{Kind: schema.String, Text: text}
		}
	}
	out.Doubts = r.doubts()
	if len(r.out.Problems) > 0 {
		out.Node, out.Problem = nil, r.out.Problems[0].Message
	}
	return out
}

// typedClock is what is known of the session's times while it is typed.
func (r *reader) typedClock(started string) sessionClock {
	if started != "" {
		return r.clockOf(&session{Record: &Record{}, own: map[string]value{"/started_at": {exact: started}}})
	}
	today := r.in.Today
	if zone := r.in.Location(r.set); zone != nil {
		today = today.In(zone)
	}
	return sessionClock{day: day{today.Year(), int(today.Month()), today.Day()}, known: true}
}

// Location returns the zone of the site's clocks, nil if nobody has named it.
func (in Inputs) Location(s *Settings) *time.Location {
	name := in.Zone
	if name == "" {
		name = s.Zone
	}
	if !IsZone(name) {
		return nil
	}
	zone, _ := time.LoadLocation(name) // IsZone has tried it
	return zone
}

// ZoneDoubt asks for the zone of the site's clocks.
func ZoneDoubt() Doubt {
	return Doubt{ID: "zone", Option: "zone", Question: "in which time zone are the clocks here? Write it as " +
		"continent and city, such as Europe/Berlin"}
}

// SaysNothing reports whether a line is one that many write where there is no value.
func SaysNothing(line string) bool { return saysNothing(line) }
