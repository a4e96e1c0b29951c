package sessionlog

import (
	"slices"
	"strings"

	"outbreath/schema/sheet"
)

// totals are words at the beginning of rows that add others up (common practice, no source).
var totals = []string{"total", "totals", "subtotal", "sum", "summe", "gesamt", "somme", "suma", "average", "mean",
	"mittelwert", "durchschnitt", "moyenne", "media", "promedio", "count", "anzahl", "nombre"}

// labels sets aside rows that describe the others, with one objection each: the first one,
// if it has units and no number, and those that add others up.
func (r *reader) labels(s *source) {
	for i, row := range s.rows {
		if r.skipped[rowOf{s, row}] {
			continue
		}
		units, first := 0, ""
		digits := false
		for col := range s.Rows[row].Cells {
			c := s.cell(row, col)
			if c.Kind == sheet.Empty {
				continue
			}
			if first == "" {
				first = strings.ToLower(strings.Trim(clean(c.Text), ":. "))
			}
			_, ok := unitOf(strings.Trim(clean(c.Text), "()[]"))
			if ok && c.Kind == sheet.Text {
				units++
			} else if c.Kind != sheet.Text || strings.ContainsAny(c.Text, "0123456789") {
				digits = true
			}
		}
		switch {
		case i == 0 && units >= 2 && !digits:
			r.problem(s.ref(row, 0), "", "this row gives the units of the columns, and is no entry: write "+
				"each unit into "+
				"its heading, as in volume (L), and clear the row")
		case slices.Contains(totals, first) && 2*s.filled(row) < s.headings():
			r.problem(s.ref(row, 0), "", "this row adds others up, and is no entry: clear it, or keep it in "+
				"another sheet")
		default:
			continue
		}
		r.skipped[rowOf{s, row}] = true
	}
}
