package sheet

// A Book is a workbook to be filled in by a person.
type Book struct {
	Sheets []Sheet
	Pages  []Page // after the sheets
}

// ListsName is the name of a hidden sheet that Write adds where a drop-down list
// is too long to stay in the cells' own check.
const ListsName = "lists"

// A Sheet is a table with headings in row 1, which stays in sight.
type Sheet struct {
	Name    string // at most 31 characters, none of []:*?/\
	Columns []Column

	// Rows are values under the headings, from row 2, mostly none. A Number is
	// written from its Text, a Time as a serial number in an ISO format; a
	// Fault cannot be written.
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
	Comment string  // shown beside the heading, and where a cell is chosen; "" for none
	Width   float64 // in characters; 0 for the heading's own
	Format  Format

	// At most one of Choices and Check.
	Choices []string // a drop-down list; what is not in it can be typed after a warning
	Check   *Check
}

// A Check is what the spreadsheet program says of a value as it is typed. It
// warns and never prevents: whoever reads the log judges it.
type Check struct {
	Min, Max *float64 // of a number, both inclusive, nil for no bound
	MinLen   int      // characters of a text, where Min and Max are nil
	MaxLen   int      // 0 for no bound
	Message  string   // what is expected; 255 characters of it are shown
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
