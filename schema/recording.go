package schema

// A Column is one declared column of a CSV recording: its name and the range
// that its numbers must keep, in the unit that the name ends with.
type Column struct {
	Name     string
	Min, Max float64
	Rising   bool // strictly increasing from row to row (a time column)
}

// DefaultColumns are those of the contract: t_s, co2_kpa, pressure_pa.
func DefaultColumns() []Column { panic("todo") }

// A CSVCheck proves that a byte stream is a numeric recording and nothing else:
// a header row of exactly the declared columns, then rows of decimal numbers
// within range, comma between, LF or CRLF after each. It is an io.Writer; no
// byte is kept and nothing is allocated a row, so that what it has passed can
// hold no text. Not safe for concurrent use.
type CSVCheck struct{ csvState }

type csvState struct{}

// NewCSVCheck checks a recording called file against columns. Problems beyond
// max are counted but not kept.
func NewCSVCheck(file string, columns []Column, max int) *CSVCheck { panic("todo") }

// Write takes the next bytes. It never returns an error: ask Problems.
func (c *CSVCheck) Write(p []byte) (int, error) { panic("todo") }

// Close ends the recording; a file without a row of numbers is a problem.
func (c *CSVCheck) Close() { panic("todo") }

// Problems returns what has been found so far, with line and column.
func (c *CSVCheck) Problems() []Problem { panic("todo") }

// Rows returns the number of complete rows of numbers so far.
func (c *CSVCheck) Rows() int { panic("todo") }
