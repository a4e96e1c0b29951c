package leak

import (
	"bytes"
	"strconv"
	"sync"
)

// A dateLayout is a way to write a date.
type dateLayout struct {
	example string
	digits  int  // of the first number; 0 for any
	next    next // the token after it
	month   bool // only in texts with a word for a month
	read    func(p *page, i int) (d dateText, ok bool)
}

// A next is the kind of token that must follow the first number of a date.
type next uint8

const (
	anything next = iota
	aNumber
	noNumber // a word or the end of the text
)

// dateLayouts are tried in this order. The first that returns ok decides; without
// readings it decides that there is no date.
var dateLayouts = []dateLayout{
	{"19470109, 09011947", 8, noNumber, false, (*page).eightDigits},
	{"090147, 470109", 6, noNumber, false, (*page).sixDigits},
	{"1947年1月9日", 4, noNumber, false, (*page).signedDate},
	{"9.I.1947", 0, noNumber, false, (*page).romanDate},
	{"January 9, 1947; Jan 9th 47; January 9", 0, anything, true, (*page).monthFirst},
	{"9 January 1947; 9th of January 47; 09Jan1947; 1947-Jan-09", 0, noNumber, true, (*page).monthSecond},
	{"09.01.1947, 1/9/47, 1947-01-09", 0, aNumber, false, (*page).threeNumbers},
}

// readDate reads the date that begins with the number i, or with a month word before
// it.
func (p *page) readDate(i int) dateText {
	n, month, other := p.tok[i].size(), p.seen.has(cueMonth), aNumber
	if p.number(i + 1) {
		other = noNumber
	}
	for k := range dateLayouts {
		l := &dateLayouts[k]
		if l.next == other || l.digits > 0 && l.digits != n || l.month && !month {
			continue
		}
		if d, ok := l.read(p, i); ok {
			return d
		}
	}
	return dateText{}
}

// eightDigits reads year, month and day in the three usual orders.
func (p *page) eightDigits(i int) (d dateText, ok bool) {
	w := p.word(i)
	at := func(a, b int) int { x, _ := strconv.Atoi(string(w[a:b])); return x }
	d = dateText{first: i, last: i}
	for _, b := range []birth{
		{at(0, 4), at(4, 6), at(6, 8)},
		{at(4, 8), at(2, 4), at(0, 2)},
		{at(4, 8), at(0, 2), at(2, 4)},
	} {
		if plausible(b.y, b.m, b.d) {
			d.readings = append(d.readings, reading{birth: b, compact: true})
		}
	}
	return d, true
}

// sixDigits is like eightDigits, with two digits of the year.
func (p *page) sixDigits(i int) (d dateText, ok bool) {
	w := p.word(i)
	at := func(a int) int { x, _ := strconv.Atoi(string(w[a : a+2])); return x }
	d = dateText{first: i, last: i}
	for _, b := range []birth{{at(4), at(2), at(0)}, {at(4), at(0), at(2)}, {at(0), at(2), at(4)}} {
		d.readings = years(b.y, true, b.m, b.d, d.readings)
	}
	for k := range d.readings {
		d.readings[k].compact, d.readings[k].weak = true, true
	}
	return d, true
}

// dateSigns maps the East Asian signs for year, month and day to 0, 1 and 2.
var dateSigns = wordNumbers("datesigns")

// signedDate reads a date with these signs after its numbers.
func (p *page) signedDate(i int) (d dateText, ok bool) {
	for n := range 3 {
		k := i + 1 + 2*n
		if sign, ok := dateSigns()[p.wordAt(k)]; !ok || sign != n || n < 2 && !p.number(k+1) {
			return d, false
		}
	}
	year, _ := p.num(i)
	month, _ := p.num(i + 2)
	day, _ := p.num(i + 4)
	d = dateText{first: i, last: i + 5}
	if plausible(year, month, day) {
		d.readings = []reading{{birth: birth{year, month, day}, month: true}}
	}
	return d, true
}

// romanMonths maps the Roman numerals of the months to 1 to 12.
var romanMonths = sync.OnceValue(func() map[string]int {
	m := make(map[string]int)
	for i, w := range wordOrder("romanmonths") {
		m[w] = i + 1
	}
	return m
})

// roman reports whether token i is a month in Roman numerals, in capitals.
func (p *page) roman(i int) bool {
	return i < len(p.tok) && p.caseOf(i) != lowerCase && romanMonths()[string(p.word(i))] > 0
}

// romanDate reads day, month and a year of four digits.
func (p *page) romanDate(i int) (d dateText, ok bool) {
	if p.tok[i].size() > 2 || !p.roman(i+1) || !p.number(i+2) || !loose(p.between(i, i+2)) {
		return d, false
	}
	day, _ := p.num(i)
	month := romanMonths()[string(p.word(i+1))]
	y, short, ok := p.year(i + 2)
	if !ok || short || !plausible(y, month, day) {
		return d, false
	}
	return dateText{i, i + 2, []reading{{birth: birth{y, month, day}, month: true}}}, true
}

// monthFirst reads a date whose day is the number i, after a month word. Without a year
// it is a date too, unless the number is the hour of a time.
func (p *page) monthFirst(i int) (d dateText, ok bool) {
	j := p.filler(i-1, -1)
	if p.tok[i].size() > 2 || !p.cues(j).has(cueMonth) || !loose(p.between(j, i)) || p.number(j-1) {
		return d, false
	}
	if p.cues(j).has(cueFunctionWord) && p.caseOf(j) == lowerCase && !p.cues(j-1).has(cueBeforeMonth) {
		return d, true // you may 2 times
	}
	day, _ := p.num(i)
	month := months()[string(p.word(j))]
	if d, ok := p.dayAndYear(j, day, month, i, p.filler(i+1, 1)); ok {
		return d, true
	}
	d = dateText{first: j, last: i}
	if day >= 1 && day <= 31 && !p.clock(i) {
		d.readings = []reading{{birth: birth{0, month, day}, noYear: true, month: true}}
	}
	return d, true
}

// monthSecond reads a date with a month word after the number i, which is the day or a
// year of four digits.
func (p *page) monthSecond(i int) (d dateText, ok bool) {
	j := p.filler(i+1, 1)
	if !p.cues(j).has(cueMonth) || !loose(p.between(i, j)) {
		return d, false
	}
	v, n := p.num(i)
	month := months()[string(p.word(j))]
	k := p.filler(j+1, 1)
	if n == 4 { // 1947-Jan-09
		if p.number(k) && loose(p.between(j, k)) {
			if day, size := p.num(k); size <= 2 && plausible(v, month, day) {
				d = dateText{i, k, []reading{{birth: birth{v, month, day}, month: true}}}
			}
		}
		return d, true
	}
	if n > 2 || v < 1 || v > 31 {
		return d, true
	}
	if d, ok := p.dayAndYear(i, v, month, j, k); ok {
		return d, true
	}
	if p.cues(j).has(cueFunctionWord) && p.caseOf(j) == lowerCase {
		return d, true
	}
	return dateText{i, j, []reading{{birth: birth{0, month, v}, noYear: true, month: true}}}, true
}

// dayAndYear reads the year at token k after a day and a month, which are tokens first
// to before.
func (p *page) dayAndYear(first, day, month, before, k int) (d dateText, ok bool) {
	if !p.number(k) || !loose(p.between(before, k)) {
		return d, false
	}
	y, short, ok := p.year(k)
	if !ok || p.clock(k) {
		return d, false
	}
	d = dateText{first, k, years(y, short, month, day, nil)}
	for q := range d.readings {
		d.readings[q].month = true
	}
	return d, true
}

// threeNumbers reads three numbers with equal separators, in all usual orders of year,
// month and day.
func (p *page) threeNumbers(i int) (d dateText, ok bool) {
	if !p.number(i+2) || p.tok[i+1].glued || p.tok[i+2].glued {
		return d, false
	}
	between, second := p.gap(i+1), p.gap(i+2)
	mark := bytes.Trim(between, " ")
	switch {
	case !bytes.Equal(mark, bytes.Trim(bytes.TrimSuffix(second, []byte("'")), " ")),
		len(mark) > 1, len(between) > 3, len(second) > 3,
		len(mark) == 1 && !bytes.ContainsAny(mark, "./-_"),
		p.number(i+3) && len(mark) == 1 && bytes.Equal(p.gap(i+3), mark):
		return d, false
	}
	a, an := p.num(i)
	b, bn := p.num(i + 1)
	c, cn := p.num(i + 2)
	var rs []reading
	switch {
	case an == 4 && bn <= 2 && cn <= 2:
		for _, x := range []birth{{a, b, c}, {a, c, b}} {
			if plausible(x.y, x.m, x.d) {
				rs = append(rs, reading{birth: x})
			}
		}
	case an <= 2 && bn <= 2 && (cn == 4 || cn == 2):
		y, short, ok := p.year(i + 2)
		if !ok {
			return d, false
		}
		rs = years(y, short, b, a, rs)
		rs = years(y, short, a, b, rs)
		if short { // 47-01-09
			rs = years(a, true, b, c, rs)
		}
	}
	if len(mark) == 0 { // blanks only: counts only as a date of the roster
		for k := range rs {
			rs[k].compact, rs[k].weak = true, cn == 2
		}
	}
	return dateText{i, i + 2, rs}, true
}

// num returns the value of the number at token i and the count of its digits. With more
// than eight digits the value is 0.
func (p *page) num(i int) (v, n int) {
	w := p.word(i)
	if len(w) > 8 {
		return 0, len(w)
	}
	for _, c := range w {
		v = v*10 + int(c-'0')
	}
	return v, len(w)
}

// years appends to rs the readings of a date with the year y. A short year is read in
// both 2000 and 1900.
func years(y int, short bool, m, d int, rs []reading) []reading {
	if !short {
		if plausible(y, m, d) {
			rs = append(rs, reading{birth: birth{y, m, d}})
		}
		return rs
	}
	for _, c := range []int{2000, 1900} {
		if plausible(c+y, m, d) {
			rs = append(rs, reading{birth: birth{c + y, m, d}, short: true})
		}
	}
	return rs
}

// year reads token k as a year of two or four digits.
func (p *page) year(k int) (y int, short, ok bool) {
	y, n := p.num(k)
	return y, n == 2, n == 2 || n == 4 && 1880 <= y && y <= 2100
}

// clock reports whether token k is the hour of a time of day.
func (p *page) clock(k int) bool {
	g := p.after(k)
	return len(g) > 0 && g[0] == ':' && p.number(k+1)
}

// dateFillers holds ordinal endings, and the words between the parts of a date.
var dateFillers = wordSet("datefillers")

// longestFiller is the length of the longest of them, in bytes.
const longestFiller = 3

// filler returns the first token from i on that is not such a word, going by step (1 or
// -1). It skips at most three.
func (p *page) filler(i, step int) int {
	for n := 0; n < 3 && i >= 0 && i < len(p.tok) && !p.tok[i].number; n, i = n+1, i+step {
		if w := p.word(i); len(w) > longestFiller || !dateFillers()[string(w)] {
			return i
		}
	}
	return i
}

// between returns the folded text between tokens a and b, or "?" if there is no such
// pair.
func (p *page) between(a, b int) []byte {
	if a < 0 || b >= len(p.tok) || a >= b {
		return []byte("?")
	}
	return p.fold.b[p.tok[a].e:p.tok[b].s]
}

// loose reports whether g can separate the parts of a written date.
func loose(g []byte) bool {
	if len(g) > 12 || bytes.Count(g, []byte("\n")) > 1 {
		return false
	}
	return !bytes.ContainsAny(g, ";:!?+=()")
}
