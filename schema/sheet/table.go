package sheet

import "fmt"

// A Kind says what a cell holds.
type Kind uint8

const (
	Empty  Kind = iota // nothing, not even white space
	Text               // text, also a number or date that was typed or formatted as text
	Number             // a number; in text tables numbers are Text
	Time               // a serial number shown as a date, a time of day, or both
	Bool               // Text is "TRUE" or "FALSE"
	Fault              // #N/A, #REF! and the like; also a formula whose value is not stored
)

// A Cell is one value of a table. The zero Cell is empty.
type Cell struct {
	Kind Kind

	// Text is the value as stored. For Number, the decimal digits exactly as the
	// file has them ("47400000000", "4.74E+10", "0.1"). For Time, one of the
	// forms 2006-01-02T15:04:05, 2006-01-02 and 15:04:05, to the nearest second,
	// without a zone: serial numbers have none. Text holds no control character
	// but tab and line feed, and is valid UTF-8.
	Text string

	// Shown is the value as the program shows it ("0007" for 7 in the format
	// 0000, "14.03.2026"); "" where that is not known or the same as Text.
	Shown string

	Formula bool // the value was computed when the file was last saved
	Struck  bool // it, or a part of it, is crossed out
}

// Struck reports whether everything in a row is crossed out.
func (r *Row) Struck() bool {
	struck := false
	for _, c := range r.Cells {
		if c.Kind != Empty && !c.Struck {
			return false
		}
		struck = struck || c.Struck
	}
	return struck
}

// A Row is one line of a table.
type Row struct {
	// Number counts from 1: as the spreadsheet program counts its rows, or, in a
	// text table, as an editor counts lines (the first of them, where a quoted
	// value has line breaks).
	Number int
	Hidden bool   // also by a filter
	Cells  []Cell // Cells[0] is of column A; rows may be of different length
}

// A Table is one sheet of a workbook, or a text table.
type Table struct {
	File string // as given to Read
	Name string // of the sheet; "" for a text table
	Text bool   // a text table

	Hidden        bool  // the sheet is not shown
	HiddenColumns []int // indexes into Cells, ascending

	// Rows holds the rows with anything in them, ascending by Number.
	Rows []Row

	// Notes says how the file was read: "Windows-1252", "semicolons",
	// "dates count from 1904". None repeats a value.
	Notes []string

	// Merged lists merged ranges ("B2:B5"). Only the first cell of each has a
	// value.
	Merged []string
}

// Ref names a cell for a person: "sheet sessions, cell D14", or in a text table
// "line 14, value 4". row and col are indexes into Rows and into its Cells; col
// may be beyond them.
func (t *Table) Ref(row, col int) string {
	n := t.Rows[row].Number
	if t.Text {
		return fmt.Sprintf("line %d, value %d", n, col+1)
	}
	return fmt.Sprintf("sheet %s, cell %s%d", t.Name, Letters(col), n)
}

// Letters returns the letters of the column with index col: 0 is "A", 26 "AA".
func Letters(col int) string {
	if col < 26 {
		return string(rune('A' + col))
	}
	return Letters(col/26-1) + string(rune('A'+col%26))
}

// A Refusal says why Read did not read a file, and what to do. It holds no value
// from the file.
type Refusal struct {
	File    string // as given to Read
	Where   string // "line 14", "sheet sessions, cell D14"; "" where the whole file is meant
	Message string
}

func (r *Refusal) Error() string {
	if r.Where == "" {
		return fmt.Sprintf("%s: %s", r.File, r.Message)
	}
	return fmt.Sprintf("%s: %s: %s", r.File, r.Where, r.Message)
}
