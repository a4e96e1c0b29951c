package sheet

// A Book is a workbook to be filled in by a person.
type Book struct {
	Sheets []Sheet
	Pages  []Page // after the sheets
}

// A Sheet is a table with headings in row 1, which stays in sight.
type Sheet struct {
	Name    string // at most 31 characters, none of []:*?/\
	Columns []Column

	// Rows are values under the headings, from row 2, mostly none. A Number is
	// written from its Text, a Time as a serial number in an ISO format.
	Rows [][]Cell
}

// A Format says how a column's cells are kept.
type Format uint8

const (
	AsText   Format = iota // as typed: no leading zero is lost, no date is made
	AsNumber               // as the program takes it
)

// A Column is one column of a sheet.
type Column struct {
	Heading string
	Comment string  // shown beside the heading; "" for none
	Width   float64 // in characters; 0 for the heading's own
	Format  Format

	// At most one of Choices and Check.
	Choices []string // a drop-down list; what is not in it can be typed after a warning
	Check   *Check
}

// A Check is what the spreadsheet program says of a value as it is typed. It
// warns and never prevents: Read and whoever judges the values come later.
type Check struct {
	Min, Max *float64 // of a number, both inclusive; nil for no bound
	MinLen   int      // characters of a text
	MaxLen   int      // 0 for no bound
	Message  string   // what is expected, at most 255 characters are shown
}

// A Page is a sheet of explanations, read and not filled in.
type Page struct {
	Name   string
	Widths []float64 // of its columns, in characters
	Lines  []Line
}

// A Line is a row of a page, its texts side by side.
type Line struct {
	Heading bool
	Texts   []string
}
