package sessionlog

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"outbreath/schema"
	"outbreath/schema/sheet"
)

// readTimes reads dates and times. One order of day, month and year holds for a column:
// that which all of its cells fit, else that of the table's other columns of dates, else
// that of the settings.
func (r *reader) readTimes(c *column, kind columnKind, out []value) {
	read, stored := make([]*written, len(out)), make([]bool, len(out))
	r.each(c, func(i int, at string, cell sheet.Cell) {
		out[i] = value{at: at}
		switch cell.Kind {
		case sheet.Time:
			r.stored(c, kind, cell, &out[i])
			stored[i] = true
		case sheet.Number:
			r.serial(c, kind, cell, &out[i])
		case sheet.Text:
			read[i] = r.typed(c, kind, cell, &out[i])
		default:
			r.timeProblem(c, kind, &out[i])
		}
	})
	r.yearDay(c, read, out)
	order, asked := "", false
	for i, w := range read {
		if w == nil {
			continue
		}
		if !asked && !w.certain() {
			order, asked = r.order(c, read, out), true
		}
		r.settle(c, w, order, &out[i])
	}
	r.turned(c, read, stored, out)
	if kind == dates && c.column.Leaf != nil && c.column.Leaf.Format == "date" {
		for i := range out {
			if out[i].hasDay {
				out[i].node = &schema.Node{Kind: schema.String, Text: out[i].day.String()}
			}
		}
	}
}

func (r *reader) timeProblem(c *column, kind columnKind, v *value) {
	v.bad = true
	expected := "a time of day such as 09:10, or date and time such as 2026-03-02 09:10"
	if kind == dates {
		expected = "a date such as 2026-03-02"
	}
	r.problem(v.at, c.column.Field, "this cannot be read as a time or date: write "+expected)
}

// stored takes over a serial number that the spreadsheet shows as date or time.
func (r *reader) stored(c *column, kind columnKind, cell sheet.Cell, v *value) {
	date, tod, both := strings.Cut(cell.Text, "T")
	if !both && strings.Contains(date, ":") {
		date, tod = "", date
	}
	if t, err := time.Parse(time.DateOnly, date); err == nil {
		v.day, v.hasDay = day{t.Year(), int(t.Month()), t.Day()}, true
	}
	if tod != "" {
		v.clock, _, v.hasHm = readClock(tod)
	}
	switch {
	case kind == dates && !v.hasDay, kind == dates && v.hasHm && v.clock.sinceMidnight() != 0, !v.hasDay && !v.hasHm:
		*v = value{at: v.at}
		r.timeProblem(c, kind, v)
	case kind == dates:
		v.hasHm = false
	}
}

// serial reads a number in a column of dates or times: a part of a day is a time, three or
// four digits are hour and minute. A number of days may be a date, which is asked.
func (r *reader) serial(c *column, kind columnKind, cell sheet.Cell, v *value) {
	text, _, ok := storedNumber(cell.Text)
	if !ok {
		r.timeProblem(c, kind, v)
		return
	}
	if kind == times {
		if v.clock, v.hasHm = serialClock(text); v.hasHm {
			return
		}
		if len(text) == 3 || len(text) == 4 {
			if v.clock, _, v.hasHm = readClock(fmt.Sprintf("%04s", text)); v.hasHm {
				c.say("hour and minute without a sign between")
				return
			}
		}
		if decimalHours.MatchString(text) {
			r.asHours(c, text, v)
			return
		}
	}
	r.asDays(c, kind, text, v)
}

var decimalHours = regexp.MustCompile(`^[0-9]{1,2}\.[0-9]{1,2}$`)

// asHours asks what 9.1 is: typed as 9.10, ten past nine, or as 9.1.
func (r *reader) asHours(c *column, text string, v *value) {
	hour, minute, _ := strings.Cut(strings.ReplaceAll(text, ",", "."), ".")
	key := id("hours", c.key())
	switch r.set.Answers[key] {
	case "tens":
		if v.clock, _, v.hasHm = readClock(hour + ":" + (minute + "0")[:2]); !v.hasHm {
			r.timeProblem(c, times, v)
		}
	default:
		v.bad = true
		r.doubt(Doubt{ID: key, Question: fmt.Sprintf("times under %q are decimal numbers, such as 9.1: was 9.10 "+
			"typed for "+
			"ten past nine? If not, write these times with a colon", c.heading),
			Choices: []Choice{{"tens", "yes: 9.1 is 09:10 and 9.05 is 09:05"}}}, v.at)
	}
}

// asDays asks whether a whole number is a spreadsheet's count of days.
func (r *reader) asDays(c *column, kind columnKind, text string, v *value) {
	if yearAlone(kind, text) {
		v.bad = true
		r.problem(v.at, c.column.Field, "this is a year alone: write the whole date, such as 1970-01-31")
		return
	}
	whole, part, _ := strings.Cut(text, ".")
	n, err := strconv.Atoi(whole)
	if err != nil || len(whole) != 5 || n > 80000 { // from 1927 to 2119
		r.timeProblem(c, kind, v)
		return
	}
	key := id("days", c.key())
	epoch, ok := map[string]day{"1900": {1899, 12, 30}, "1904": {1904, 1, 1}}[r.set.Answers[key]]
	if !ok {
		v.bad = true
		r.doubt(Doubt{ID: key, Question: fmt.Sprintf("dates under %q are plain numbers, as spreadsheets count "+
			"days: from "+
			"which year on? Or write them as dates, such as 2026-03-02", c.heading), Choices: []Choice{
			{"1900", "from 1900, as most do: 46083 is 2026-03-02"},
			{"1904", "from 1904, as old files from a Mac do: 44621 is 2026-03-02"}}}, v.at)
		return
	}
	v.day, v.hasDay = epoch.add(n), true
	if part != "" {
		v.clock, v.hasHm = serialClock("0." + part)
		if kind == dates {
			v.hasHm = false
		}
	}
}

var exactTime = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,9})?(Z|[+-][0-9]{2}:[0-9]{2})$`)

// typed reads a text in a column of dates or times. What it returns has a date that is
// still to be settled.
func (r *reader) typed(c *column, kind columnKind, cell sheet.Cell, v *value) *written {
	text := clean(cell.Text)
	if saysNothing(text) || text == "" {
		return nil
	}
	if kind == times && exactTime.MatchString(text) {
		v.exact = text
		return nil
	}
	if kind == times {
		var lone bool
		if v.clock, lone, v.hasHm = readClock(text); lone {
			v.hasHm = false
			r.asHours(c, text, v)
			return nil
		} else if v.hasHm {
			v.half = halfDay.MatchString(text)
			return nil
		}
	}
	if n, _, ok := storedNumber(text); ok && len(text) != 8 && !(allDigits.MatchString(text) && len(text) > 5) {
		r.serial(c, kind, sheet.Cell{Kind: sheet.Number, Text: n}, v)
		return nil
	}
	w, ok := readDate(text)
	if !ok || len(w.days) == 0 && !w.onlyYearDay() {
		r.timeProblem(c, kind, v)
		return nil
	}
	if w.rest != "" {
		v.clock, _, v.hasHm = readClock(w.rest)
		if !v.hasHm || kind == dates && v.clock.sinceMidnight() != 0 {
			*v = value{at: v.at}
			r.timeProblem(c, kind, v)
			return nil
		}
		v.hasHm, v.half = kind == times, halfDay.MatchString(w.rest)
	}
	return &w
}

var halfDay = regexp.MustCompile(`(?i)[ap]\.? ?m\b`)

// certain reports whether a date means one day in whatever order it is read.
func (w *written) certain() bool {
	var all []day
	for _, days := range w.days {
		for _, d := range days {
			if !slices.Contains(all, d) {
				all = append(all, d)
			}
		}
	}
	return len(all) == 1
}

// mixed reports whether the order makes a difference.
func (w *written) mixed() bool {
	var first []day
	for _, order := range orders {
		days := w.days[order]
		if days == nil {
			continue
		}
		if first == nil {
			first = days
		} else if !slices.Equal(first, days) {
			return true
		}
	}
	return false
}

// settle takes the day that a date means in the given order.
func (r *reader) settle(c *column, w *written, order string, v *value) {
	days := w.days[order]
	if !w.mixed() {
		for _, o := range orders {
			if w.days[o] != nil {
				days = w.days[o]
			}
		}
	}
	switch {
	case w.mixed() && order == "":
		v.bad, v.hasHm = true, false
		r.askOrder(c, w, v.at)
		return
	case w.mixed() && order == disputed:
		*v = value{at: v.at, bad: true} // asked already
		return
	case w.mixed() && order == contradictory:
		*v = value{at: v.at, bad: true}
		r.problem(v.at, c.column.Field, "dates in this column are written in two orders, so that this one can be "+
			"read "+
			"in both: write it as year-month-day, such as 2026-03-02")
		return
	}
	if len(days) == 0 {
		*v = value{at: v.at, bad: true}
		r.problem(v.at, c.column.Field, "this date does not exist in the order in which the others of its column "+
			"are "+
			"written: write it as year-month-day, such as 2026-03-02")
		return
	}
	if days = r.century(c, days); len(days) != 1 {
		r.askCentury(c, days, v)
		return
	}
	v.day, v.hasDay = days[0], true
}

func (r *reader) askOrder(c *column, w *written, at string) {
	var choices []Choice
	for _, ch := range []Choice{{dayFirst, "day first: 03/04/2026 is the 3rd of April"},
		{monthFirst, "month first: 03/04/2026 is the 4th of March"},
		{yearFirst, "year first: 26/03/04 is the 4th of March 2026"}} {
		if w.days[ch.Value] != nil && (c.left == nil || slices.Contains(c.left, ch.Value)) {
			choices = append(choices, ch)
		}
	}
	r.doubt(Doubt{ID: id("dates", c.key()), Option: "dates", Question: fmt.Sprintf(
		"do dates under %q begin with the day, the month or the year? No cell settles it", c.heading),
		Choices: choices}, at)
}

// contradictory is the order of a column whose cells cannot all have the same.
const contradictory = "contradictory"

// disputed is that of a column that shows another order, or sign, than was said before.
const disputed = "disputed"

// order settles the order of a column's dates, "" if nothing does.
func (r *reader) order(c *column, read []*written, out []value) string {
	left, at := slices.Clone(orders), ""
	for i, w := range read {
		if w == nil || !w.mixed() && w.allOrders() {
			continue
		}
		left = slices.DeleteFunc(left, func(o string) bool { return w.days[o] == nil })
		if len(left) == 1 && at == "" {
			at = out[i].at
		}
	}
	if len(left) > 1 {
		var where string
		if narrowed, w := r.tableOrder(c, left); len(narrowed) == 1 {
			left, where = narrowed, w
		}
		at = where
	}
	switch {
	case len(left) == 0:
		return contradictory
	case len(left) == 1 && r.set.Dates != "" && r.set.Dates != left[0]:
		order := strings.ReplaceAll(left[0], "-", " ")
		return r.dispute(c, left[0], at, fmt.Sprintf("these dates under %q can only be read with the %s, and it was "+
			"said before that they begin otherwise: are the dates of this column written so?", c.heading, order))
	case len(left) == 1:
		c.say(fmt.Sprintf("%s, as %s shows", strings.ReplaceAll(left[0], "-", " "), at))
		return left[0]
	case slices.Contains(left, r.set.Dates):
		c.say(strings.ReplaceAll(r.set.Dates, "-", " ") + ", as was said")
		return r.set.Dates
	}
	c.left = left
	return ""
}

// dispute asks whether a column is written as it shows, against what was said before of all;
// the answer is that of the column alone.
func (r *reader) dispute(c *column, shown, at, question string) string {
	key := id("order", c.key(), shown)
	if r.set.Answers[key] == "shown" {
		c.say(strings.ReplaceAll(shown, "-", " ") + ", as " + at + " shows and was said")
		return shown
	}
	r.doubt(Doubt{ID: key, Question: question, Choices: []Choice{{"shown", "yes: read this column so"}}}, at)
	return disputed
}

// allOrders reports whether the date can be read in all orders, as one with a year of
// four digits in front or a named month.
func (w *written) allOrders() bool { return len(w.days) == len(orders) }

// tableOrder narrows the orders by the table's other columns of dates.
func (r *reader) tableOrder(c *column, left []string) (narrowed []string, at string) {
	narrowed = slices.Clone(left)
	for _, o := range c.src.cols {
		if kind := kindOf(o.column); o == c || kind != dates && kind != times {
			continue
		}
		if o.shows == nil {
			o.shows = r.ordersShown(o)
		}
		for _, e := range o.shows {
			narrowed = slices.DeleteFunc(narrowed, func(o string) bool { return !slices.Contains(e.possible, o) })
			if len(narrowed) == 1 && at == "" {
				at = e.at
			}
		}
	}
	return narrowed, at
}

// A showing is what one cell of a column leaves possible: orders of dates, decimal signs.
type showing struct {
	possible []string
	at       string
}

// ordersShown returns for each set of orders that cells of a column leave possible the
// first cell that does.
func (r *reader) ordersShown(c *column) []showing {
	shows := []showing{}
	for _, row := range c.src.rows {
		cell := c.src.cell(row, c.col)
		if cell.Kind != sheet.Text || r.skipped[rowOf{c.src, row}] {
			continue
		}
		w, ok := readDate(cell.Text)
		if !ok || len(w.days) == 0 || w.allOrders() {
			continue
		}
		possible := slices.DeleteFunc(slices.Clone(orders), func(o string) bool { return w.days[o] == nil })
		if !slices.ContainsFunc(shows, func(s showing) bool { return slices.Equal(s.possible, possible) }) {
			shows = append(shows, showing{possible, c.src.ref(row, c.col)})
		}
	}
	return shows
}

// oldestSession is the year from which on sessions and tubes can be (common practice, no
// source): a year of two digits is in this century, but for births.
const oldestSession = 2000

// century leaves those days out that cannot be: births after today or more than 120 years
// ago, all else before 2000.
func (r *reader) century(c *column, days []day) []day {
	birth := strings.HasSuffix(c.column.Field, "birth_date") ||
		c.column.Leaf != nil && c.column.Leaf.Treatment.Kind == schema.AgeBand
	today := day{r.in.Today.Year(), int(r.in.Today.Month()), r.in.Today.Day()}
	if len(days) < 2 {
		return days
	}
	return slices.DeleteFunc(slices.Clone(days), func(d day) bool {
		if birth {
			return d.time().After(today.time()) || d.year < today.year-120
		}
		return d.year < oldestSession
	})
}

// askCentury asks in which century births were whose year has two digits.
func (r *reader) askCentury(c *column, days []day, v *value) {
	if len(days) == 0 {
		v.hasHm = false
		r.timeProblem(c, dates, v)
		return
	}
	key := id("century", c.key())
	for _, d := range days {
		if a := r.set.Answers[key]; a == strconv.Itoa(d.year/100*100) {
			v.day, v.hasDay = d, true
			c.say("years of two digits from " + a + " on, as was said")
			return
		}
	}
	v.bad, v.hasHm = true, false
	r.doubt(Doubt{ID: key, Question: fmt.Sprintf("some years under %q have two digits and can be of either century: "+
		"which is meant in these cells? If they differ, write the years in full", c.heading),
		Choices: []Choice{{"1900", "1900 to 1999"}, {"2000", "2000 and after"}}}, v.at)
}
