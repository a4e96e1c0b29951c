package sessionlog

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"outbreath/schema/sheet"
)

// filled counts the cells of a row that hold more than white space.
func (s *source) filled(row int) int {
	n := 0
	for col := range s.Rows[row].Cells {
		if s.cell(row, col).Kind != sheet.Empty {
			n++
		}
	}
	return n
}

// headings counts those of a source.
func (s *source) headings() int { return s.filled(s.head) }

// needed counts the columns of a sheet that every row has.
func (h *heads) needed(sheetName string) int {
	n := 0
	for i := range h.columns {
		if h.columns[i].Sheet == sheetName && h.columns[i].Required {
			n++
		}
	}
	return n
}

// strays sets aside rows that are no entries: blank ones without a word; those with a
// value in one cell alone, or in two of many, such as footnotes, totals and marks of
// programs, with one objection.
func (r *reader) strays(s *source) {
	most := 0
	switch n := s.headings(); {
	case n >= 6 && r.heads.needed(s.sheet) >= 4:
		most = 2
	case n >= 3:
		most = 1
	}
	var at []string
	for _, row := range s.rows {
		n := s.filled(row)
		if r.skipped[rowOf{s, row}] || n > most {
			continue
		}
		r.skipped[rowOf{s, row}] = true
		if n == 0 {
			continue
		}
		for col := range s.Rows[row].Cells {
			if s.cell(row, col).Kind != sheet.Empty {
				at = append(at, s.ref(row, col))
				break
			}
		}
	}
	if len(at) > 0 {
		r.problem(cells(at), "", "the row has next to nothing in it, so that it is no entry of the log (a note, a "+
			"total, a mark of a program?): clear the row, or complete it")
	}
}

// lengths objects to lines of a text table that have more or fewer values than there are
// headings: their values are not under the headings that they belong to. It reports
// whether there is none.
func (r *reader) lengths(s *source) bool {
	if !s.Text {
		return true
	}
	width := 0
	for col := range s.Rows[s.head].Cells {
		if s.cell(s.head, col).Kind != sheet.Empty {
			width = col + 1
		}
	}
	uneven := map[int][]int{} // rows by the number of their values
	padded := false           // values that are empty are written at the end of a line
	for _, row := range s.rows {
		if r.skipped[rowOf{s, row}] {
			continue
		}
		n := len(s.Rows[row].Cells)
		padded = padded || n >= width && s.cell(row, n-1).Kind == sheet.Empty
		for n > width && s.cell(row, n-1).Kind == sheet.Empty {
			n--
		}
		if n != width {
			uneven[n] = append(uneven[n], row)
		}
	}
	good := true
	for n, rows := range sorted(uneven) {
		if n < width && r.mayEnd(s, n, rows, padded) {
			continue
		}
		var at []string
		for _, row := range rows {
			at = append(at, strconv.Itoa(s.Rows[row].Number))
			r.skipped[rowOf{s, row}] = true
		}
		good = false
		r.problem(lines(s, at), "", fmt.Sprintf("%d values, and there are %d headings, so that values are not under "+
			"their headings: put a value that holds the separating sign (a comma in a number or a note?) in "+
			"quotation marks, or add what is missing", n, width))
	}
	return good
}

// lines names lines of a text table, the first of many.
func lines(s *source, numbers []string) string {
	if len(numbers) == 1 {
		return s.name() + ", line " + numbers[0]
	}
	at := s.name() + ", lines " + strings.Join(numbers[:min(len(numbers), shownCells)], ", ")
	if more := len(numbers) - shownCells; more > 0 {
		at += fmt.Sprintf(" and %d more", more)
	}
	return at
}

// mayEnd reports whether lines may be shorter because programs leave out empty values at
// the end, for a whole table or for many lines: nothing that is missing is needed, or
// given in most other lines.
func (r *reader) mayEnd(s *source, n int, rows []int, padded bool) bool {
	if padded && len(rows) < 8 {
		return false
	}
	for col := n; col < len(s.Rows[s.head].Cells); col++ {
		given, all := 0, 0
		for _, row := range s.rows {
			if r.skipped[rowOf{s, row}] || len(s.Rows[row].Cells) <= n {
				continue
			}
			all++
			if s.cell(row, col).Kind != sheet.Empty {
				given++
			}
		}
		if 2*given > all {
			return false
		}
	}
	return true
}

// sorted ranges over a map in the order of its keys.
func sorted[V any](m map[int]V) func(func(int, V) bool) {
	return func(yield func(int, V) bool) {
		keys := make([]int, 0, len(m))
		for k := range m {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			if !yield(k, m[k]) {
				return
			}
		}
	}
}

// shifted objects to rows whose values are under other headings than those of the other
// rows: at least three of them, and a quarter of those that can be told, are of another kind
// than their column. It reports whether there is none.
func (r *reader) shifted(s *source) bool {
	wrong, told := map[int]int{}, map[int]int{}
	for _, c := range s.cols {
		var odd []int
		all := 0
		for _, row := range s.rows {
			cell := s.cell(row, c.col)
			if r.skipped[rowOf{s, row}] || cell.Kind == sheet.Empty {
				continue
			}
			fits, known := c.takes(cell)
			if !known {
				continue
			}
			told[row]++
			all++
			if !fits {
				odd = append(odd, row)
			}
		}
		if 3*len(odd) > all { // it is the column that is odd
			continue
		}
		for _, row := range odd {
			wrong[row]++
		}
	}
	var at []string
	for _, row := range s.rows {
		if n := wrong[row]; n >= 3 && 4*n >= told[row] {
			at = append(at, s.ref(row, 0))
			r.skipped[rowOf{s, row}] = true
		}
	}
	if len(at) > 0 {
		r.problem(cells(at), "", "values of this row are not of the kind that their columns hold in the other rows: "+
			"is the row shifted by a cell? Put each value back under its heading")
	}
	return len(at) == 0
}

// takes reports whether a cell is of the kind of a column, and whether that can be told.
func (c *column) takes(cell sheet.Cell) (fits, known bool) {
	if cell.Kind == sheet.Fault || cell.Kind == sheet.Text && saysNothing(cell.Text) {
		return true, false
	}
	text := clean(cell.Text)
	switch kindOf(c.column) {
	case dates, times:
		if cell.Kind != sheet.Text {
			return cell.Kind == sheet.Time || cell.Kind == sheet.Number, true
		}
		_, date := readDate(text)
		_, lone, tod := readClock(text)
		_, _, number := storedNumber(text)
		return date || tod || lone || number || exactTime.MatchString(text), true
	case numbers:
		if cell.Kind != sheet.Text {
			return cell.Kind == sheet.Number, true
		}
		n, ok := readNumeral(text)
		_, unit := unitOf(n.unit)
		return ok && (n.unit == "" || unit), true
	case words:
		leaf := c.column.Leaf
		if leaf == nil {
			leaf = rosterSex
		}
		return cell.Kind == sheet.Bool || len(listed(leaf, text)) > 0, true
	case codes:
		if c.column.Leaf == nil || len(c.column.Leaf.Patterns) == 0 || cell.Kind != sheet.Text {
			return true, false
		}
		return matches(c.column.Leaf, text), true
	}
	return true, false
}

// beyond objects to values of a workbook's rows to the right of the last heading, where
// few rows have them: a column without a heading is another thing.
func (r *reader) beyond(s *source) bool {
	if s.Text {
		return true
	}
	rows := 0
	over := map[int][]int{} // rows by column
	for _, row := range s.rows {
		if r.skipped[rowOf{s, row}] {
			continue
		}
		rows++
		for col := range s.Rows[row].Cells {
			if s.cell(row, col).Kind != sheet.Empty && s.cell(s.head, col).Kind == sheet.Empty {
				over[col] = append(over[col], row)
			}
		}
	}
	good := true
	for col, list := range sorted(over) {
		if rows < 3 || 3*len(list) > rows {
			continue
		}
		var at []string
		for _, row := range list {
			at = append(at, s.ref(row, col))
			r.skipped[rowOf{s, row}] = true
		}
		good = false
		r.problem(cells(at), "", "this value has no heading above it, and other rows have nothing there: is the row "+
			"shifted? Put each value back under its heading, or clear the cell")
	}
	return good
}

// onlyOnce leaves out a table that was given before, and asks about a second sheet of one kind
// in a workbook, such as an old one.
func (r *reader) onlyOnce() {
	kept := []*source{}
	again := map[string]bool{}
	for _, s := range r.sources {
		o := slices.IndexFunc(kept, func(o *source) bool { return o.sheet == s.sheet && equalTables(o.Table, s.Table) })
		if o >= 0 && (s.Text || kept[o].File != s.File || kept[o].Name == s.Name) {
			if !again[s.File] {
				again[s.File] = true
				r.problem(baseName(s), "", "the same table was given before, in "+kept[o].name()+
					": name each file of the log once")
			}
			continue
		}
		kept = append(kept, s)
	}
	first := map[string]*source{}
	for _, s := range kept {
		key := s.File + "\x00" + s.sheet
		if first[key] == nil || r.heads.sheetOf(first[key].Name) != s.sheet && r.heads.sheetOf(s.Name) == s.sheet {
			first[key] = s
		}
	}
	r.sources = slices.DeleteFunc(kept, func(s *source) bool {
		main := first[s.File+"\x00"+s.sheet]
		return !s.Text && s != main && !s.Hidden && !r.second(s, main)
	})
}

func baseName(s *source) string { return base(s.File) }

// second asks whether one more sheet of a kind is part of the log.
func (r *reader) second(s, main *source) bool {
	key := id("second", "sheet", s.sheet, s.Name)
	switch r.set.Answers[key] {
	case "read":
		return true
	case "leave":
		r.out.Understood = append(r.out.Understood, Understood{Where: s.name(), How: "not read, as was said"})
		return false
	}
	r.doubt(Doubt{ID: key, Where: s.name(), Question: fmt.Sprintf("the headings are those of %s, as in %s: is it part "+
		"of the log as well, or an old or spare one?", s.sheet, main.name()), Choices: hiddenChoices}, "")
	return false
}

func equalTables(a, b *sheet.Table) bool {
	return slices.EqualFunc(a.Rows, b.Rows, func(x, y sheet.Row) bool { return slices.Equal(x.Cells, y.Cells) })
}

// nameless objects to tables whose name says what they hold, and which have no headings.
func (r *reader) nameless(unread []*sheet.Table, alone bool) []*sheet.Table {
	var rest []*sheet.Table
	for _, t := range unread {
		name := r.heads.sheetOf(tableName(t))
		if name == "" || slices.ContainsFunc(r.sources, func(s *source) bool { return s.sheet == name }) {
			rest = append(rest, t)
			continue
		}
		r.halted = true
		first := "session id"
		if name == RosterSheet {
			first = "subject id"
		}
		r.problem((&source{Table: t, alone: alone}).name(), "",
			fmt.Sprintf("by its name this is the table of %s, and no "+
				"row of headings was found in it: its first row must name the columns, one of them %s", name, first))
	}
	return rest
}

// noEntries says once that the table of a list is missing which every record needs.
func (r *reader) noEntries(pointer string) bool {
	for name, list := range r.heads.lists {
		if list != pointer {
			continue
		}
		if slices.ContainsFunc(r.sources, func(s *source) bool {
			return s.sheet == name || slices.ContainsFunc(s.cols, func(c *column) bool {
				return c.column.List == list+"/*"
			})
		}) {
			return false
		}
		if !r.missing[name] {
			if r.missing == nil {
				r.missing = map[string]bool{}
			}
			r.missing[name] = true
			r.problem("the log", list, fmt.Sprintf("no table of %s was found, and every session needs an entry of it: "+
				"fill in the sheet %s, or give its file as well", name, name))
		}
		return true
	}
	return false
}

// identifies reports whether a column holds numbers of people, sessions, tubes or things,
// which are written in Latin letters.
func (c *Column) identifies() bool {
	name := normal(last(strings.TrimPrefix(c.Field, rosterPrefix)))
	for _, end := range []string{"id", "barcode", "serial", "lot", "unit"} {
		if strings.HasSuffix(name, end) {
			return true
		}
	}
	return false
}

// lookAlike names the script of letters in a code that look like Latin ones and are not,
// "" for none: a letter of another script beside Latin letters, digits or none but marks.
func lookAlike(text string) string {
	latin, other := strings.ContainsAny(text, "0123456789"), ""
	for _, c := range text {
		switch {
		case !unicode.IsLetter(c):
		case unicode.Is(unicode.Latin, c):
			latin = true
		case unicode.Is(unicode.Cyrillic, c):
			other = "Cyrillic"
		case unicode.Is(unicode.Greek, c):
			other = "Greek"
		}
	}
	if !latin {
		return ""
	}
	return other
}
