package schema

import (
	"bytes"
	"math"
	"slices"
	"strings"
)

// maxHeaderLine bounds a header row, in bytes: a schema declares at most 64 columns with names
// of at most 64 bytes.
const maxHeaderLine = 64 * 65

// A CSVArrival checks a CSV recording at the laboratory as a [CSVCheck] does at the site. In a
// shipment the schema that declares the columns comes after the recordings, so any well-formed
// header is accepted first and compared with the schema in [CSVArrival.Fault]. It does not
// check how many digits the numbers of a study's own columns have. It is an io.Writer; Close
// ends the recording. No row is kept in memory.
type CSVArrival struct {
	head   []byte    // an incomplete header row
	check  *CSVCheck // nil until the header is complete
	fault  *ArrivalFault
	seen   []seenColumn // nil if the columns are [DefaultColumns], whose ranges check compares
	begun  bool         // a row came before
	closed bool
}

// A seenColumn summarises the numbers of a column. Without a number, low is +Inf and high -Inf.
type seenColumn struct {
	name      string
	low, high float64
	last      float64
	rising    bool // strictly, without a dropped sample
}

// An ArrivalFault is the first fault of a recording that arrived.
type ArrivalFault struct {
	Line int    // from 1; 0: unknown
	Rule string // as in [Problem]
}

// Write takes the next bytes. It never returns an error.
func (a *CSVArrival) Write(p []byte) (int, error) {
	n := len(p)
	if a.check == nil && a.fault == nil {
		p = a.header(p)
	}
	if a.check != nil {
		a.check.Write(p)
	}
	return n, nil
}

// header consumes bytes until the header row is complete, and returns those after it.
func (a *CSVArrival) header(p []byte) []byte {
	end := bytes.IndexByte(p, '\n') + 1
	whole := end > 0
	if !whole {
		end = len(p)
	}
	if len(a.head)+end > maxHeaderLine {
		a.fault, a.head = &ArrivalFault{1, "recording.csv.header"}, nil
		return nil
	}
	a.head = append(a.head, p[:end]...)
	if !whole {
		return nil
	}
	names := strings.Split(strings.TrimSuffix(strings.TrimSuffix(string(a.head), "\n"), "\r"), ",")
	if len(names) > 64 || slices.ContainsFunc(names, func(s string) bool { return !columnName.MatchString(s) }) {
		a.fault, a.head = &ArrivalFault{1, "recording.csv.header"}, nil
		return nil
	}
	columns := DefaultColumns()
	if !slices.EqualFunc(columns, names, func(c Column, name string) bool { return c.Name == name }) {
		columns = columns[:0]
		for _, name := range names {
			columns = append(columns, Column{Name: name, Min: math.Inf(-1), Max: math.Inf(1), Digits: maxCell})
			a.seen = append(a.seen, seenColumn{name: name, low: math.Inf(1), high: math.Inf(-1), rising: true})
		}
	}
	a.check = NewCSVCheck("", columns, 1)
	if a.seen != nil {
		a.check.Each = a.row
	}
	a.check.Write(a.head)
	a.head = nil
	return p[end:]
}

// row updates the summaries with a row, for columns of a study's own.
func (a *CSVArrival) row(values []float64) {
	for i, v := range values {
		s := &a.seen[i]
		if !math.IsNaN(v) {
			s.low, s.high = min(s.low, v), max(s.high, v)
		}
		s.rising = s.rising && !math.IsNaN(v) && (!a.begun || v > s.last)
		s.last = v
	}
	a.begun = true
}

// Close ends the recording.
func (a *CSVArrival) Close() error {
	if a.closed {
		return nil
	}
	a.closed = true
	if a.check == nil {
		if a.fault == nil {
			a.fault = &ArrivalFault{1, "recording.csv.header"}
		}
		return nil
	}
	a.check.Close()
	if problems := a.check.Problems(); len(problems) > 0 {
		a.fault = &ArrivalFault{problems[0].Line, problems[0].Rule}
	}
	a.check = nil
	return nil
}

// Fault returns the first fault of the recording, given the columns that the schema declares,
// or nil. Call it after Close.
func (a *CSVArrival) Fault(columns []Column) *ArrivalFault {
	if a.fault != nil {
		return a.fault
	}
	if a.seen == nil {
		if !slices.Equal(columns, DefaultColumns()) {
			return &ArrivalFault{1, "recording.csv.header"}
		}
		return nil
	}
	if len(columns) != len(a.seen) {
		return &ArrivalFault{1, "recording.csv.header"}
	}
	for i, c := range columns {
		switch s := &a.seen[i]; {
		case c.Name != s.name:
			return &ArrivalFault{1, "recording.csv.header"}
		case s.low < c.Min || s.high > c.Max:
			return &ArrivalFault{0, "recording.csv.range"}
		case c.Rising && !s.rising:
			return &ArrivalFault{0, "recording.csv.rising"}
		}
	}
	return nil
}
