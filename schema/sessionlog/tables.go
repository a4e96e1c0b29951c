package sessionlog

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"outbreath/schema/sheet"
)

// A source is a table with its headings understood.
type source struct {
	*sheet.Table
	sheet string // that of the log which it holds: SessionsSheet, RosterSheet or a list's
	head  int    // index of the row of headings
	cols  []*column
	rows  []int           // indexes of the rows with values
	alone bool            // the log has no other table of that file
	void  map[[2]int]bool // cells that are read as empty, by row and column
}

// A column of a source that is read.
type column struct {
	meaning
	src     *source
	col     int
	heading string
	how     []string // what was decided, for Understood

	shows []showing // of orders; nil until it is asked for
	left  []string  // orders that all dates of the column fit
	label string    // of a heading that others have as well: with the column, "started at (column L)"
	said  bool      // a person has said what it is
}

// ref names a cell for a person.
func (s *source) ref(row, col int) string {
	at := s.Ref(row, col)
	if s.Text || !s.alone {
		return filepath.Base(s.File) + ", " + at
	}
	return at
}

// name names the table for a person.
func (s *source) name() string {
	if s.Text {
		return filepath.Base(s.File)
	}
	if !s.alone {
		return filepath.Base(s.File) + ", sheet " + s.Name
	}
	return "sheet " + s.Name
}

func (c *column) name() string {
	if c.src.Text {
		return fmt.Sprintf("%s, value %d of each line", c.src.name(), c.col+1)
	}
	return c.src.name() + ", column " + sheet.Letters(c.col)
}

// key identifies a column in the ID of a doubt, in this week's log and the next one's.
func (c *column) key() string { return c.src.sheet + "|" + c.column.Field + "|" + normal(c.heading) }

// cell returns the cell of a row; the zero cell beyond its end, and where there is nothing
// but white space.
func (s *source) cell(row, col int) sheet.Cell {
	if cells := s.Rows[row].Cells; col < len(cells) && !s.void[[2]int{row, col}] {
		if c := cells[col]; c.Kind != sheet.Text || clean(c.Text) != "" {
			return c
		}
	}
	return sheet.Cell{}
}

// heading returns the text of a cell that may be a heading.
func headingText(c sheet.Cell) string {
	if c.Kind != sheet.Text && c.Kind != sheet.Number || len(c.Text) > longestHeading {
		return ""
	}
	return clean(c.Text)
}

// longestHeading is how many bytes a text may have that is taken for one.
const longestHeading = 200

// lastHead is how far down a row of headings is looked for.
const lastHead = 25

// find sets out what a table holds. It is nil, and how says why, if no row of it names
// columns that are known.
func (r *reader) find(t *sheet.Table, alone bool) *source {
	s := &source{Table: t, alone: alone}
	best := 0
	for row := range min(len(t.Rows), lastHead) {
		for _, name := range r.heads.sheets {
			n := r.score(t, row, name)
			if n > best {
				best, s.head, s.sheet = n, row, name
			}
		}
	}
	if best == 0 {
		return nil
	}
	for i := s.head + 1; i < len(t.Rows); i++ {
		s.rows = append(s.rows, i)
	}
	return s
}

// score says how well a row serves as the headings of one of the log's sheets: 0 if it
// does not. A column that only that sheet has counts more than the name of the sheet.
func (r *reader) score(t *sheet.Table, row int, name string) int {
	fields := map[string]bool{}
	entries := 0
	for col, c := range t.Rows[row].Cells {
		heading := headingText(c)
		if heading == "" {
			continue
		}
		if field := r.set.field(name, heading); field != "" {
			fields[field] = field != ignored && r.heads.byField(name, field) != nil
			continue
		}
		for _, m := range r.heads.meanings(name, r.grouped(t, row, col, heading)) {
			if m.column.List != "" && name == SessionsSheet {
				entries++
				break
			}
			fields[m.column.Field] = true
		}
	}
	count := 0
	for _, known := range fields {
		if known {
			count++
		}
	}
	switch {
	case name == RosterSheet && (!fields[rosterPrefix+"family_name"] && !fields[rosterPrefix+"given_name"] ||
		fields[sessionField]):
		return 0
	case name == RosterSheet && !fields[rosterPrefix+"subject_id"] && r.heads.sheetOf(tableName(t)) != name:
		return 0
	case r.heads.lists[name] != "" && (!fields[sessionField] || count < 2):
		return 0
	case count < 2:
		return 0
	}
	score := 4*count + 2*min(entries, 1)
	if r.heads.sheetOf(tableName(t)) == name {
		score += 3
	}
	return score
}

// tableName is what a person called a table.
func tableName(t *sheet.Table) string {
	if !t.Text {
		return t.Name
	}
	base := filepath.Base(strings.ReplaceAll(t.File, `\`, "/"))
	return strings.TrimSuffix(base, filepath.Ext(base))
}

// grouped puts the heading of a group, a merged cell above, before a heading: "Tube A"
// over "barcode" is "Tube A barcode".
func (r *reader) grouped(t *sheet.Table, row, col int, heading string) string {
	if row == 0 || t.Rows[row-1].Number != t.Rows[row].Number-1 {
		return heading
	}
	for _, m := range t.Merged {
		left, top, right, bottom, ok := mergedRange(m)
		if !ok || top != bottom || top != t.Rows[row-1].Number || col < left || col > right || left == right {
			continue
		}
		if cells := t.Rows[row-1].Cells; left < len(cells) {
			if above := headingText(cells[left]); above != "" {
				if len(r.heads.meanings(SessionsSheet, above+" "+heading)) > 0 {
					return above + " " + heading
				}
			}
		}
	}
	return heading
}

// mergedRange reads "B2:D2": columns from 0, rows from 1.
func mergedRange(m string) (left, top, right, bottom int, ok bool) {
	from, to, ok := strings.Cut(m, ":")
	if !ok {
		return
	}
	left, top = cellName(from)
	right, bottom = cellName(to)
	return left, top, right, bottom, top > 0 && bottom > 0
}

func cellName(name string) (col, row int) {
	for _, c := range name {
		switch {
		case 'A' <= c && c <= 'Z':
			col = col*26 + int(c-'A') + 1
		case '0' <= c && c <= '9':
			row = row*10 + int(c-'0')
		}
	}
	return col - 1, row
}

// columns decides for every heading of s which field it names. What names none, or
// two, is a doubt, unless nothing is in the column.
func (r *reader) columns(s *source) {
	cells := s.Rows[s.head].Cells
	var taken []*column
	for col := range width(s) {
		heading := ""
		if col < len(cells) {
			heading = headingText(cells[col])
		}
		if r.void(s, col) {
			continue
		}
		if heading == "" {
			r.problem(s.ref(s.head, col), "", "this column has values and no heading: write one above it, or clear "+
				"it")
			continue
		}
		c := &column{src: s, col: col, heading: heading, label: heading}
		field := r.set.field(s.sheet, heading)
		if r.repeated(s, heading) {
			c.label = fmt.Sprintf("%s (column %s)", heading, sheet.Letters(col))
			if own := r.set.field(s.sheet, c.label); own != "" {
				field = own
			}
		}
		if field != "" {
			if field == ignored {
				c.understood(r, "not read, as was said before")
				continue
			}
			if known := r.known(s.sheet, heading, field); known != nil {
				c.meaning, c.said = *known, true
				taken = append(taken, c)
				continue
			}
		}
		found := r.heads.meanings(s.sheet, r.grouped(s.Table, s.head, col, heading))
		switch {
		case len(found) == 1:
			c.meaning = found[0]
			taken = append(taken, c)
		case s.sheet == RosterSheet && len(found) == 0:
			c.meaning = meaning{column: &Column{Sheet: RosterSheet, Field: rosterPrefix + heading}}
			c.how = []string{"a column of the log's own"}
			taken = append(taken, c)
		default:
			r.unclear(c, found)
		}
	}
	s.cols = r.once(s, taken)
}

// width is the length of the longest row from the headings on.
func width(s *source) int {
	n := 0
	for _, row := range s.Rows[s.head:] {
		n = max(n, len(row.Cells))
	}
	return n
}

// void reports whether a column has no value.
func (r *reader) void(s *source, col int) bool {
	for _, row := range s.rows {
		if s.cell(row, col).Kind != sheet.Empty && !r.skipped[rowOf{s, row}] {
			return false
		}
	}
	return true
}

// known makes the meaning of a heading that a person has explained. A field with an
// entry, "/tubes/*/barcode@a", is that of one entry of a list.
func (r *reader) known(sheetName, heading, field string) *meaning {
	path, entry, _ := strings.Cut(field, "@")
	_, u, _ := splitUnit(heading)
	c := r.heads.byField(sheetName, path)
	for _, name := range r.heads.sheets {
		if c == nil && sheetName == SessionsSheet && r.heads.lists[name] != "" {
			c = r.heads.byField(name, path)
		}
	}
	if c == nil {
		return nil
	}
	if own, ok := unitOf(c.Unit); !ok || own.quantity != u.quantity {
		u = unit{}
	}
	return &meaning{c, entry, u}
}

// repeated reports whether several columns with values have the same heading.
func (r *reader) repeated(s *source, heading string) bool {
	n := 0
	for col, c := range s.Rows[s.head].Cells {
		if normal(headingText(c)) == normal(heading) && !r.void(s, col) {
			n++
		}
	}
	return n > 1
}

// once keeps one column a field, that of which a person has said so before others; a
// second one is a doubt, or a problem where both were said. So is a list's column in the
// sessions' own rows without that which begins the list. "Storage" beside "Tube A" and
// "Tube B" is that of both.
func (r *reader) once(s *source, taken []*column) []*column {
	var kept []*column
	slices.SortStableFunc(taken, func(a, b *column) int {
		switch {
		case a.said == b.said:
			return 0
		case a.said:
			return -1
		}
		return 1
	})
	for _, c := range taken {
		same := slices.IndexFunc(kept, func(o *column) bool {
			return o.column.Field == c.column.Field && o.entry == c.entry
		})
		begins := s.sheet != SessionsSheet || c.column.List == "" || slices.ContainsFunc(taken, func(o *column) bool {
			return o.column.List == c.column.List && (o.entry == c.entry || c.entry == "") &&
				o.column == r.first(c.column.List)
		})
		switch {
		case same >= 0 && c.said:
			r.problem(c.name(), c.column.Field,
				fmt.Sprintf("it was said of this column and of %s that they hold %s: say "+
					"of one of them that it is not read", kept[same].name(),
					c.column.Plain()))
		case same >= 0:
			r.doubt(Doubt{ID: id("column", c.key(), c.label), Where: c.name(), Option: "column", Heading: c.label,
				Sheet: s.sheet,
				Question: fmt.Sprintf("the headings %q and %q both mean %s: what is under %q in this column?",
					kept[same].heading, c.heading, c.column.Plain(), c.heading),
				Choices: r.choices(s.sheet)}, "")
		case !begins && c.said:
			r.problem(c.name(), c.column.Field,
				fmt.Sprintf("it was said of this column that it holds %s, and no column "+
					"of this table holds %s: say first which does", c.column.Plain(),
					r.first(c.column.List).Plain()))
		case !begins:
			r.unclear(c, nil)
		default:
			kept = append(kept, c)
		}
	}
	slices.SortStableFunc(kept, func(a, b *column) int { return a.col - b.col })
	return kept
}

// first returns the column that begins a list: its first one that every entry has.
func (r *reader) first(list string) *Column {
	for i := range r.heads.columns {
		if c := &r.heads.columns[i]; c.List == list && c.Required {
			return c
		}
	}
	for i := range r.heads.columns {
		if c := &r.heads.columns[i]; c.List == list {
			return c
		}
	}
	return nil
}

// unclear asks what a column is.
func (r *reader) unclear(c *column, found []meaning) {
	question := fmt.Sprintf("no field is known by the heading %q: what is under it?", c.heading)
	choices := r.choices(c.src.sheet)
	if len(found) > 1 {
		question = fmt.Sprintf("the heading %q can mean several fields: which of them is under it?", c.heading)
		choices = nil
		for _, m := range found {
			value := m.column.Field
			if m.entry != "" {
				value += "@" + m.entry
			}
			choices = append(choices, Choice{value, m.column.Plain()})
		}
		choices = append(choices, Choice{ignored, "none of them: do not read this column"})
	}
	r.doubt(Doubt{ID: id("column", c.src.sheet, normal(c.label)), Where: c.name(), Option: "column",
		Heading: c.label, Sheet: c.src.sheet, Question: question, Choices: choices}, "")
}

// choices are the fields that a column of a sheet can hold.
func (r *reader) choices(sheetName string) []Choice {
	choices := []Choice{{ignored, "none: the column is not read"}}
	for i := range r.heads.columns {
		c := &r.heads.columns[i]
		if c.Sheet == sheetName || sheetName == SessionsSheet && c.List != "" && c.Field != sessionField {
			choices = append(choices, Choice{c.Field, c.Plain()})
		}
	}
	return choices
}

// Plain names the column's field for a person: by its heading in the log that we write.
func (c *Column) Plain() string {
	if c.Heading == "" {
		return c.Field
	}
	if c.List != "" {
		return c.Sheet + ": " + c.Heading
	}
	return c.Heading
}

// looksLikeHeadings reports whether a row may be one of headings that nobody knows: at
// least three texts, and no digit, as rows of values have.
func looksLikeHeadings(row sheet.Row) bool {
	n := 0
	for _, c := range row.Cells {
		switch {
		case c.Kind == sheet.Empty:
			continue
		case c.Kind != sheet.Text || strings.ContainsFunc(c.Text, unicode.IsDigit) || len(c.Text) > 60:
			return false
		}
		n++
	}
	return n >= 3
}
