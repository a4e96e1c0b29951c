package schema

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// A Column is one declared column of a CSV recording: its name, and the range of its numbers in
// the unit that the name ends with. Both limits are within the range, and mean the shortest
// decimal number that gives that float64. An infinity means no limit.
type Column struct {
	Name     string
	Min, Max float64
	Rising   bool // strictly increasing from row to row (a time column), never empty
	Digits   int  // of a number, at most; 0: [CellDigits]
}

// DefaultColumns returns the columns of a plan that declares none: t_s, seconds from the start,
// up to a day; co2_kpa, airway CO2; pressure_pa, airway pressure relative to ambient. The
// ranges are our own and deliberately wide: they detect a wrong unit or column, and say nothing
// about a person.
func DefaultColumns() []Column {
	return []Column{
		{Name: "t_s", Min: 0, Max: 86_400, Rising: true},
		{Name: "co2_kpa", Min: -1, Max: 15},
		{Name: "pressure_pa", Min: -50_000, Max: 50_000},
	}
}

// maxCell is the longest number that is accepted, in bytes.
const maxCell = 32

// A CSVCheck proves that a byte stream is a numeric recording and nothing else:
// a header row of exactly the declared columns, then rows of decimal numbers
// within range, separated by commas and ended by LF or CRLF. An empty cell or NaN is a dropped
// sample. So a stream without problems holds no text. It is an io.Writer; it keeps no bytes and
// allocates nothing per row. It is not safe for concurrent use.
type CSVCheck struct {
	// Each, if set, is called for every row without a problem, with its numbers, as
	// strconv.ParseFloat gives them, in the order of the columns; NaN is a dropped sample. The
	// slice is reused for the next row. Rows of a file that is refused in the end are passed too.
	Each func(row []float64)

	// Of, if set, says which columns Each needs; the numbers of the others are 0.
	Of []bool

	// Listed, if set, reports whether the digits of a cell are somebody's number. It is called
	// for cells of eight digits or more: n holds up to 18 of them, from the first that is not
	// zero; whole means that none is after a decimal point.
	Listed func(n uint64, whole bool) bool

	csvState
}

type csvState struct {
	file     string
	header   string
	columns  []csvColumn
	masks    []cellMask // of the latest cells, by column
	max      int
	problems []Problem
	count    int
	reported [faultKinds]bool
	rows     int
	row      []float64 // for Each

	state   csvPlace
	line    int // from 1
	lineAt  int // index of the line's first byte, counted from the next byte to be written
	col     int // index of the cell in its row, or of the byte in the header
	cellAt  int // column of the cell's first byte, from 1
	num     decimal
	exp     int
	expNeg  bool
	expLong int  // digits of the exponent
	headed  bool // the header has been read
	guessed bool // in surplus cells: all of them fit numbers with a decimal comma
	closed  bool
}

// A csvPlace is a state of the grammar: where the next byte is.
type csvPlace uint8

const (
	atFile     csvPlace = iota // at the first byte
	atMark                     // in a byte order mark
	inHeader                   // col bytes of the header have been seen
	atHeaderCR                 // after CR in the header
	atCell                     // before the first byte of a cell
	atSign                     // after the sign of a number
	inWhole                    // after a digit before the point
	atPoint                    // after the point
	inPlaces                   // after a digit that follows the point
	atExp                      // after e
	atExpSign                  // after the sign of the exponent
	inExp                      // after a digit of the exponent
	atN                        // after N
	atNa                       // after Na
	atNaN                      // after NaN
	atCR                       // after CR in a row
	inSurplus                  // after the last cell of a row, counting more cells
	inBad                      // in a line whose fault has been reported
	inDead                     // in a file that cannot be read further
)

// NewCSVCheck returns a check of a recording called file against columns, of which there must be
// at least one. Problems beyond max are counted but not kept.
func NewCSVCheck(file string, columns []Column, max int) *CSVCheck {
	if len(columns) == 0 {
		panic("schema: NewCSVCheck needs a column")
	}
	c := &CSVCheck{csvState: csvState{file: file, max: max, line: 1, row: make([]float64, len(columns)),
		masks: make([]cellMask, len(columns))}}
	names := make([]string, len(columns))
	for i, col := range columns {
		names[i] = col.Name
	}
	if slices.Equal(columns, DefaultColumns()) {
		c.columns = slices.Clone(readyDefault())
	} else {
		c.columns = readyAll(columns)
	}
	c.header = strings.Join(names, ",")
	return c
}

// readyDefault returns the prepared [DefaultColumns]. It prepares them once, because a shipment
// may hold thousands of recordings.
var readyDefault = sync.OnceValue(func() []csvColumn { return readyAll(DefaultColumns()) })

func readyAll(columns []Column) (out []csvColumn) {
	for _, col := range columns {
		out = append(out, ready(col))
	}
	return out
}

// Write takes the next bytes. It never returns an error: ask Problems.
func (c *CSVCheck) Write(p []byte) (int, error) {
	for i := 0; i < len(p); i++ {
		if c.state == atCell {
			if i = c.plain(p, i); i == len(p) {
				break
			}
		}
		if c.state == inBad || c.state == inDead {
			n := bytes.IndexByte(p[i:], '\n')
			if n < 0 || c.state == inDead {
				break
			}
			i += n
		}
		c.next(p[i], i)
	}
	c.lineAt -= len(p)
	return len(p), nil
}

// Close ends the recording. A file without a row of numbers is a problem.
func (c *CSVCheck) Close() {
	if c.closed {
		return
	}
	c.closed = true
	switch {
	case c.state == atCR || c.state == atHeaderCR:
		c.report(faultLineEnd, 0)
	case c.state != atFile && (c.state != atCell || c.col > 0):
		c.next('\n', 0) // the last line may end without its mark
	}
	if c.rows == 0 && c.count == 0 {
		c.cellAt = 1
		c.report(faultNoRows, 0)
	}
}

// Problems returns what has been found so far, with line and column.
func (c *CSVCheck) Problems() []Problem { return c.problems }

// Count returns how many problems have been found so far, those not kept included.
func (c *CSVCheck) Count() int { return c.count }

// Rows returns the number of complete rows of numbers so far.
func (c *CSVCheck) Rows() int { return c.rows }

// plain is the fast path for the form that nearly all cells have: an optional minus, digits,
// optionally a point and digits. It consumes such cells from p[i] on, and returns the beginning
// of the first cell that next must handle because it is faulty, unusual or incomplete in p.
func (c *CSVCheck) plain(p []byte, i int) int {
	for {
		if c.col == 0 {
			i = c.alike(p, i)
		}
		j, neg := i, false
		if j < len(p) && p[j] == '-' {
			j, neg = j+1, true
		}
		var m uint64 // overflows only beyond plainDigits, which is checked below
		first := j
		for ; j < len(p) && p[j]-'0' <= 9; j++ {
			m = m*10 + uint64(p[j]-'0')
		}
		digits, places := j-first, 0
		if j < len(p) && p[j] == '.' {
			first = j + 1
			for j = first; j < len(p) && p[j]-'0' <= 9; j++ {
				m = m*10 + uint64(p[j]-'0')
			}
			places = j - first
			if places == 0 {
				return i
			}
		}
		if j == len(p) || digits == 0 || digits+places > plainDigits {
			return i
		}
		col := &c.columns[c.col]
		if !col.spans(m, neg, places) || c.listed(m, places == 0) {
			return i
		}
		if col.Rising && !col.rises(&decimal{neg: neg, hi: m, scale: -places}) {
			return i
		}
		if c.wants(c.col) {
			c.row[c.col] = plainFloat(m, neg, places)
		}
		k, end := c.col, ","
		if last := k == len(c.columns)-1; p[j] == ',' && !last {
			c.col++
		} else if end = lineMark(p[j:]); end != "" && last {
			c.endRow(j + len(end) - 1)
		} else {
			return i
		}
		if col.Rising {
			col.last, col.begun = decimal{neg: neg, hi: m, scale: -places}, true
		}
		c.masks[k].set(j-i, places, neg, end, col)
		c.masks[k].needed = c.wants(k)
		j += len(end) - 1
		i = j + 1
	}
}

// wants reports whether Each needs the values of column k.
func (c *CSVCheck) wants(k int) bool { return c.Each != nil && (c.Of == nil || c.Of[k]) }

// listed reports whether the digits of a cell are somebody's number.
func (c *CSVCheck) listed(m uint64, whole bool) bool {
	return m >= listedFrom && c.Listed != nil && c.Listed(m, whole)
}

// spans reports whether a number is allowed in the column: its digits are m, places of them
// after the point.
func (col *csvColumn) spans(m uint64, neg bool, places int) bool {
	v := int64(m)
	if neg {
		v = -v
	}
	return v >= col.lo[places] && v <= col.hi[places] && (m <= col.most || col.short(m, places))
}

// plainFloat returns the same float64 as [decimal.float].
func plainFloat(m uint64, neg bool, places int) float64 {
	if m > 1<<53 {
		d := decimal{neg: neg, hi: m, scale: -places}
		return d.float()
	}
	f := float64(m) / exact10[places]
	if neg {
		f = -f
	}
	return f
}

// lineMark returns the line end with which p begins, or "".
func lineMark(p []byte) string {
	switch {
	case p[0] == '\n':
		return "\n"
	case p[0] == '\r' && len(p) > 1 && p[1] == '\n':
		return "\r\n"
	}
	return ""
}

// next consumes one byte, which is at index i.
func (c *CSVCheck) next(b byte, i int) {
	digit := b-'0' <= 9
	switch c.state {
	case atFile, atMark, inHeader, atHeaderCR:
		c.nextOfHeader(b, i)
	case atCell:
		c.beginCell(b, i)
	case atSign, inWhole:
		switch {
		case digit:
			c.num.add(b, 0)
			c.state = inWhole
		case b == '.':
			c.state = atPoint
		case c.state == inWhole:
			c.afterDigits(b, i)
		default:
			c.stray(b, i)
		}
	case atPoint, inPlaces:
		switch {
		case digit:
			c.num.add(b, -1)
			c.state = inPlaces
		case c.state == inPlaces:
			c.afterDigits(b, i)
		default:
			c.stray(b, i)
		}
	case atExp, atExpSign, inExp:
		c.nextOfExponent(b, i)
	case atN, atNa, atNaN:
		c.nextOfNaN(b, i)
	case atCR:
		if b == '\n' {
			c.endRow(i)
		} else {
			c.fail(faultLineEnd, b, i)
		}
	case inSurplus:
		c.nextOfSurplus(b, i)
	case inBad:
		if b == '\n' {
			c.newLine(i)
		}
	}
}

// beginCell takes the first byte of a cell.
func (c *CSVCheck) beginCell(b byte, i int) {
	c.num, c.exp, c.expNeg, c.expLong = decimal{}, 0, false, 0
	c.cellAt = i - c.lineAt + 1
	switch {
	case b-'0' <= 9:
		c.num.add(b, 0)
		c.state = inWhole
	case b == '-' || b == '+':
		c.num.neg = b == '-'
		c.state = atSign
	case b == '.':
		c.state = atPoint
	case b == 'N':
		c.state = atN
	case c.col == 0 && (b == '\n' || b == '\r'):
		c.fail(faultBlank, b, i)
	case c.col == 0 && comments(b):
		c.fail(faultComment, b, i)
	case endsCell(b):
		c.endCell(b, i, true)
	default:
		c.stray(b, i)
	}
}

func endsCell(b byte) bool { return b == ',' || b == '\n' || b == '\r' }

// nextOfExponent takes a byte after an E.
func (c *CSVCheck) nextOfExponent(b byte, i int) {
	switch {
	case b-'0' <= 9:
		c.exp = min(c.exp*10+int(b-'0'), 1<<20) // far beyond every float64
		c.expLong++
		c.state = inExp
	case c.state == atExp && (b == '-' || b == '+'):
		c.expNeg = b == '-'
		c.state = atExpSign
	case c.state == inExp && endsCell(b):
		c.endCell(b, i, false)
	default:
		c.stray(b, i)
	}
}

// nextOfNaN takes a byte after an N.
func (c *CSVCheck) nextOfNaN(b byte, i int) {
	switch {
	case c.state == atN && b == 'a':
		c.state = atNa
	case c.state == atNa && b == 'N':
		c.state = atNaN
	case c.state == atNaN && endsCell(b):
		c.endCell(b, i, true)
	default:
		c.fail(faultText, b, i)
	}
}

// afterDigits takes the byte after the last digit before an exponent.
func (c *CSVCheck) afterDigits(b byte, i int) {
	switch b {
	case ',', '\n', '\r':
		c.endCell(b, i, false)
	case 'e', 'E':
		c.state = atExp
	default:
		c.stray(b, i)
	}
}

// endCell ends a cell with b: comma, CR or LF. dropped means an empty cell or NaN.
func (c *CSVCheck) endCell(b byte, i int, dropped bool) {
	col := &c.columns[c.col]
	if i-c.lineAt+1-c.cellAt > maxCell {
		c.fail(faultLong, b, i)
		return
	}
	if dropped && col.Rising {
		c.fail(faultUntimed, b, i)
		return
	}
	if !dropped {
		if c.expNeg {
			c.exp = -c.exp
		}
		digits, whole := c.num.digits(), c.num.scale == 0
		c.num.scale += c.exp
		if !col.holds(&c.num) {
			c.fail(faultRange, b, i)
			return
		}
		if c.expLong > mostExponent {
			c.fail(faultNumber, b, i)
			return
		}
		if digits > col.Digits {
			c.fail(faultDigits, b, i)
			return
		}
		if c.listed(c.num.hi, whole) {
			c.fail(faultListed, b, i)
			return
		}
		if col.Rising {
			if !col.rises(&c.num) {
				c.fail(faultRising, b, i)
				return
			}
			col.last, col.begun = c.num, true
		}
	}
	if c.wants(c.col) {
		c.row[c.col] = math.NaN()
		if !dropped {
			c.row[c.col] = c.num.float()
		}
	}
	last := c.col == len(c.columns)-1
	switch {
	case b == ',' && last:
		c.col, c.guessed = len(c.columns)+1, true
		c.cellAt = i - c.lineAt + 2
		c.state = inSurplus
	case b == ',':
		c.col++
		c.state = atCell
	case !last:
		c.fail(faultFew, b, i)
	case b == '\r':
		c.state = atCR
	default:
		c.endRow(i)
	}
}

// nextOfSurplus takes a byte after the last declared cell. Twice the declared
// number of cells, all of digits, are numbers with a decimal comma.
func (c *CSVCheck) nextOfSurplus(b byte, i int) {
	switch {
	case b == ',':
		c.col++
	case b == '\n':
		if c.guessed && c.col == 2*len(c.columns) {
			c.fail(faultDecimalComma, b, i)
		} else {
			c.fail(faultMany, b, i)
		}
	case b != '-' && b != '\r' && b-'0' > 9:
		c.guessed = false
	}
}

// stray reports the byte b, which no number can have at this place.
func (c *CSVCheck) stray(b byte, i int) {
	letterE := b|0x20 == 'e' && (c.state == atCell || c.state == atSign)
	switch {
	case separates(b) && c.col > 0: // after a comma, which must have been a decimal comma
		c.fail(faultDecimalComma, b, i)
	case separates(b):
		c.fail(faultSeparator, b, i)
	case !letterE && strings.IndexByte("0123456789+-.eE ,\r\n", b) >= 0:
		c.fail(faultNumber, b, i)
	default:
		c.fail(faultText, b, i)
	}
}

// separates reports whether b separates cells in other programs' tables.
func separates(b byte) bool { return b == ';' || b == '\t' || b == '|' }

// nextOfHeader consumes one byte of the header row.
func (c *CSVCheck) nextOfHeader(b byte, i int) {
	whole := c.col == len(c.header)
	switch {
	case c.state == atMark && (b == 0xBB || b == 0xBF):
	case c.state == atHeaderCR && b != '\n':
		c.fail(faultLineEnd, b, i)
	case whole && b == '\r':
		c.state = atHeaderCR
	case whole && b == '\n':
		c.headed = true
		c.newLine(i)
	case !whole && b == c.header[c.col]:
		c.col++
		c.state = inHeader
	case c.state == atFile && b == 0xEF:
		c.report(faultMark, i)
		c.state = atMark
	case c.state == atFile && (b == 0xFE || b == 0xFF || b == 0):
		c.fail(faultWide, b, i)
	case c.col == 0 && comments(b):
		c.fail(faultComment, b, i)
	case !whole && c.header[c.col] == ',' && separates(b):
		c.fail(faultSeparator, b, i)
	default:
		c.fail(faultHeader, b, i)
	}
}

// comments reports whether b begins a comment in other programs' tables.
func comments(b byte) bool { return b == '#' || b == '%' || b == '/' }

// fail reports a fault and skips the rest of the line, which b may have ended.
func (c *CSVCheck) fail(f csvFault, b byte, i int) {
	c.report(f, i)
	c.headed = c.headed || f != faultComment
	switch {
	case csvFaults[f].scope == wholeFile:
		c.state = inDead
	case b == '\n':
		c.newLine(i)
	default:
		c.state = inBad
	}
}

// endRow ends a row of numbers with the LF at i.
func (c *CSVCheck) endRow(i int) {
	c.rows++
	if c.Each != nil {
		c.Each(c.row)
	}
	c.newLine(i)
}

// newLine begins a line after the LF at i.
func (c *CSVCheck) newLine(i int) {
	c.line++
	c.lineAt = i + 1
	c.col = 0
	c.state = atCell
	if !c.headed {
		c.state = inHeader
	}
}

// A csvFault is one way in which a recording can be wrong.
type csvFault uint8

const (
	faultHeader csvFault = iota
	faultMark
	faultWide
	faultSeparator
	faultDecimalComma
	faultComment
	faultLineEnd
	faultBlank
	faultNoRows
	faultFew
	faultMany
	faultNumber
	faultLong
	faultDigits
	faultListed
	faultText
	faultRange
	faultRising
	faultUntimed
	faultKinds
)

// How far a fault reaches.
const (
	oneLine     = iota
	everyExport // every line of such an export has it: reported once
	wholeFile   // the rest of the file cannot be read
)

// Where the column of a fault is.
const (
	thisByte = iota
	byteBefore
	thisCell
)

// csvFaults has for each fault its rule, scope, place and message. Messages quote the declared
// columns, never the file.
var csvFaults = [faultKinds]struct {
	rule         string
	scope, place int
	message      string
}{
	faultHeader: {"header", wholeFile, thisByte, "the first line is not exactly {header} (no quotation marks, no " +
		"spaces); " +
		"export the recording with these columns in this order; its rows were not checked"},
	faultMark: {"bom", everyExport, thisByte, "the file begins with an invisible byte order mark; " +
		"export the recording as plain text without one"},
	faultWide: {"bom", wholeFile, thisByte, "the file is not plain text (it may be UTF-16, which begins with a " +
		"byte order mark); " +
		"export the recording as plain text; its rows were not checked"},
	faultSeparator: {"separator", everyExport, thisByte, "the cells are not separated by commas here; " +
		"export the recording with a comma between cells and a point in decimals; later lines with the same fault " +
		"are not listed"},
	faultDecimalComma: {"decimal-comma", wholeFile, thisCell, "the decimals seem to be written with a comma; " +
		"export the recording with a point in decimals and a comma between cells; the lines after this were not " +
		"checked"},
	faultComment: {"comment", oneLine, thisByte, "this is a comment line, and a recording may hold only the column " +
		"names and numbers; " +
		"export the recording without comments"},
	faultLineEnd: {"line-end", everyExport, byteBefore, "a line ends with a carriage return alone; " +
		"export the recording with LF or CRLF line ends; later lines with the same fault are not listed"},
	faultBlank: {"empty", oneLine, thisByte, "the line is blank; export the recording without blank lines"},
	faultNoRows: {"empty", oneLine, thisCell, "the recording holds no row of numbers; check that it was made, then " +
		"export it again, or remove it from the record"},
	faultFew: {"columns", oneLine, thisByte, "the row has fewer cells than the columns {header}; export the " +
		"recording again, or find out why the row was cut"},
	faultMany: {"columns", oneLine, thisCell, "the row has more cells than the columns {header}; export the " +
		"recording with these columns only"},
	faultNumber: {"number", oneLine, thisCell, "the cell of {column} is not a plain decimal number such as 4.25 " +
		"(no spaces, no units); " +
		"export the recording again, with the cell empty where a sample was dropped"},
	faultLong: {"number", oneLine, thisCell, "the cell of {column} is longer than {longest} characters; export the " +
		"recording with fewer digits"},
	faultDigits: {"digits", oneLine, thisCell, "the cell of {column} has more than {digits} digits, more than a " +
		"sensor tells apart and enough for somebody's number; " +
		"export the recording with fewer digits"},
	faultListed: {"listed", oneLine, thisCell, "the digits of the cell of {column} are, point left out, a number " +
		"or a birth date in the roster; " +
		"remove it and export the recording again; if a measurement is like it by chance, export with at most " +
		"seven digits"},
	faultText: {"text", oneLine, thisCell, "the cell of {column} holds something other than a decimal number or NaN; " +
		"a recording must not carry text: export it again with numbers only, and the cell empty where a sample was " +
		"dropped"},
	faultRange: {"range", oneLine, thisCell, "{column} is outside {min} to {max}; " +
		"check the unit and the order of the columns, or empty the cell if the sample is not a measurement"},
	faultRising: {"rising", oneLine, thisCell, "{column} is not greater than in the row before; " +
		"check whether rows occur twice or out of order, or whether two recordings were joined, then export it again"},
	faultUntimed: {"rising", oneLine, thisCell, "{column} is empty or NaN; every row needs it: export the " +
		"recording again"},
}

// report counts a fault at p[i], and keeps it as a problem unless max is reached.
func (c *CSVCheck) report(f csvFault, i int) {
	c.count++
	kind := &csvFaults[f]
	again := c.reported[f] && kind.scope == everyExport
	c.reported[f] = true
	if again || len(c.problems) >= c.max {
		return
	}
	column := i - c.lineAt + 1
	switch kind.place {
	case byteBefore:
		column--
	case thisCell:
		column = c.cellAt
	}
	col := &c.columns[min(c.col, len(c.columns)-1)]
	message := strings.NewReplacer("{header}", c.header, "{column}", col.Name, "{longest}", strconv.Itoa(maxCell),
		"{digits}", strconv.Itoa(col.Digits),
		"{min}", limitText(col.Min), "{max}", limitText(col.Max)).Replace(kind.message)
	c.problems = append(c.problems, Problem{File: c.file, Line: c.line, Column: column,
		Rule: "recording.csv." + kind.rule, Severity: Error, Message: message})
}

func limitText(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
