package sampler

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Report says what [Convert] made of a table.
type Report struct {
	Rows    int
	Dropped int   // rows without a value of CO2
	Remarks []int // lines among the rows that hold no values and were left out, the first 100
	Left    int   // how many such lines there are

	CO2Unit Unit    // "" if CO2 was not measured
	GasKPa  float64 // pressure of the gas by which % or ppm was multiplied; 0 for other units
	Gas     Gas     // how, and
	GasFrom string  // where the pressure of the air was read

	About About // Start and Length alone, from the columns

	// NotMeasured names what the native form has and the table does not give, and
	// what the table has and the native form does not, each with the reason.
	NotMeasured []string
	Notes       []string // what else was done that a person should know
}

// Convert reads a sampler's table as p describes it and writes the native columns
// (see [NativeColumns]): a heading row, then numbers with at most four places. A
// value that is absent stays empty. gas is needed where [Profile.NeedsGas] says so.
//
// It streams. The error is a *[Fault] if the table does not fit the profile, or of
// src or dst; what was written then is of no use.
func Convert(dst io.Writer, src io.Reader, p Profile, gas GasPressure, native ...Native) (*Report, error) {
	if message := p.Validate(); message != "" {
		return nil, &Fault{0, 0, "the profile of the sampler cannot be used: " + message}
	}
	if len(native) == 0 {
		native = NativeColumns()
	}
	c := &converter{p: &p, in: newLines(src), out: bufio.NewWriterSize(dst, 64<<10), native: native,
		decimal: p.Decimal[0]}
	if p.NeedsGas() {
		var ok bool
		if c.gasKPa, ok = gas.Of(p.Gas); !ok {
			return nil, &Fault{0, 0, "gives CO2 as a share of the gas (" + string(p.CO2Unit()) + "), which needs the " +
				"pressure of the air in the room, 40 to 115 kPa: write it into room_kpa of the record, or state it"}
		}
		c.report.GasKPa, c.report.Gas, c.report.GasFrom = c.gasKPa, p.Gas, gas.From
	}
	if err := c.run(); err != nil {
		return nil, err
	}
	return &c.report, c.out.Flush()
}

// A converter reads one table.
type converter struct {
	p       *Profile
	in      *lines
	out     *bufio.Writer
	native  []Native
	gasKPa  float64
	decimal byte

	at     []int     // of each column of the profile: its index in a row
	source []int     // of each native column: index in p.Columns, -1 if none gives it
	factor []float64 // of each native column
	values []int     // rows with a value, by native column
	need   int       // cells that a row needs
	cells  [][]byte
	row    []byte

	last   float64 // time written last, in seconds
	first  float64 // elapsed time of the first row
	clock  clockReader
	report Report
}

func (c *converter) run() error {
	c.plan()
	if err := c.head(); err != nil {
		return err
	}
	for i, n := range c.native {
		if i > 0 {
			c.out.WriteByte(',')
		}
		c.out.WriteString(n.Name)
	}
	c.out.WriteByte('\n')
	for {
		line, err := c.in.next()
		if err == io.EOF {
			return c.end()
		} else if err != nil {
			return err
		}
		if len(trim(line)) == 0 {
			continue
		}
		if err := c.line(line); err != nil {
			if _, bad := asFault(err); !bad || !c.in.open {
				return err
			}
			c.report.Notes = append(c.report.Notes, fmt.Sprintf("line %d, the last, is not complete and was left out",
				c.in.n))
		}
	}
}

// plan says which column of the profile gives which native one.
func (c *converter) plan() {
	c.source, c.factor = make([]int, len(c.native)), make([]float64, len(c.native))
	c.values = make([]int, len(c.native))
	used := map[int]bool{}
	for i, n := range c.native {
		c.source[i] = -1
		if n.Is == Unused || n.Is == Time {
			continue
		}
		k := c.p.Column(n.Is)
		if k < 0 {
			continue
		}
		if f, ok := factor(n.Is, c.p.Columns[k].Unit, n.Unit, c.gasKPa); ok {
			c.source[i], c.factor[i] = k, f
			used[k] = true
		}
		if n.Is == CO2 {
			c.report.CO2Unit = c.p.Columns[k].Unit
		}
	}
	for k, col := range c.p.Columns {
		if inUnits[col.Is] != nil && col.Is != Time && !used[k] {
			c.report.NotMeasured = append(c.report.NotMeasured, fmt.Sprintf("%s: the collection's recordings have no "+
				"column for it, so it does not leave with them", col.Is))
		}
	}
}

// head finds the heading row, or skips the lines that the profile says.
func (c *converter) head() error {
	c.at = make([]int, len(c.p.Columns))
	headed := false
	for k, col := range c.p.Columns {
		c.at[k] = col.Number - 1
		headed = headed || col.Heading != "" && col.Is != Unused
	}
	for n := 0; headed || n < c.p.Skip; n++ {
		line, err := c.in.next()
		if err == io.EOF || n == MaxHead {
			return &Fault{0, 0, "has no row with the headings of the sampler's profile within its first 1,000 lines, so " +
				"it is another sampler's file, or its form or unit was changed: have this file's columns asked about again"}
		} else if err != nil {
			return err
		}
		if headed {
			if found, err := c.headings(line); err != nil {
				return err
			} else if found {
				break
			}
		}
	}
	for k, col := range c.p.Columns {
		if col.Is != Unused {
			c.need = max(c.need, c.at[k]+1)
		}
	}
	return nil
}

// headings reports whether the line is the heading row, and sets the places of the
// columns then.
func (c *converter) headings(line []byte) (bool, error) {
	var ok bool
	if c.cells, ok = split(line, c.p.Separator, c.cells); !ok {
		return false, nil
	}
	var names []string
	for i, cell := range c.cells {
		names = append(names, headingText(cell, i))
	}
	twice := false
	for k, col := range c.p.Columns {
		if col.Heading == "" || col.Is == Unused {
			continue
		}
		at := slices.Index(names, col.Heading)
		if at < 0 {
			return false, nil
		}
		twice = twice || slices.Contains(names[at+1:], col.Heading)
		c.at[k] = at
	}
	if twice {
		return false, &Fault{c.in.n, 0, "has one heading twice, so the columns cannot be told apart: export the " +
			"recording with one of them"}
	}
	return true, nil
}

// headingText returns the heading in a cell. The first may begin with the mark of a
// remark.
func headingText(cell []byte, i int) string {
	if i == 0 {
		cell = trim(bytes.TrimLeft(cell, "#%"))
	}
	return text(cell)
}

// remark takes a line among the rows that holds no value of a used column.
func (c *converter) remark() error {
	c.report.Left++
	if len(c.report.Remarks) < 100 {
		c.report.Remarks = append(c.report.Remarks, c.in.n)
	}
	if c.report.Left > MaxHead && c.report.Left > c.report.Rows {
		return &Fault{c.in.n, 0, "and many before it hold no values where the profile expects them: have this file's " +
			"columns asked about again"}
	}
	return nil
}

// line takes one line after the head.
func (c *converter) line(line []byte) error {
	var ok bool
	if c.cells, ok = split(line, c.p.Separator, c.cells); !ok {
		return &Fault{c.in.n, 0, "has more than 500 values: check that this is the sampler's file"}
	}
	if line[0] == '#' || !c.anyValue() {
		if c.report.Rows == 0 {
			return c.unitRow()
		}
		return c.remark()
	}
	if len(c.cells) < c.need {
		return &Fault{c.in.n, 0, "has fewer values than the profile of the sampler needs: copy the file again from the " +
			"sampler, or export it again"}
	}
	t, err := c.time()
	if err != nil {
		return err
	}
	if err := c.format(t); err != nil {
		return err
	}
	c.out.Write(c.row)
	c.report.Rows++
	return nil
}

// anyValue reports whether a used column has a number or a time.
func (c *converter) anyValue() bool {
	for k, col := range c.p.Columns {
		if col.Is == Unused || c.at[k] >= len(c.cells) {
			continue
		}
		cell := c.cells[c.at[k]]
		if _, ok := number(cell, c.decimal); ok {
			return true
		}
		if col.Is == Clock {
			if _, ok := parseStamp(string(cell[:min(len(cell), 64)])); ok {
				return true
			}
		}
	}
	return false
}

// unitRow takes a line between headings and values. One that gives another unit
// than the profile is refused.
func (c *converter) unitRow() error {
	for k, col := range c.p.Columns {
		if c.at[k] >= len(c.cells) || inUnits[col.Is] == nil {
			continue
		}
		if u, ok := ParseUnit(text(c.cells[c.at[k]])); ok && u != col.Unit {
			return &Fault{c.in.n, c.at[k] + 1, "gives another unit than the profile of the sampler: have this file's " +
				"columns asked about again"}
		}
	}
	return nil
}

// time returns the seconds of the row, more than those of the row before.
func (c *converter) time() (float64, error) {
	t := 0.0
	k, clock := c.p.Column(Time), c.p.Column(Clock)
	if clock >= 0 {
		var day []byte
		if d := c.p.Column(Date); d >= 0 {
			day = c.cells[c.at[d]]
		}
		at, message := c.clock.read(c.cells[c.at[clock]], day)
		if message != "" && (k < 0 || c.report.Rows == 0) {
			return 0, &Fault{c.in.n, c.at[clock] + 1, message}
		}
		t = at
	}
	if k >= 0 {
		f, ok := number(c.cells[c.at[k]], c.decimal)
		if !ok {
			return 0, &Fault{c.in.n, c.at[k] + 1, "is no time, but the row has other values: export the recording " +
				"again"}
		}
		t = f * inUnits[Time][c.p.Columns[k].Unit]
	}
	if c.p.Hz > 0 {
		return float64(c.report.Rows) / c.p.Hz, nil
	}
	if c.report.Rows == 0 && (t < 0 || t > 3600 && k >= 0) { // counted from something else than the beginning
		c.first = t
		c.report.Notes = append(c.report.Notes, "the times were counted anew from the first row, which is 0 now")
	}
	return t - c.first, nil
}

// Limits of what a value may be after conversion: those of the collection's own
// columns, wide on purpose.
var extremes = map[Quantity][2]float64{CO2: {-1, 15}, Pressure: {-50_000, 50_000}, Flow: {-1e6, 1e6}}

// format makes the native row of the cells.
func (c *converter) format(t float64) error {
	t = round4(t)
	if c.report.Rows > 0 && t <= c.last {
		return &Fault{c.in.n, 0, "has a time that is not later than that of the row before: if the sampler writes several " +
			"rows with one time, state the rows a second; else export the recording again"}
	}
	if !(t >= 0 && t <= 86_400) {
		return &Fault{c.in.n, 0, "is more than a day after the first row: a recording is of one session; export it alone"}
	}
	c.last = t
	c.row = c.row[:0]
	for i, n := range c.native {
		if i > 0 {
			c.row = append(c.row, ',')
		}
		if n.Is == Time {
			c.row = appendNumber(c.row, round4(t/inUnits[Time][n.Unit]))
			continue
		}
		if c.source[i] < 0 {
			continue
		}
		at := c.at[c.source[i]]
		f, ok := number(c.cells[at], c.decimal)
		switch {
		case !ok && c.p.absent(c.cells[at]) || ok && c.missing(c.cells[at]):
			if n.Is == CO2 {
				c.report.Dropped++
			}
			continue
		case !ok:
			return &Fault{c.in.n, at + 1, "is neither a number with the decimal sign of the profile nor a known sign for no " +
				"value: have this file's columns asked about again, or state the sign"}
		}
		f *= c.factor[i]
		own := f * inUnits[n.Is][n.Unit]
		if e := extremes[n.Is]; !(own >= e[0] && own <= e[1]) {
			return &Fault{c.in.n, at + 1, fmt.Sprintf("is no possible value of %s in %s: if the sampler writes such a "+
				"number for no value, state it as missing; else correct the unit", n.Is, c.p.Columns[c.source[i]].Unit)}
		}
		c.values[i]++
		c.row = appendNumber(c.row, round4(f))
	}
	c.row = append(c.row, '\n')
	return nil
}

// missing reports whether a number is what the sampler writes for no value.
func (c *converter) missing(cell []byte) bool { return len(c.p.Missing) > 0 && c.p.absent(cell) }

func round4(f float64) float64 { return math.Round(f*1e4) / 1e4 }

// appendNumber appends f, which round4 has rounded, without needless zeros.
func appendNumber(b []byte, f float64) []byte {
	if f == 0 {
		f = 0 // no minus before it
	}
	b = strconv.AppendFloat(b, f, 'f', 4, 64)
	return bytes.TrimSuffix(bytes.TrimRight(b, "0"), []byte("."))
}

// end completes the report.
func (c *converter) end() error {
	if c.report.Rows == 0 {
		return &Fault{0, 0, "has no row of values after its headings: check that the recording was made, and copy it again"}
	}
	if c.p.Hz > 0 && c.clock.rows > 1 {
		byRows, byClock := float64(c.report.Rows)/c.p.Hz, c.clock.now-c.clock.first
		if math.Abs(byRows-byClock) > 2+0.02*byClock {
			return &Fault{0, 0, fmt.Sprintf("lasts %.0f s by its clock and %.0f s by the rows a second that are "+
				"stated: correct those", byClock, byRows)}
		}
	}
	for i, n := range c.native {
		if n.Is == Time || c.values[i] > 0 {
			continue
		}
		why := "no column of the file gives it"
		if c.source[i] >= 0 {
			why = "its column holds no value"
		}
		c.report.NotMeasured = append(c.report.NotMeasured, n.Name+": "+why)
		if n.Is == CO2 {
			c.report.CO2Unit = ""
		}
	}
	c.report.About.Length = time.Duration(math.Round(c.last*1000)) * time.Millisecond
	c.report.About.note("length", "first and last row of the file")
	// A clock without a date that begins at midnight counts from the beginning.
	if counts := c.clock.begin.date == "" && c.clock.begin.seconds < 60; c.clock.rows > 0 && !counts {
		c.report.About.start(c.clock.begin, "clock column of the file")
	}
	return nil
}

// A clockReader turns times of day into seconds since the midnight before the first.
type clockReader struct {
	rows       int
	begin      stamp
	date       string
	first, now float64
	days       int
}

// read takes the clock of a row, and its date if that has a column of its own. The
// message says what is wrong.
func (r *clockReader) read(cell, date []byte) (since float64, message string) {
	s, ok := parseStamp(string(cell[:min(len(cell), 64)]))
	if len(date) > 0 && ok && s.date == "" {
		s.date = text(date[:min(len(date), 64)])
		if s.days = parseDay(s.date); s.days == nil {
			ok = false
		}
	}
	if !ok {
		return 0, "is no time of day, or has no date, as the profile of the sampler expects: export the recording again"
	}
	at := s.seconds + float64(r.days)*86_400
	if r.rows == 0 {
		r.begin, r.first, r.now = s, at, at
	}
	midnight := false
	switch back := r.now - at; {
	case back > 43_200:
		r.days, at, midnight = r.days+1, at+86_400, true
	case back > 0:
		return 0, "lies before the time of the row above: if the sampler's clock was changed meanwhile, state the rows a " +
			"second; else export the recording again"
	}
	if r.rows > 0 && s.date != r.date && !midnight {
		return 0, "has another date than the row above, but no midnight between: a recording is of one session; export " +
			"it alone"
	}
	r.rows, r.date, r.now = r.rows+1, s.date, at
	return at - r.first, ""
}

// Sentences returns what a person should know of the conversion.
func (r *Report) Sentences() []string {
	var out []string
	switch {
	case r.CO2Unit.Share():
		out = append(out, fmt.Sprintf("CO2 was converted from %s to kPa with a gas pressure of %s kPa (%s gas; pressure of "+
			"the air from %s)", r.CO2Unit, strings.TrimSuffix(strconv.FormatFloat(r.GasKPa, 'f', 3, 64), ".000"), r.Gas,
			r.GasFrom))
	case r.CO2Unit != "" && r.CO2Unit != KPa:
		out = append(out, fmt.Sprintf("CO2 was converted from %s to kPa", r.CO2Unit))
	}
	for _, n := range r.NotMeasured {
		out = append(out, "not measured: "+n)
	}
	if r.Left > 0 {
		out = append(out, fmt.Sprintf("lines among the rows without values, which were left out: %d, the first is line %d; "+
			"if what they say matters, write it into the record", r.Left, r.Remarks[0]))
	}
	return append(out, r.Notes...)
}
