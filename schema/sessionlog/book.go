package sessionlog

import (
	"strconv"
	"strings"

	"outbreath/schema"
	"outbreath/schema/sheet"
)

// BookOf returns the workbook of a plan with records in it as a person would type them, a
// row a session and one an entry, and with the rows of a roster, which may be nil. Read
// makes the same records of it.
func BookOf(p *schema.Plan, study *schema.Study, records []*schema.Node, roster *schema.Roster) sheet.Book {
	book := Workbook(p, study)
	columns := Columns(p)
	for i := range book.Sheets {
		s := &book.Sheets[i]
		var of []Column
		for _, c := range columns {
			if c.Sheet == s.Name {
				of = append(of, c)
			}
		}
		if s.Name == RosterSheet {
			s.Rows = rosterRows(of, roster)
			continue
		}
		for _, n := range records {
			for _, at := range entriesOf(n, of) {
				row := make([]sheet.Cell, len(of))
				for j, c := range of {
					field := c.Field
					if c.List != "" {
						field = strings.Replace(field, c.List, at, 1)
					}
					row[j] = cellOf(n.At(field))
				}
				s.Rows = append(s.Rows, row)
			}
		}
	}
	return book
}

// rosterRows returns the rows of a roster under a sheet's columns.
func rosterRows(of []Column, roster *schema.Roster) (rows [][]sheet.Cell) {
	if roster == nil {
		return nil
	}
	for _, subject := range roster.Rows {
		row := make([]sheet.Cell, len(of))
		for j, c := range of {
			if text := subject[strings.TrimPrefix(c.Field, rosterPrefix)]; text != "" {
				row[j] = sheet.Cell{Kind: sheet.Text, Text: text}
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// entriesOf returns the pointers of the entries that a sheet's columns are in; one, the
// record itself, for those of the session.
func entriesOf(n *schema.Node, of []Column) []string {
	list := of[len(of)-1].List
	if list == "" {
		return []string{""}
	}
	var at []string
	if items := n.At(strings.TrimSuffix(list, "/*")); items != nil {
		for i := range items.Items {
			at = append(at, strings.Replace(list, "*", strconv.Itoa(i), 1))
		}
	}
	return at
}

func cellOf(n *schema.Node) sheet.Cell {
	switch {
	case n == nil || n.Text == "":
		return sheet.Cell{}
	case n.Kind == schema.Number:
		return sheet.Cell{Kind: sheet.Number, Text: n.Text}
	case n.Kind == schema.Bool:
		return sheet.Cell{Kind: sheet.Text, Text: map[string]string{"true": "yes", "false": "no"}[n.Text]}
	}
	return sheet.Cell{Kind: sheet.Text, Text: n.Text}
}
