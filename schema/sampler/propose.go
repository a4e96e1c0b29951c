package sampler

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// A Question is what the file itself does not settle. Its text quotes no value, but
// headings of columns.
type Question struct {
	ID      string // "co2", "unit of co2", "gas", "hz" ...: what [Profile.Answer] takes
	Text    string
	Choices []string // "" of them for "hz": a number
}

// None is the choice of a column that the file does not have.
const None = "none"

// rowsLooked is how many lines are looked at for a proposal.
const rowsLooked = 400

// Propose looks at head, the beginning of a text table called file (HeadSize is
// enough; a line that it cuts off is passed over), and returns a profile with all
// that the file settles, and a question for each thing that it does not. Only when
// all are answered is the profile valid. The error is a *[Fault] if this is no
// table of values.
func Propose(file string, head []byte) (Profile, []Question, error) {
	if bytes.HasPrefix(head, []byte("0       ")) {
		return Profile{}, nil, &Fault{0, 0, "is an EDF recording, which needs no profile"}
	}
	d, err := newDraft(head)
	if err != nil {
		return Profile{}, nil, err
	}
	d.columns()
	d.choose()
	d.units()
	d.rate()
	return d.p, d.questions, nil
}

// A draft is a profile in the making.
type draft struct {
	p         Profile
	lines     [][]byte
	first     int        // index of the first row of values in lines
	n         int        // cells in a row
	rows      [][][]byte // cells of the rows looked at
	headings  []string   // nil if there are none
	unitRow   []string   // nil if there is none
	kinds     []cellKind // of the columns
	questions []Question
}

// A cellKind is what all cells of a column are; empty ones aside.
type cellKind uint8

const (
	noCells cellKind = iota
	numbers
	clocks
	dates
	others
)

func kindOf(cell []byte, decimal byte) cellKind {
	if slices.Contains(absences, strings.ToLower(string(cell[:min(len(cell), 16)]))) {
		return noCells
	}
	if _, ok := number(cell, decimal); ok {
		return numbers
	}
	s := string(cell[:min(len(cell), 64)])
	if _, ok := parseStamp(s); ok {
		return clocks
	}
	if parseDay(s) != nil {
		return dates
	}
	return others
}

// headLines takes head apart; a last line that was cut off is passed over.
func headLines(head []byte) ([][]byte, error) {
	cut := len(head) >= 4096
	head = head[:min(len(head), HeadSize)]
	in := newLines(bytes.NewReader(head))
	var out [][]byte
	for len(out) < MaxHead+rowsLooked {
		line, err := in.next()
		var f *Fault
		switch {
		case err == io.EOF, errors.As(err, &f) && f.Line == 0:
			return out, nil
		case err != nil:
			return nil, err
		case in.open && cut && len(out) > 0:
			return out, nil
		}
		out = append(out, bytes.Clone(line))
	}
	return out, nil
}

// newDraft finds separator, decimal sign, and where the rows of values are: those
// that give the longest run of rows alike.
func newDraft(head []byte) (*draft, error) {
	lines, err := headLines(head)
	if err != nil {
		return nil, err
	}
	d := &draft{lines: lines}
	best := 0
	for _, sep := range separators {
		for _, decimal := range []string{".", ","} {
			if sep == decimal {
				continue
			}
			if score, first, n := run(lines, sep, decimal[0]); score > best {
				best, d.first, d.n = score, first, n
				d.p.Separator, d.p.Decimal = sep, decimal
			}
		}
	}
	if best == 0 {
		return nil, &Fault{0, 0, "holds no rows of numbers: check that this is the sampler's recording, exported as text " +
			"or as EDF"}
	}
	for _, line := range lines[d.first:] {
		cells, _ := split(line, d.p.Separator, nil)
		if len(cells) == d.n && line[0] != '#' && len(d.rows) < rowsLooked {
			d.rows = append(d.rows, cells)
		}
	}
	return d, d.head()
}

// run returns the best run of lines that have the same number of cells, two or
// more, of which most are values: its score, first line and number of cells.
func run(lines [][]byte, sep string, decimal byte) (best, first, cells int) {
	score, start, n := 0, 0, 0
	var row [][]byte
	for i, line := range lines {
		var ok bool
		if row, ok = split(line, sep, row); len(line) > 0 && line[0] == '#' {
			continue
		}
		points := 0
		for _, cell := range row {
			switch kindOf(cell, decimal) {
			case numbers, clocks:
				points++
			case others:
				points -= 2
			}
		}
		if !ok || len(row) < 2 || points < 1 || !leads(row, decimal) {
			score, n = 0, 0
			continue
		}
		if len(row) != n {
			score, start, n = 0, i, len(row)
		}
		if score += points; score > best {
			best, first, cells = score, start, n
		}
	}
	return best, first, cells
}

// leads reports whether a row has two values or more, as a line such as "Date;
// 30.11.2026" has not.
func leads(row [][]byte, decimal byte) bool {
	n := 0
	for _, cell := range row {
		if k := kindOf(cell, decimal); k == numbers || k == clocks {
			n++
		}
	}
	return n >= 2
}

// head finds the heading row above the values, and the row of units below it.
func (d *draft) head() error {
	above := func(k int) []string {
		i := d.first - k
		if i < 0 {
			return nil
		}
		line := bytes.TrimLeft(d.lines[i], "#% ")
		cells, _ := split(line, d.p.Separator, nil)
		if len(cells)*2 == d.n && d.p.Separator == "," && k == 1 {
			return []string{}
		}
		if len(cells) != d.n && !(len(cells) == d.n-1 && d.emptyLast()) {
			return nil
		}
		var out []string
		for i, cell := range cells {
			if k := kindOf(cell, d.p.Decimal[0]); k == numbers || k == clocks {
				return nil
			}
			out = append(out, headingText(cell, i))
		}
		return out
	}
	row := above(1)
	if row != nil && len(row) == 0 {
		return &Fault{d.first + 1, 0, "has twice as many values as there are headings: a comma is both separator and " +
			"decimal sign; export the recording with semicolons"}
	}
	if allUnits(row) {
		if names := above(2); names != nil && !allUnits(names) {
			d.headings, d.unitRow = names, row
			return nil
		}
	}
	d.headings = row
	if row == nil {
		d.p.Skip = d.first
	}
	return nil
}

// emptyLast reports whether every row ends with the separator.
func (d *draft) emptyLast() bool {
	return !slices.ContainsFunc(d.rows, func(r [][]byte) bool { return len(r[len(r)-1]) > 0 })
}

// allUnits reports whether a row has units, and nothing else.
func allUnits(row []string) bool {
	n := 0
	for _, s := range row {
		if _, ok := ParseUnit(s); ok {
			n++
		} else if strings.Trim(s, "-[]() hHmMsS:.") != "" {
			return false
		}
	}
	return n > 0
}

// columns lists the columns with what their cells are and their headings mean.
func (d *draft) columns() {
	d.kinds = make([]cellKind, d.n)
	for _, row := range d.rows {
		for i, cell := range row {
			switch k := kindOf(cell, d.p.Decimal[0]); {
			case k == noCells || k == d.kinds[i]:
			case d.kinds[i] == noCells:
				d.kinds[i] = k
			default:
				d.kinds[i] = others
			}
		}
	}
	for i := range d.n {
		c := ProfileColumn{Number: i + 1}
		if i < len(d.headings) {
			c.Heading = d.headings[i]
		}
		d.p.Columns = append(d.p.Columns, c)
	}
}

// choose says which column is what.
func (d *draft) choose() {
	meant := make([]Quantity, d.n)
	for i, c := range d.p.Columns {
		meant[i] = meaning(c.Heading)
		switch {
		case d.kinds[i] == clocks && (meant[i] == Time || c.Heading == "" || meant[i] == Unused):
			meant[i] = Clock
		case d.kinds[i] == dates:
			meant[i] = Date
		case d.kinds[i] != numbers:
			meant[i] = Unused
		}
	}
	for _, q := range []Quantity{Time, Clock, Date, CO2, Pressure, Flow} {
		var fit, free []int
		for i := range meant {
			if meant[i] == q {
				fit = append(fit, i)
			} else if meant[i] == Unused && d.kinds[i] == numbers {
				free = append(free, i)
			}
		}
		switch {
		case len(fit) == 1:
			d.p.Columns[fit[0]].Is = q
		case len(fit) > 1:
			d.ask(string(q), fmt.Sprintf("which column is %s?", inWords[q]), append(d.names(fit), None)...)
		case q == Time && d.count(meant, Clock) == 0 && len(free) > 0,
			q == CO2 && len(free) > 0,
			q == Pressure && len(d.headings) == 0 && len(free) > 0:
			d.ask(string(q), fmt.Sprintf("which column is %s?", inWords[q]), append(d.names(free), None)...)
		}
	}
}

func (d *draft) count(meant []Quantity, q Quantity) (n int) {
	for _, m := range meant {
		if m == q {
			n++
		}
	}
	return n
}

var inWords = map[Quantity]string{
	Time: "the time", Clock: "the time of day", Date: "the date",
	CO2:      "CO2 in the breath (the curve, not one value a breath)",
	Pressure: "the pressure in mask or airway", Flow: "the flow",
}

// Words says for a person what a column of q holds.
func (q Quantity) Words() string { return inWords[q] }

func (d *draft) ask(id, text string, choices ...string) {
	d.questions = append(d.questions, Question{id, text, choices})
}

// names are what columns are called in a question.
func (d *draft) names(at []int) []string {
	var out []string
	for _, i := range at {
		out = append(out, d.p.Columns[i].name())
	}
	return out
}

// name is what a person calls the column: nothing in it moves a terminal's cursor.
func (c *ProfileColumn) name() string {
	if c.Heading == "" {
		return fmt.Sprintf("column %d", c.Number)
	}
	shown := strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return '?'
		}
		return r
	}, c.Heading)
	if long := []rune(shown); len(long) > 60 {
		shown = string(long[:60]) + "..."
	}
	return fmt.Sprintf("column %d, %s", c.Number, shown)
}

// meanings are words of headings, English, German, French and Spanish.
var meanings = []struct {
	is    Quantity
	words []string // parts of the heading
	never []string // parts that say it is something else
}{
	{CO2, []string{"co2", "capno", "kapno", "carbon dioxide", "kohlendioxid"},
		[]string{"etco2", "et co2", "end-tidal", "end tidal", "peco2", "petco2", "fico2", "insp", "mean", "max",
			"status", "vco2"}},
	{Pressure, []string{"press", "druck", "presi", "paw", "pmask", "pmouth", "pao", "mask"},
		[]string{"baro", "ambi", "atm", "room", "umgebung", "raum", "luftdruck", "status", "partial", "partiel",
			"co2"}},
	{Flow, []string{"flow", "fluss", "flux", "débit", "debit", "flujo", "durchfl"}, []string{"status", "total"}},
}

// timeWords are whole words of a heading of times.
var timeWords = []string{"t", "time", "zeit", "uhrzeit", "uhr", "temps", "heure", "tiempo", "hora", "clock", "elapsed",
	"timestamp", "sec", "seconds", "sekunden", "secondes", "segundos", "s", "ms", "datetime", "zeitstempel", "messzeit"}

// meaning returns what a heading says that its column holds.
func meaning(heading string) Quantity {
	h := strings.ToLower(strings.ReplaceAll(heading, "₂", "2"))
	has := func(words []string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(h, w) })
	}
	for _, m := range meanings {
		if has(m.words) {
			if has(m.never) {
				return Unused
			}
			return m.is
		}
	}
	words := strings.FieldsFunc(h, func(r rune) bool { return strings.ContainsRune(" _-/[]().,:#", r) })
	if slices.ContainsFunc(words, func(w string) bool { return slices.Contains(timeWords, w) }) {
		return Time
	}
	return Unused
}

// units reads the units from headings and the row of units, and asks for the rest.
func (d *draft) units() {
	for i := range d.p.Columns {
		if c := &d.p.Columns[i]; inUnits[c.Is] != nil {
			d.unit(i)
		}
	}
	d.gas()
}

func (d *draft) unit(i int) {
	c := &d.p.Columns[i]
	if d.unitRow != nil {
		c.Unit = unitIn(d.unitRow[i], c.Is)
	}
	if c.Unit == "" {
		c.Unit = unitIn(c.Heading, c.Is)
	}
	var choices []string
	for _, u := range unitsOf(c.Is) {
		choices = append(choices, string(u))
	}
	const see = "; the sampler's manual or its export settings say it"
	switch {
	case c.Unit == "":
		d.ask("unit of "+string(c.Is), fmt.Sprintf("%s gives no unit that is known: in which unit is %s?"+see, c.name(),
			c.Is), choices...)
	case c.Is == CO2 && d.odd(i):
		d.ask("unit of co2", fmt.Sprintf("%s says %s, but its values do not look so: in which unit are they?"+see,
			c.name(), c.Unit), choices...)
		c.Unit = ""
	}
}

// odd reports whether values of CO2 in the stated unit are more than any breath has:
// 15 kPa, as in the collection's columns.
func (d *draft) odd(i int) bool {
	most := 0.0
	for _, row := range d.rows {
		if f, ok := number(row[i], d.p.Decimal[0]); ok {
			most = max(most, f)
		}
	}
	f, _ := CO2Factor(d.p.Columns[i].Unit, 100)
	return most*f > 15
}

// unitIn reads the unit of q in a heading: in brackets, after a slash, or as its
// last words.
func unitIn(heading string, q Quantity) Unit {
	heading = strings.ReplaceAll(heading, "₂", "2")
	try := []string{heading}
	low := strings.ToLower(heading)
	if i := strings.LastIndex(low, "co2"); i >= 0 {
		try = append(try, low[i+3:])
	}
	if i := strings.LastIndexAny(heading, "[("); i >= 0 {
		try = append(try, heading[i:])
	}
	if _, after, ok := strings.Cut(heading, "/"); ok {
		try = append(try, after)
	}
	words := strings.FieldsFunc(heading, func(r rune) bool { return strings.ContainsRune(" _,:-", r) })
	for n := min(2, len(words)-1); n > 0; n-- {
		try = append(try, strings.Join(words[len(words)-n:], "/"), strings.Join(words[len(words)-n:], ""))
	}
	for _, s := range try {
		if u, ok := ParseUnit(s); ok && slices.Contains(unitsOf(q), u) {
			return u
		}
	}
	return ""
}

// gas asks what a share is a share of.
func (d *draft) gas() {
	if d.p.NeedsGas() && d.p.Gas == "" {
		d.ask("gas", fmt.Sprintf("CO2 is in %s of the gas: is that of dry gas, or of gas saturated with water at "+
			"37 °C? The sampler's manual says it", d.p.CO2Unit()), string(Dry), string(Saturated))
	}
}

// rate asks for the rows a second where the times of successive rows are equal.
func (d *draft) rate() {
	i := d.p.Column(Time)
	if i < 0 {
		i = d.p.Column(Clock)
	}
	if i < 0 {
		timed := func(q Question) bool { return q.ID == string(Time) || q.ID == string(Clock) }
		if !slices.ContainsFunc(d.questions, timed) {
			d.questions = append(d.questions, noTime)
		}
		return
	}
	equal := 0
	for k, row := range d.rows[1:] {
		if bytes.Equal(row[i], d.rows[k][i]) {
			equal++
		}
	}
	if equal > 0 {
		d.ask("hz", "successive rows have the same time, so the sampler writes it too coarsely: how many rows a second does "+
			"it write? Its settings say it")
	}
}

// noTime is asked where no column gives the time.
var noTime = Question{ID: "hz", Text: "no column gives the time in a form that is known: how many rows a second does " +
	"the sampler write? Its settings say it"}

// Answer takes the answer to a question into the profile: one of its choices, or for
// "hz" a number. It may lead to another question, which it returns. The error says
// what is expected.
func (p *Profile) Answer(q Question, choice string) (*Question, error) {
	choice = strings.TrimSpace(choice)
	if len(q.Choices) > 0 && !slices.Contains(q.Choices, choice) {
		return nil, fmt.Errorf("the answer must be one of: %s", strings.Join(q.Choices, "; "))
	}
	switch what := Quantity(strings.TrimPrefix(q.ID, "unit of ")); {
	case q.ID == "hz":
		f, err := strconv.ParseFloat(strings.ReplaceAll(choice, ",", "."), 64)
		if err != nil || !(f > 0 && f <= 10_000) {
			return nil, fmt.Errorf("the answer must be a number of rows a second, more than 0 and at most 10,000")
		}
		p.Hz = f
	case q.ID == "gas":
		p.Gas = Gas(choice)
	case q.ID != string(what): // a unit
		i := p.Column(what)
		if i < 0 {
			return nil, fmt.Errorf("there is no column of %s", what)
		}
		p.Columns[i].Unit = Unit(choice)
		if d := (&draft{p: *p}); what == CO2 {
			d.gas()
			return first(d.questions), nil
		}
	case choice != None:
		i := slices.IndexFunc(p.Columns, func(c ProfileColumn) bool { return c.name() == choice })
		if i < 0 {
			return nil, fmt.Errorf("there is no such column")
		}
		if is := p.Columns[i].Is; is != Unused && is != what {
			return nil, fmt.Errorf("this column is %s already", inWords[is])
		}
		p.Columns[i].Is = what
		d := &draft{p: *p}
		if inUnits[what] != nil {
			d.unit(i)
			d.gas()
		}
		return first(d.questions), nil
	case what == Time && p.Column(Clock) < 0 || what == Clock && p.Column(Time) < 0:
		return &noTime, nil
	}
	return nil, nil
}

func first(q []Question) *Question {
	if len(q) == 0 {
		return nil
	}
	return &q[0]
}
