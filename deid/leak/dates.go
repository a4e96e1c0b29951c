package leak

import (
	"bytes"
	"slices"
	"strconv"
	"strings"
)

// A birth is a date of the Gregorian calendar; d is 0 for a whole month.
type birth struct{ y, m, d int }

// parseISO parses YYYY-MM-DD.
func parseISO(v string) (birth, bool) {
	v = strings.TrimSpace(v)
	if len(v) != 10 || v[4] != '-' || v[7] != '-' || !digits(v[:4]+v[5:7]+v[8:]) {
		return birth{}, false
	}
	y, _ := strconv.Atoi(v[:4])
	m, _ := strconv.Atoi(v[5:7])
	d, _ := strconv.Atoi(v[8:])
	return birth{y, m, d}, plausible(y, m, d)
}

// plausible reports whether the year is between 1880 and 2100, and month and day are
// possible.
func plausible(y, m, d int) bool {
	return 1880 <= y && y <= 2100 && 1 <= m && m <= 12 && 1 <= d && d <= 31
}

// A reading is one interpretation of a written date.
type reading struct {
	birth
	short   bool // the year has two digits
	noYear  bool
	compact bool // digits only
	weak    bool // six digits, or three numbers separated by blanks: many other texts look like that
	month   bool // the month is a word
}

// A dateText is a written date: tokens first to last, with its readings, the likeliest
// first. Without readings it is not a date.
type dateText struct {
	first, last int
	readings    []reading
}

// A foundDate is one reading of a date and the cues around it.
type foundDate struct {
	reading
	last          int    // token
	before, after cueSet // in the same clause
}

func (d foundDate) near(cues ...cue) bool { return d.before.with(d.after).hasAny(cues...) }

// unlistedDates decides on a date that is not the birth date of a subject.
var unlistedDates = []rule[foundDate, reason]{
	{"in an encoded text, which is searched for the roster only",
		func(p *page, _ foundDate) bool { return p.inner }, reason{}},
	{"only digits, and no word for birth before them",
		func(_ *page, d foundDate) bool { return d.compact && !d.before.has(cueBirth) }, reason{}},
	{"after a word for birth, death or a stay in hospital",
		func(_ *page, d foundDate) bool { return d.before.has(cueBirth) }, reason{"C", "pattern: date", Likely}},
	{"of a thing or a version",
		func(_ *page, d foundDate) bool { return d.near(cueThing, cueVersion) }, reason{}},
	{"day and month, both in digits",
		func(_ *page, d foundDate) bool { return d.noYear && !d.month }, reason{}},
	{"a short year, after a place or an identifier, or before a unit",
		func(p *page, d foundDate) bool {
			return d.short && (d.before.hasAny(cuePlace, cueIdentifier) || p.measured(d.last))
		}, reason{}},
	{"no year, and before a unit",
		func(p *page, d foundDate) bool { return d.noYear && p.measured(d.last) }, reason{}},
	{"any other date", always[foundDate], reason{"C", "pattern: date", Possible}},
}

var birthCue = setOf(cueBirth)

// findDate finds the date that begins with the number i, or with a month word before
// it.
func (p *page) findDate(i int) {
	glued := p.tok[i].glued // to a word: geb04041979
	if p.tok[i].piece > 1 || !p.mayBeDate(i) || !glued && p.findMonth(i) {
		return
	}
	d := p.readDate(i)
	if glued {
		d.readings = slices.DeleteFunc(d.readings, func(r reading) bool {
			return r.noYear || (r.short || r.weak || r.compact) && !p.before(d.first, 6).has(cueBirth)
		})
	}
	if len(d.readings) == 0 || glued && d.first < i {
		return
	}
	found := foundDate{last: d.last, before: p.before(d.first, 6), after: p.following(d.last, 3)}
	if glued { // only the word that touches the date is about it
		found.before, found.after = found.before.both(birthCue).with(p.cues(i-1)), cueSet{}
	}
	why := p.birthDate(d.readings, found)
	if why == (reason{}) {
		found.reading = d.readings[0]
		why = decide(p, unlistedDates, found)
	}
	p.report(p.tok[d.first].s, p.tok[d.last].e, why)
}

// mayBeDate reports whether a date can begin with the number i. It excludes most
// numbers quickly.
func (p *page) mayBeDate(i int) bool {
	if p.number(i-1) && len(p.gap(i)) == 1 && bytes.ContainsAny(p.gap(i), "./-") {
		return false // within a longer number
	}
	switch p.tok[i].size() {
	case 4, 6, 8:
		return true
	}
	return p.seen.has(cueMonth) || p.number(i+1) || p.roman(i+1)
}

// birthDate returns the description of the match if one of the readings is the birth
// date of a subject, otherwise zero.
func (p *page) birthDate(readings []reading, d foundDate) reason {
	for _, r := range readings {
		if r.noYear || !p.lex.births[r.birth] {
			continue
		}
		conf := Sure
		if r.short || r.compact {
			conf = Likely
			if !d.before.has(cueBirth) && d.before.has(cueVersion) {
				continue
			}
		}
		if r.weak && !d.before.has(cueBirth) {
			conf = Possible
			if d.near(cueThing, cueIdentifier, cuePhone, cuePlace, cueAccount, cuePlate, cueUnit) ||
				p.measured(d.last) {
				continue
			}
		}
		return reason{"C", "roster: birth_date", conf}
	}
	return reason{}
}

// findMonth finds a month and year without a day (07/1947, 1947-07, July 1947) if a
// subject was born in that month, or a word before it means birth.
func (p *page) findMonth(i int) bool {
	first, last, y, m := p.readMonth(i)
	if !plausible(y, m, 1) {
		return false
	}
	context := p.before(first, 6)
	born := p.lex.births[birth{y, m, 0}]
	var why reason
	switch {
	case context.has(cueBirth) && born:
		why = reason{"C", "roster: birth_date", Likely}
	case context.has(cueBirth):
		why = reason{"C", "pattern: date", Likely}
	case born && !context.with(p.following(last, 3)).hasAny(cueThing, cueVersion, cueIdentifier):
		why = reason{"C", "roster: birth_date", Possible}
	default:
		return false
	}
	return p.report(p.tok[first].s, p.tok[last].e, why)
}

// readMonth reads a month and a year of four digits at the number i; y is 0 if there is
// none.
func (p *page) readMonth(i int) (first, last, y, m int) {
	v, n := p.num(i)
	next := i + 1
	joined := func(k int) bool {
		return p.number(k) && len(p.gap(k)) == 1 && bytes.ContainsAny(p.gap(k), "./-")
	}
	switch {
	case n == 4 && joined(next) && !joined(i+2):
		m, _ = p.num(next)
		return i, next, v, m
	case n == 4 && p.seen.has(cueMonth) && !joined(next):
		j := p.filler(i-1, -1)
		if p.cues(j).has(cueMonth) && !p.number(j-1) && loose(p.between(j, i)) {
			return j, i, v, months()[string(p.word(j))]
		}
	case n <= 2 && joined(next) && p.tok[next].size() == 4 && !joined(i+2):
		y, _ = p.num(next)
		return i, next, y, v
	}
	return 0, 0, 0, 0
}
