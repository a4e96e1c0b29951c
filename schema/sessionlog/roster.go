package sessionlog

import (
	"slices"
	"strings"

	"outbreath/schema"
)

// roster reads the log's list of subjects. What its rows must have is judged when it is
// roster.csv.
func (r *reader) roster(s *source) {
	if r.out.Roster == nil {
		r.out.Roster = &Roster{}
	}
	list := r.out.Roster
	read := map[*column][]value{}
	for _, name := range schema.RosterColumns() {
		if s.has(rosterPrefix+name) && !slices.Contains(list.Columns, name) {
			list.Columns = append(list.Columns, name)
		}
	}
	for _, c := range s.cols {
		name := strings.TrimPrefix(c.column.Field, rosterPrefix)
		if !slices.Contains(list.Columns, name) {
			list.Columns = append(list.Columns, name)
		}
		read[c] = r.read(c)
	}
	for i, row := range s.rows {
		if r.skipped[rowOf{s, row}] {
			continue
		}
		values := map[string]string{}
		for c, column := range read {
			name := strings.TrimPrefix(c.column.Field, rosterPrefix)
			switch v := column[i]; {
			case v.hasDay:
				values[name] = v.day.String()
			case v.node != nil:
				values[name] = v.node.Text
			}
		}
		if len(values) > 0 {
			list.Rows, list.Places = append(list.Rows, values), append(list.Places, s.ref(row, 0))
		}
	}
}
