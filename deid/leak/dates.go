package leak

import (
	"bytes"
	"slices"
	"strconv"
	"strings"
)

// parseISO reads YYYY-MM-DD.
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

// plausible says whether a person could write the date of themselves.
func plausible(y, m, d int) bool {
	return 1880 <= y && y <= 2100 && 1 <= m && m <= 12 && 1 <= d && d <= 31
}

// num returns the value of the number token i, and how many digits it has.
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

// A reading is one way to understand a date.
type reading struct {
	birth
	short   bool // a year of two digits
	noYear  bool
	compact bool // digits only
	weak    bool // six digits, or three numbers with blanks between: many things look so
	month   bool // the month is a word
}

// findDate reads the dates that begin with the number i, and those with a month
// word before it.
func (p *page) findDate(i int) {
	glued := p.tok[i].glued // to a word: geb04041979
	if glued && p.runStart(i) < i-1 {
		return
	}
	if p.number(i-1) && len(p.gap(i)) == 1 && bytes.ContainsAny(p.gap(i), "./-") {
		return // within a longer number
	}
	if p.kinds&kMonth == 0 && p.tok[i].e-p.tok[i].s != 8 && p.tok[i].e-p.tok[i].s != 6 && p.tok[i].e-p.tok[i].s != 4 && !p.number(i+1) && !p.roman(i+1) {
		return
	}
	if !glued && p.findMonth(i) {
		return
	}
	start, last, rs := p.readDate(i)
	if len(rs) == 0 {
		return
	}
	s, e := p.tok[start].s, p.tok[last].e
	context := p.before(start, 6)
	after := p.following(last, 3)
	if glued {
		rs = slices.DeleteFunc(rs, func(r reading) bool { return r.noYear || (r.short || r.weak || r.compact) && context&kBirth == 0 })
		if len(rs) == 0 || start < i {
			return
		}
		context, after = context&kBirth|p.kind(i-1), 0 // what stands further off speaks of something else
	}
	for _, r := range rs {
		if r.noYear || !p.lex.births[r.birth] {
			continue
		}
		conf := Sure
		if r.short || r.compact {
			conf = Likely
			if context&kBirth == 0 && context&kVersion != 0 {
				continue
			}
		}
		if r.weak && context&kBirth == 0 {
			if conf = Possible; (context|after)&(kThing|kCode|kPhone|kPlace|kAccount|kPlate|kUnit) != 0 || p.measured(last) {
				continue
			}
		}
		p.emit(s, e, "C", "roster: birth_date", conf)
		return
	}
	r := rs[0]
	switch {
	case p.inner, r.compact && context&kBirth == 0:
		return
	case context&kBirth != 0:
		p.emit(s, e, "C", "pattern: date", Likely)
	case (context|after)&(kThing|kVersion) != 0, r.noYear && !r.month:
		return
	case r.short && (context&(kPlace|kCode) != 0 || p.measured(last)):
		return
	case r.noYear && p.measured(last):
		return
	default:
		p.emit(s, e, "C", "pattern: date", Possible)
	}
}

// readDate returns the tokens a date spans and its readings.
func (p *page) readDate(i int) (start, last int, rs []reading) {
	v, n := p.num(i)
	if n == 8 && !p.number(i+1) {
		w := p.word(i)
		at := func(a, b int) int { x, _ := strconv.Atoi(string(w[a:b])); return x }
		for _, b := range []birth{{at(0, 4), at(4, 6), at(6, 8)}, {at(4, 8), at(2, 4), at(0, 2)}, {at(4, 8), at(0, 2), at(2, 4)}} {
			if plausible(b.y, b.m, b.d) {
				rs = append(rs, reading{birth: b, compact: true})
			}
		}
		return i, i, rs
	}
	if n == 6 && !p.number(i+1) { // 090147, 470109
		w := p.word(i)
		at := func(a int) int { x, _ := strconv.Atoi(string(w[a : a+2])); return x }
		for _, b := range []birth{{at(4), at(2), at(0)}, {at(4), at(0), at(2)}, {at(0), at(2), at(4)}} {
			rs = years(b.y, true, b.m, b.d, rs)
		}
		for k := range rs {
			rs[k].compact, rs[k].weak = true, true
		}
		return i, i, rs
	}
	if n == 4 && p.is(i+1, yearSigns) && p.number(i+2) && p.is(i+3, monthSigns) && p.number(i+4) && p.is(i+5, daySigns) {
		m, _ := p.num(i + 2)
		d, _ := p.num(i + 4)
		if plausible(v, m, d) {
			rs = append(rs, reading{birth: birth{v, m, d}, month: true})
		}
		return i, i + 5, rs
	}
	if n <= 2 && p.roman(i+1) && p.number(i+2) && loose(p.between(i, i+2)) { // 9.I.1947
		if y, short, ok := p.year(i + 2); ok && !short && plausible(y, romans[string(p.word(i+1))], v) {
			return i, i + 2, []reading{{birth: birth{y, romans[string(p.word(i+1))], v}, month: true}}
		}
	}
	// January 9, 1947; Jan 9th 47; January 9
	if j := p.filler(i-1, -1); n <= 2 && p.kind(j)&kMonth != 0 && loose(p.between(j, i)) && !p.number(j-1) {
		m := months[string(p.word(j))]
		if p.kind(j)&kFunction != 0 && p.caseOf(j) == lowerCase && p.kind(j-1)&kBefore == 0 {
			return 0, 0, nil // you may 2 times
		}
		k := p.filler(i+1, 1)
		if p.number(k) && loose(p.between(i, k)) {
			if y, short, ok := p.year(k); ok && !p.clock(k) {
				rs = years(y, short, m, v, rs)
				for q := range rs {
					rs[q].month = true
				}
				return j, k, rs
			}
		}
		if v >= 1 && v <= 31 && !p.clock(i) {
			rs = append(rs, reading{birth: birth{0, m, v}, noYear: true, month: true})
		}
		return j, i, rs
	}
	// 9 January 1947; 9th of January 47; 09Jan1947; 1947-Jan-09
	if j := p.filler(i+1, 1); p.kind(j)&kMonth != 0 && loose(p.between(i, j)) {
		m := months[string(p.word(j))]
		k := p.filler(j+1, 1)
		if n == 4 {
			if p.number(k) && loose(p.between(j, k)) {
				if d, dn := p.num(k); dn <= 2 && plausible(v, m, d) {
					return i, k, []reading{{birth: birth{v, m, d}, month: true}}
				}
			}
			return 0, 0, nil
		}
		if n > 2 || v < 1 || v > 31 {
			return 0, 0, nil
		}
		if p.number(k) && loose(p.between(j, k)) {
			if y, short, ok := p.year(k); ok && !p.clock(k) {
				rs = years(y, short, m, v, rs)
				for q := range rs {
					rs[q].month = true
				}
				return i, k, rs
			}
		}
		if p.kind(j)&kFunction != 0 && p.caseOf(j) == lowerCase {
			return 0, 0, nil
		}
		return i, j, []reading{{birth: birth{0, m, v}, noYear: true, month: true}}
	}
	// Three numbers.
	if !p.number(i+1) || !p.number(i+2) || p.tok[i+1].glued || p.tok[i+2].glued {
		return 0, 0, nil
	}
	g := bytes.Trim(p.gap(i+1), " ")
	if !bytes.Equal(g, bytes.Trim(bytes.TrimSuffix(p.gap(i+2), []byte("'")), " ")) || len(g) > 1 || len(p.gap(i+1)) > 3 || len(p.gap(i+2)) > 3 || len(g) == 1 && !bytes.ContainsAny(g, "./-_") {
		return 0, 0, nil
	}
	if p.number(i+3) && len(g) == 1 && bytes.Equal(p.gap(i+3), g) {
		return 0, 0, nil
	}
	a, an := v, n
	b, bn := p.num(i + 1)
	c, cn := p.num(i + 2)
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
			return 0, 0, nil
		}
		rs = years(y, short, b, a, rs)
		rs = years(y, short, a, b, rs)
		if short { // 47-01-09
			rs = years(a, true, b, c, rs)
		}
	}
	if len(g) == 0 { // spaces only: too weak without the roster
		for k := range rs {
			rs[k].compact, rs[k].weak = true, cn == 2
		}
	}
	return i, i + 2, rs
}

// findMonth finds a month and its year without a day, where a subject was born in
// that month or the words around say that somebody was: 07/1947, 1947-07, July 1947.
func (p *page) findMonth(i int) bool {
	v, n := p.num(i)
	next := i + 1
	start, last, y, m := i, i, 0, 0
	slash := func(k int) bool { return p.number(k) && len(p.gap(k)) == 1 && bytes.ContainsAny(p.gap(k), "./-") }
	switch j := p.filler(i-1, -1); {
	case n == 4 && p.kind(j)&kMonth != 0 && !p.number(j-1) && loose(p.between(j, i)) && !slash(next):
		start, y, m = j, v, months[string(p.word(j))]
	case n == 4 && slash(next) && !slash(i+2):
		last, y = next, v
		m, _ = p.num(next)
	case n <= 2 && slash(next) && p.tok[next].e-p.tok[next].s == 4 && !slash(i+2):
		last, m = next, v
		y, _ = p.num(next)
	default:
		return false
	}
	if !plausible(y, m, 1) {
		return false
	}
	context := p.before(start, 6)
	known := p.lex.births[birth{y, m, 0}]
	switch {
	case context&kBirth != 0 && known:
		p.emit(p.tok[start].s, p.tok[last].e, "C", "roster: birth_date", Likely)
	case context&kBirth != 0:
		p.emit(p.tok[start].s, p.tok[last].e, "C", "pattern: date", Likely)
	case known && (context|p.following(last, 3))&(kThing|kVersion|kCode) == 0:
		p.emit(p.tok[start].s, p.tok[last].e, "C", "roster: birth_date", Possible)
	default:
		return false
	}
	return true
}

// Signs of Chinese, Japanese and Korean dates, folded.
var (
	yearSigns  = [2]string{foldString("年"), foldString("년")}
	monthSigns = [2]string{foldString("月"), foldString("월")}
	daySigns   = [2]string{foldString("日"), foldString("일")}
)

// is says whether token i is one of the words.
func (p *page) is(i int, words [2]string) bool {
	return i < len(p.tok) && (string(p.word(i)) == words[0] || string(p.word(i)) == words[1])
}

// romans are months as some write them between a day and a year.
var romans = map[string]int{"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6, "vii": 7, "viii": 8, "ix": 9, "x": 10, "xi": 11, "xii": 12}

func (p *page) roman(i int) bool {
	return i < len(p.tok) && p.caseOf(i) != lowerCase && romans[string(p.word(i))] > 0
}

// years appends the readings of a year of two or four digits.
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

// clock says whether token k is the hour of a time of day.
func (p *page) clock(k int) bool {
	g := p.after(k)
	return len(g) > 0 && g[0] == ':' && p.number(k+1)
}

// filler passes over an ordinal ending and "of" from token i on.
func (p *page) filler(i, step int) int {
	for n := 0; n < 3 && i >= 0 && i < len(p.tok) && !p.tok[i].number; n, i = n+1, i+step {
		switch string(p.word(i)) {
		case "st", "nd", "rd", "th", "of", "er", "de", "del", "di", "den", "the", "le", "o", "a", "e", "ste", "van", "von":
		default:
			return i
		}
	}
	return i
}

// between returns the folded text from token a to token b.
func (p *page) between(a, b int) []byte {
	if a < 0 || b >= len(p.tok) || a >= b {
		return []byte("?")
	}
	return p.fold.b[p.tok[a].e:p.tok[b].s]
}

// loose says whether g can stand between the parts of a written date.
func loose(g []byte) bool {
	if len(g) > 12 || bytes.Count(g, []byte("\n")) > 1 {
		return false
	}
	return !bytes.ContainsAny(g, ";:!?+=()")
}
