package sheet

import (
	"encoding/xml"
	"fmt"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

const (
	lastRow    = 1_048_576 // of a sheet in any program
	lastColumn = 16_384    // XFD
	maxMerged  = 5_000
	maxTexts   = 64 << 20 // bytes of all cells' texts, shared ones counted for each cell
)

// A sheetReader reads a worksheet part into a table.
type sheetReader struct {
	*part
	book      *workbook
	table     *Table
	rowHidden bool // rows that do not say otherwise are hidden
	number    int  // of the last row
	hidden    []columnRange
	merged    []cellRange
}

type columnRange struct{ first, last int } // indexes

// readSheet reads a worksheet.
func (w *workbook) readSheet(s sheetEntry) (*Table, *Refusal) {
	p, r := w.archive.open(s.part)
	if r != nil {
		return nil, r
	}
	defer p.close()
	sr := &sheetReader{part: p, book: w, table: &Table{Name: s.name, Hidden: s.hidden}}
	r = p.root(func(e xml.StartElement) *Refusal {
		switch e.Name.Local {
		case "sheetFormatPr":
			sr.rowHidden = isTrue(attr(e, "zeroHeight"))
		case "cols":
			return p.children(sr.column)
		case "sheetData":
			return p.children(sr.row)
		case "mergeCells":
			return p.children(sr.merge)
		}
		return nil
	})
	if r != nil {
		return nil, r
	}
	if r := sr.clearMerged(); r != nil {
		return nil, r
	}
	sr.table.Rows = slices.DeleteFunc(sr.table.Rows, func(r Row) bool { return len(r.Cells) == 0 })
	sr.hideColumns()
	return sr.table, nil
}

func (s *sheetReader) column(e xml.StartElement) *Refusal {
	first, err1 := strconv.Atoi(attr(e, "min"))
	last, err2 := strconv.Atoi(attr(e, "max"))
	if err1 != nil || err2 != nil || first < 1 || last < first {
		return refuse(damaged)
	}
	if isTrue(attr(e, "hidden")) || attr(e, "width") == "0" {
		s.hidden = append(s.hidden, columnRange{first - 1, min(last, MaxColumns) - 1})
	}
	if len(s.hidden) > lastColumn {
		return refuse(damaged)
	}
	return nil
}

// hideColumns lists the hidden columns that the table reaches to.
func (s *sheetReader) hideColumns() {
	width := 0
	for _, r := range s.table.Rows {
		width = max(width, len(r.Cells))
	}
	hidden := make([]bool, width)
	for _, h := range s.hidden {
		for c := h.first; c <= min(h.last, width-1); c++ {
			hidden[c] = true
		}
	}
	for c, h := range hidden {
		if h {
			s.table.HiddenColumns = append(s.table.HiddenColumns, c)
		}
	}
}

func (s *sheetReader) row(e xml.StartElement) *Refusal {
	if e.Name.Local != "row" {
		return nil
	}
	s.number++
	if n := attr(e, "r"); n != "" {
		v, err := strconv.Atoi(n)
		if err != nil || v < s.number || v > lastRow { // ascending, each once
			return refuse(damaged)
		}
		s.number = v
	}
	row := Row{Number: s.number, Hidden: s.rowHidden || attr(e, "ht") == "0"}
	if h := attr(e, "hidden"); h != "" {
		row.Hidden = isTrue(h)
	}
	col := -1
	r := s.children(func(e xml.StartElement) *Refusal {
		if e.Name.Local != "c" {
			return nil
		}
		c, r := s.position(attr(e, "r"), col+1)
		if r != nil {
			return r
		}
		if c <= col {
			return refuse(damaged) // not ascending, or the same cell twice
		}
		col = c
		return s.cell(e, &row, col)
	})
	if r != nil || len(row.Cells) == 0 {
		return r
	}
	if s.table.Rows = append(s.table.Rows, row); len(s.table.Rows) > MaxRows {
		return refuse(tooMany)
	}
	return nil
}

// position returns the column of a cell whose reference is ref, next if it has
// none. The row in it must be the current one.
func (s *sheetReader) position(ref string, next int) (int, *Refusal) {
	if ref == "" {
		return next, nil
	}
	col, row, ok := parseRef(ref)
	if !ok || row != s.number {
		return 0, refuse(damaged)
	}
	return col, nil
}

// parseRef reads a reference such as "D14": the column's index and the row's
// number.
func parseRef(ref string) (col, row int, ok bool) {
	i := 0
	for ; i < len(ref) && i < 4 && ref[i] >= 'A' && ref[i] <= 'Z'; i++ {
		col = col*26 + int(ref[i]-'A') + 1
	}
	row, err := strconv.Atoi(ref[i:])
	if i == 0 || err != nil || row < 1 || row > lastRow || col > lastColumn || ref[i] == '+' {
		return 0, 0, false
	}
	return col - 1, row, true
}

// cell reads a cell and appends it to row if it holds anything.
func (s *sheetReader) cell(e xml.StartElement, row *Row, col int) *Refusal {
	if s.book.cells++; s.book.cells > MaxCells {
		return refuse(tooMany)
	}
	var raw rawCell
	raw.kind = attr(e, "t")
	raw.style, _ = strconv.Atoi(attr(e, "s"))
	r := s.children(func(e xml.StartElement) (r *Refusal) {
		switch e.Name.Local {
		case "v":
			raw.value, r = s.text()
			raw.stored = true
		case "f":
			raw.formula = true
		case "is":
			raw.inline, raw.struck, r = s.richText()
			raw.stored = true
		}
		return r
	})
	var c Cell
	if r == nil {
		c, r = s.book.read(&raw)
	}
	if r == nil && c != (Cell{}) && col >= MaxColumns {
		r = refuse("is beyond the 500 columns that are read: " +
			"check that this is the log, and clear what is no part of it")
	}
	if r != nil {
		r.Where = fmt.Sprintf("sheet %s, cell %s%d", s.table.Name, Letters(col), s.number)
		return r
	}
	if c.Kind == Empty && !c.Formula {
		return nil
	}
	c.Struck = c.Kind != Empty && (raw.struck || s.book.formats.struck[raw.style])
	row.Cells = append(row.Cells, make([]Cell, col-len(row.Cells)+1)...)
	row.Cells[col] = c
	return nil
}

// A rawCell is a cell as the part has it (ECMA-376 Part 1, 18.3.1.4).
type rawCell struct {
	kind    string
	style   int
	value   string // of v
	inline  string // of is
	stored  bool   // there is one of both
	formula bool
	struck  bool // a run of its own text is
}

// digits is the form of a number; strconv takes more.
var digits = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$`)

// read says what a cell holds.
func (w *workbook) read(raw *rawCell) (Cell, *Refusal) {
	c := Cell{Formula: raw.formula}
	value := strings.TrimSpace(raw.value)
	switch raw.kind {
	case "s":
		if !raw.stored {
			break
		}
		i, err := strconv.Atoi(value)
		if err != nil || i < 0 || i >= len(w.strings) {
			return c, refuse(damaged)
		}
		raw.struck = w.struck[i]
		return w.readText(c, w.strings[i])
	case "str":
		if raw.stored || !raw.formula {
			return w.readText(c, unescape(raw.value))
		}
	case "inlineStr":
		if raw.value != "" { // some writers put a text there
			raw.inline = unescape(raw.value)
		}
		return w.readText(c, raw.inline)
	case "b":
		if raw.stored {
			c.Kind, c.Text = Bool, "FALSE"
			if isTrue(value) {
				c.Text = "TRUE"
			}
			return c, nil
		}
	case "e":
		c.Kind = Fault
		if c.Text = value; len(c.Text) > 20 || hasControl(c.Text) || !strings.HasPrefix(c.Text, "#") {
			return c, refuse(damaged)
		}
		return c, nil
	case "d":
		return w.readISO(c, value)
	case "", "n":
		if value != "" {
			return w.readNumber(c, value, raw.style)
		}
	default:
		return c, refuse(damaged)
	}
	if raw.formula {
		c.Kind = Fault
	}
	return c, nil
}

func (w *workbook) readText(c Cell, text string) (Cell, *Refusal) {
	switch {
	case len(text) > MaxCell && utf16Length(text) > MaxCell:
		return c, refuse("holds more than 32,767 characters: check that this is the log")
	case hasControl(text):
		return c, refuse("holds a control character, which cannot be seen: retype this cell")
	case strings.ContainsRune(text, utf8.RuneError):
		return c, refuse("holds " + lostLetter + "retype this cell")
	case twiceEncoded(text):
		return c, refuse("holds " + foreignLetters + "retype this cell")
	}
	if w.length += len(text); w.length > maxTexts {
		return c, refuse(tooMany)
	}
	if text != "" {
		c.Kind, c.Text = Text, text
	}
	return c, nil
}

func (w *workbook) readNumber(c Cell, value string, style int) (Cell, *Refusal) {
	if !digits.MatchString(value) || len(value) > 400 {
		return c, refuse(damaged)
	}
	c.Kind, c.Text = Number, value
	as := w.formats.of(style)
	if as.date || as.clock {
		if text, ok := w.formats.serial(value, as); ok {
			c.Kind, c.Text = Time, text
		}
	}
	c.Shown = w.formats.show.number(value, as, w.formats.from1904)
	if c.Shown == c.Text {
		c.Shown = ""
	}
	return c, nil
}

// readISO reads a date that is stored as one. What has a zone, or a fraction of
// a second, is a text: it says more than Time can.
func (w *workbook) readISO(c Cell, value string) (Cell, *Refusal) {
	plain := strings.TrimSuffix(strings.TrimPrefix(value, "T"), ".000")
	for _, form := range []string{"2006-01-02T15:04:05", "2006-01-02", "15:04:05"} {
		if t, err := time.Parse(form, plain); err == nil && t.Format(form) == plain {
			c.Kind, c.Text = Time, plain
			return c, nil
		}
	}
	return w.readText(c, value)
}

// A cellRange is a range of cells: indexes of columns, numbers of rows, all
// inclusive.
type cellRange struct{ col1, row1, col2, row2 int }

func (s *sheetReader) merge(e xml.StartElement) *Refusal {
	ref := attr(e, "ref")
	first, last, ok := strings.Cut(ref, ":")
	if !ok {
		last = first
	}
	var m cellRange
	var ok1, ok2 bool
	m.col1, m.row1, ok1 = parseRef(first)
	m.col2, m.row2, ok2 = parseRef(last)
	if !ok1 || !ok2 || m.col2 < m.col1 || m.row2 < m.row1 || len(s.merged) >= maxMerged {
		return refuse(damaged)
	}
	s.merged = append(s.merged, m)
	s.table.Merged = append(s.table.Merged, ref)
	return nil
}

// clearMerged empties the cells that a merged range covers. Programs keep what
// others left there, and show it to nobody.
func (s *sheetReader) clearMerged() *Refusal {
	rows, work := s.table.Rows, 0
	for _, m := range s.merged {
		i := sort.Search(len(rows), func(i int) bool { return rows[i].Number >= m.row1 })
		for ; i < len(rows) && rows[i].Number <= m.row2; i++ {
			cells := rows[i].Cells
			for c := m.col1; c <= min(m.col2, len(cells)-1); c++ {
				if rows[i].Number != m.row1 || c != m.col1 {
					cells[c] = Cell{}
				}
				if work++; work > 4*MaxCells {
					return refuse(damaged) // ranges over each other, again and again
				}
			}
		}
	}
	for i, r := range rows {
		n := len(r.Cells)
		for n > 0 && r.Cells[n-1] == (Cell{}) {
			n--
		}
		rows[i].Cells = r.Cells[:n]
	}
	return nil
}
