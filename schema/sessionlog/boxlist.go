package sessionlog

import (
	"bytes"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"outbreath/schema/sheet"
)

// barcodeField is the field whose words head the column of barcodes.
const barcodeField = "/tubes/*/barcode"

// A BoxList is what a table says is in a box.
type BoxList struct {
	Barcodes []string // in the order of the rows, each as often as it is there
	From     string   // `sheet Box, column C "Tube"`
	Left     []string // what was left out, each with its place; mostly none
}

// A BoxError says why a table gives no list of barcodes. It holds headings, and no other
// value of the table.
type BoxError struct {
	Problems []Problem // at least one; Where may be ""
	Column   bool      // to name a column is the remedy
}

func (e *BoxError) Error() string {
	var b strings.Builder
	for i, p := range e.Problems {
		if i > 0 {
			b.WriteByte('\n')
		}
		if p.Where != "" {
			b.WriteString(p.Where + ": ")
		}
		b.WriteString(p.Message)
	}
	return b.String()
}

// IsTable reports whether data is a table, or a text in another encoding than UTF-8, and
// not a plain list in UTF-8 with a barcode a line: it is no text, or its first line is a
// heading of barcodes alone, or at least half of its lines have the same separator inside.
// recorded are the barcodes of the records, as far as they are known: where they are the
// lines of at least half of them, separators included, it is a plain list.
func IsTable(data []byte, recorded []string) bool {
	if len(data) == 0 {
		return false
	}
	if !utf8.Valid(data) || slices.Contains(data, 0) || data[0] == '<' ||
		bytes.HasPrefix(data, []byte("PK\x03\x04")) {
		return true
	}
	known := barcodesOf(recorded)
	lines, found, parted := 0, 0, map[rune]int{}
	for line := range strings.SplitSeq(strings.TrimPrefix(string(data), "\ufeff"), "\n") {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		if known.has[line] {
			found++
		} else if lines == 0 && headsBarcodes(strings.Trim(line, `"`)) {
			return true
		}
		lines++
		for _, sep := range "\t;," {
			if strings.ContainsRune(line, sep) {
				parted[sep]++
			}
		}
	}
	for _, n := range parted {
		if 2*n >= lines && (found == 0 || 2*found < lines) {
			return true
		}
	}
	return false
}

// ReadBox finds the column of barcodes in the tables of a file and reads it.
//
// column is what a person said of it: the name of a sheet, the letter of a column (in a
// text table its number), a heading, or SHEET#HEADING; the first of them that fits counts;
// "" for nothing. Without it, it is the column with a heading of barcodes or, if there is
// none, the only one that holds at least half of the recorded barcodes. recorded is nil
// where no records are at hand. A text table of one column without a heading is a list.
//
// The error is a *[BoxError].
func ReadBox(tables []sheet.Table, column string, recorded []string) (*BoxList, error) {
	known := barcodesOf(recorded)
	c, err := findBox(tables, clean(column), known)
	if err != nil {
		return nil, err
	}
	return c.read(known)
}

// recordedCodes are the barcodes of the records.
type recordedCodes struct {
	has   map[string]bool
	loose map[string][]string // by what a spreadsheet leaves of them
}

func barcodesOf(recorded []string) *recordedCodes {
	k := &recordedCodes{map[string]bool{}, map[string][]string{}}
	for _, b := range recorded {
		if b = strings.Trim(b, " \t\r"); !k.has[b] {
			k.has[b] = true
			k.loose[loosened(b)] = append(k.loose[loosened(b)], b)
		}
	}
	return k
}

// loosened is a barcode without what spreadsheets and word processors take from one or add
// to it. It finds a damaged column; no tube is matched by it.
func loosened(s string) string {
	s = strings.ReplaceAll(strings.Trim(clean(s), `'"`), " ", "")
	if madeDecimal.MatchString(s) {
		s = s[:strings.IndexAny(s, ".,")]
	}
	if allDigits.MatchString(s) {
		return strings.TrimLeft(s, "0")
	}
	return s
}

var madeDecimal = regexp.MustCompile(`^[0-9]+[.,]0+$`)

// headsBarcodes reports whether a text is one of people's headings of barcodes.
func headsBarcodes(s string) bool {
	form := normal(s)
	return form != "" && (form == "barcode" || form == "tubesbarcode" ||
		slices.Contains(headingWords()[barcodeField], form))
}

// A boxColumn is a column of a table that may hold the barcodes.
type boxColumn struct {
	*sheet.Table
	col     int
	head    int // index of the row of its heading; -1 for none
	heading string
}

func (c boxColumn) String() string {
	at := fmt.Sprintf("value %d of each line", c.col+1)
	if !c.Text {
		at = fmt.Sprintf("sheet %s, column %s", c.Name, sheet.Letters(c.col))
	}
	if c.heading != "" {
		at += fmt.Sprintf(" %q", clipped(c.heading))
	}
	if c.hidden() {
		at += " (hidden)"
	}
	return at
}

func (c boxColumn) hidden() bool { return c.Hidden || slices.Contains(c.HiddenColumns, c.col) }

// clipped is a heading of at most 40 characters.
func clipped(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:39]) + "…"
	}
	return s
}

func findBox(tables []sheet.Table, column string, known *recordedCodes) (*boxColumn, error) {
	if len(tables) == 0 {
		return nil, &BoxError{Problems: []Problem{{Message: "the workbook has no value in it: check that it " +
			"was saved"}}}
	}
	found, within := chosen(tables, column)
	switch {
	case within == nil:
		return nil, &BoxError{Column: true, Problems: []Problem{{Message: "no column, and no sheet, is called " +
			strconv.Quote(clipped(column)) + headings(tables)}}}
	case found == nil:
		found = unnamed(within, known)
	}
	switch {
	case len(found) == 1 && found[0].hidden():
		return nil, &BoxError{Problems: []Problem{{found[0].String(), "", "the barcodes are in a hidden sheet or " +
			"column: show it, check that it is the list of this box, and save"}}}
	case len(found) == 1:
		return &found[0], nil
	case len(found) == 0:
		message := "no column is headed as barcodes"
		if len(known.has) > 0 {
			message += ", and none holds half of the recorded ones"
		}
		return nil, &BoxError{Column: true, Problems: []Problem{{Message: message + headings(within)}}}
	}
	var names []string
	for _, c := range found {
		names = append(names, c.String())
	}
	return nil, &BoxError{Column: true, Problems: []Problem{{Message: "more than one column may hold the barcodes " +
		"of the box: " + strings.Join(names, "; ")}}}
}

// unnamed returns the columns that may hold the barcodes where nobody has named one.
func unnamed(tables []sheet.Table, known *recordedCodes) []boxColumn {
	found := withHeading(tables, headsBarcodes)
	if len(found) == 0 && len(known.has) > 0 {
		found = holding(tables, known)
	}
	if t := &tables[0]; len(found) == 0 && len(tables) == 1 && t.Text && columnsOf(t) == 1 {
		found = []boxColumn{{t, 0, -1, ""}}
	}
	return found
}

// chosen returns the columns that a person may have meant. There are none where nothing was
// said of a column; within are the tables to look in then, those of the sheet if one was
// named. Both are nil if nothing is called so.
func chosen(tables []sheet.Table, column string) (found []boxColumn, within []sheet.Table) {
	if column == "" {
		return nil, tables
	}
	if one := sheetCalled(tables, column); one != nil {
		return nil, one
	}
	if found = called(tables, column); len(found) > 0 {
		return found, tables
	}
	for i, r := range column {
		if r != '#' {
			continue
		}
		if one := sheetCalled(tables, column[:i]); one != nil {
			if found = called(one, clean(column[i+1:])); len(found) > 0 {
				return found, one
			}
		}
	}
	return nil, nil
}

func sheetCalled(tables []sheet.Table, name string) []sheet.Table {
	for i, t := range tables {
		if !t.Text && strings.EqualFold(clean(t.Name), clean(name)) {
			return tables[i : i+1]
		}
	}
	return nil
}

// called returns the columns with a letter (in a text table a number) or, where there is no
// such column, with a heading: a value may be "A" or "2" as well, and is no heading.
func called(tables []sheet.Table, want string) []boxColumn {
	var found []boxColumn
	for i := range tables {
		t := &tables[i]
		for col := range columnsOf(t) {
			if !t.Text && strings.EqualFold(sheet.Letters(col), want) || t.Text && strconv.Itoa(col+1) == want {
				found = append(found, unheaded(t, col, nil))
			}
		}
	}
	if len(found) > 0 {
		return found
	}
	found = withHeading(tables, func(h string) bool { return strings.EqualFold(h, want) })
	if form := normal(want); len(found) == 0 && form != "" {
		found = withHeading(tables, func(h string) bool { return normal(h) == form })
	}
	return found
}

// withHeading returns the columns whose heading is one that is wanted: in each table, those of
// the first row with any.
func withHeading(tables []sheet.Table, wanted func(heading string) bool) []boxColumn {
	var found []boxColumn
	for i := range tables {
		t := &tables[i]
		for row := range min(len(t.Rows), lastHead) {
			before := len(found)
			for col, cell := range t.Rows[row].Cells {
				if h := headingText(cell); h != "" && wanted(h) {
					found = append(found, boxColumn{t, col, row, h})
				}
			}
			if len(found) > before {
				break
			}
		}
	}
	return found
}

// holding returns the columns with at least half of the recorded barcodes.
func holding(tables []sheet.Table, known *recordedCodes) []boxColumn {
	var found []boxColumn
	for i := range tables {
		t := &tables[i]
		for col := range columnsOf(t) {
			there := map[string]bool{}
			for _, row := range t.Rows {
				if col < len(row.Cells) {
					if l := loosened(row.Cells[col].Text); known.loose[l] != nil {
						there[l] = true
					}
				}
			}
			if 2*len(there) >= len(known.loose) {
				found = append(found, unheaded(t, col, known))
			}
		}
	}
	return found
}

// unheaded makes a column of which no heading is known. Texts above its values that have a
// blank or no digit, and are not recorded, are its headings.
func unheaded(t *sheet.Table, col int, known *recordedCodes) boxColumn {
	c := boxColumn{t, col, -1, ""}
	for row := range min(len(t.Rows), lastHead) {
		var cell sheet.Cell
		if col < len(t.Rows[row].Cells) {
			cell = t.Rows[row].Cells[col]
		}
		text := strings.TrimSpace(cell.Text)
		if known != nil && known.loose[loosened(text)] != nil ||
			cell.Kind != sheet.Text && cell.Kind != sheet.Empty ||
			strings.ContainsFunc(text, unicode.IsDigit) && !strings.Contains(text, " ") {
			break
		}
		c.head, c.heading = row, ""
		if known != nil || !strings.ContainsFunc(text, unicode.IsDigit) {
			c.heading = headingText(cell)
		}
	}
	return c
}

func columnsOf(t *sheet.Table) int {
	n := 0
	for _, row := range t.Rows {
		n = max(n, len(row.Cells))
	}
	return n
}

// headings lists what may be the headings of tables: the first row without a digit above one
// with digits. Any other may hold values, such as names, which are not shown.
func headings(tables []sheet.Table) string {
	var said []string
	for _, t := range tables {
		name := ""
		if !t.Text {
			name = "sheet " + t.Name + ": "
		}
		var list []string
		for i := range min(len(t.Rows), lastHead) {
			if !withDigit(t.Rows[i]) && slices.ContainsFunc(t.Rows[i+1:], withDigit) {
				for _, cell := range t.Rows[i].Cells {
					if h := headingText(cell); h != "" && len(list) < 12 {
						list = append(list, strconv.Quote(clipped(h)))
					}
				}
				break
			}
		}
		if list == nil {
			list = []string{"none was found"}
		}
		said = append(said, name+strings.Join(list, ", "))
	}
	return "; headings: " + strings.Join(said, "; ")
}

func withDigit(row sheet.Row) bool {
	return slices.ContainsFunc(row.Cells, func(c sheet.Cell) bool {
		return strings.ContainsFunc(c.Text, unicode.IsDigit)
	})
}

// read reads the barcodes below the heading.
func (c *boxColumn) read(known *recordedCodes) (*BoxList, error) {
	list := &BoxList{Barcodes: []string{}, From: c.String()}
	var problems []Problem
	var hidden, bare []int
	cells := 0 // that are wrong
	for i := c.head + 1; i < len(c.Rows); i++ {
		row := c.Rows[i]
		var cell sheet.Cell
		if c.col < len(row.Cells) {
			cell = row.Cells[c.col]
		}
		text, wrong := boxCode(cell, known)
		switch {
		case text == "" && wrong == "":
			if !c.blank(row) {
				bare = append(bare, row.Number)
			}
		case row.Hidden:
			hidden = append(hidden, row.Number)
		case wrong != "":
			if cells++; cells <= mostCells {
				problems = c.alike(problems, i, wrong)
			}
		default:
			list.Barcodes = append(list.Barcodes, text)
		}
	}
	if len(hidden) > 0 {
		problems = append(problems, Problem{c.table() + rowsNamed(c.Text, hidden), barcodeField,
			"hidden, perhaps by a filter: show all rows, delete what is not in this box, and save"})
	}
	if cells > mostCells {
		problems = append(problems, Problem{Message: fmt.Sprintf("and %d more cells", cells-mostCells)})
	}
	if problems != nil {
		return nil, &BoxError{Problems: problems}
	}
	if len(bare) > 0 {
		list.Left = append(list.Left, c.table()+rowsNamed(c.Text, bare)+": no barcode there")
	}
	return list, nil
}

// mostCells is how many cells one error names.
const mostCells = 20

// alike adds a cell to the problems, beside those of which the same is said.
func (c *boxColumn) alike(problems []Problem, row int, wrong string) []Problem {
	at := c.Ref(row, c.col)
	for i := range problems {
		if problems[i].Message == wrong {
			problems[i].Where += "; " + strings.TrimPrefix(at, "sheet "+c.Name+", ")
			return problems
		}
	}
	return append(problems, Problem{at, barcodeField, wrong})
}

func (c *boxColumn) blank(row sheet.Row) bool {
	return !slices.ContainsFunc(row.Cells, func(o sheet.Cell) bool { return strings.TrimSpace(o.Text) != "" })
}

func (c *boxColumn) table() string {
	if c.Text {
		return ""
	}
	return "sheet " + c.Name + ", "
}

// rowsNamed names rows: "rows 4, 7 and 3 more".
func rowsNamed(text bool, rows []int) string {
	word, more := "row", ""
	if text {
		word = "line"
	}
	if len(rows) > 1 {
		word += "s"
	}
	if n := len(rows); n > 8 {
		rows, more = rows[:8], fmt.Sprintf(" and %d more", n-8)
	}
	var names []string
	for _, n := range rows {
		names = append(names, strconv.Itoa(n))
	}
	return word + " " + strings.Join(names, ", ") + more
}

const (
	typeAgain   = ": set the column to the format text and scan the tube again into this cell"
	lostZeros   = "the records have this number with zeros in front, which a spreadsheet has taken away" + typeAgain
	cutNumber   = "a spreadsheet has cut this number to its first digits (E+) or rounded it" + typeAgain
	decimalMade = "a spreadsheet has put a decimal point into this number" + typeAgain
	longest     = 200 // bytes of a barcode
	addedSigns  = "this barcode has a quotation mark, a blank or another character that a program adds, or that " +
		"cannot be seen: scan the tube again into this cell"
)

var (
	cutForm   = regexp.MustCompile(`^[0-9]([.,][0-9]+)?[eE][+-][0-9]{1,3}$`)
	manyZeros = regexp.MustCompile(`0{5}$`)
)

// boxCode returns the barcode in a cell, "" for none; or what is wrong with it, and what to
// do. What a program has changed is never mended, because another tube may be called so.
func boxCode(cell sheet.Cell, known *recordedCodes) (code, wrong string) {
	text := strings.Trim(cell.Text, " \t\r\n")
	switch cell.Kind {
	case sheet.Fault:
		return "", "the cell shows an error instead of a barcode" + typeAgain
	case sheet.Time:
		return "", "a spreadsheet has made a date or time of this barcode" + typeAgain
	case sheet.Bool:
		return "", "a spreadsheet has made TRUE or FALSE of what was typed here" + typeAgain
	case sheet.Number:
		if text, wrong = numberCode(text, cell.Shown, known); wrong != "" {
			return "", wrong
		}
	}
	switch {
	case known.has[text]:
		return text, ""
	case text == "" || saysNothing(text):
		return "", ""
	}
	if wrong := changedCode(text, known); wrong != "" {
		return "", wrong
	}
	return text, ""
}

// numberCode returns the barcode that a cell with a number shows.
func numberCode(text, shown string, known *recordedCodes) (code, wrong string) {
	cut := strings.ContainsAny(shown, "eE") && (len(text) < 12 || manyZeros.MatchString(text))
	switch {
	case madeDecimal.MatchString(text):
		return "", decimalMade
	case !allDigits.MatchString(text) || len(text) > 15 || cut && !known.has[text]:
		return "", cutNumber
	case allDigits.MatchString(shown) && strings.TrimLeft(shown, "0") == strings.TrimLeft(text, "0"):
		return shown, "" // the zeros are in the format, and everybody sees them
	case known.has[text] && len(known.loose[loosened(text)]) > 1:
		return "", "two tubes of the records differ from this number only by zeros in front" + typeAgain
	}
	return text, ""
}

// changedCode says what is wrong with a text that is no recorded barcode, "" for nothing.
func changedCode(text string, known *recordedCodes) string {
	plain := clean(text)
	unseen := plain != text || strings.Trim(plain, `'"`) != plain
	switch {
	case fault.MatchString(text):
		return "the cell shows an error instead of a barcode" + typeAgain
	case cutForm.MatchString(plain):
		return cutNumber
	case madeDecimal.MatchString(plain):
		return decimalMade
	case headsBarcodes(text):
		return "a heading among the barcodes: delete this row, or keep one table in each sheet"
	case strings.Contains(text, "\n"):
		return "more than one line in this cell: write one barcode in each row"
	case unseen || known.has[strings.ReplaceAll(plain, " ", "")]:
		return addedSigns
	case len(text) > longest || strings.ContainsFunc(text, unicode.IsControl):
		return fmt.Sprintf("not one barcode (up to %d printed characters): scan the tube again into this cell",
			longest)
	}
	more := func(b string) bool { return len(b) > len(text) }
	if allDigits.MatchString(text) && slices.ContainsFunc(known.loose[loosened(text)], more) {
		return lostZeros
	}
	return ""
}

// SplitBox parts the name of a file from what follows a "#" in it: 'box.xlsx#Tube no.'. A
// file that exists under the whole name is that file.
func SplitBox(name string, exists func(file string) bool) (file, column string) {
	if exists(name) {
		return name, ""
	}
	for i := len(name) - 1; i > 0; i-- {
		if name[i] == '#' && exists(name[:i]) {
			return name[:i], name[i+1:]
		}
	}
	if i := strings.IndexByte(filepath.Base(name), '#'); i > 0 {
		i += len(name) - len(filepath.Base(name))
		return name[:i], name[i+1:]
	}
	return name, ""
}
