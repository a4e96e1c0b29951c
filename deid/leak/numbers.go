package leak

import (
	"bytes"
	"strings"
)

// findNumbers visits every number once, and finds codes of the roster, dates, and
// patterns of digits.
func (p *page) findNumbers() {
	for i := 0; i < len(p.tok); i++ {
		if !p.tok[i].number && !p.tok[i].nearNumber {
			continue
		}
		if p.tok[i].nearNumber && !p.tok[i].number && !p.inner {
			p.national(i)
		}
		if len(p.lex.births) > 0 && (p.tok[i].number || p.cues(i).has(cueMonth)) && p.datePart(i) {
			p.findBirth(i)
		}
		if p.tok[i].number {
			if k := p.cell(i); k > 0 {
				i = k - 1
				continue
			}
		}
		if len(p.lex.codes) > 0 && (p.tok[i].number || p.tok[i].size() <= 16) {
			p.findCode(i)
		}
		if p.tok[i].number {
			p.findDate(i)
			if !p.inner {
				p.findNumberPatterns(i)
			}
		}
	}
}

// cell returns the token after the short or decimal number that fills a cell of a table
// at token i, or 0 if there is none. Such a number is nobody's identifier, and tables
// consist mostly of them.
func (p *page) cell(i int) int {
	b := p.fold.b
	s, e, next := p.tok[i].s, p.tok[i].e, i+1
	if e-s > 4 {
		return 0
	}
	if s > 0 && b[s-1] == '-' {
		s--
	}
	if s > 0 && !(b[s-1] == ',' || b[s-1] == ';' || b[s-1] == '\n' || b[s-1] == '\t') {
		return 0
	}
	if e < len(b) && b[e] == '.' && p.number(next) && p.tok[next].s == e+1 {
		e = p.tok[next].e
		next++
	}
	ends := e == len(b) || strings.IndexByte(",;\n\r\t", b[e]) >= 0
	if !ends || s > 1 && b[s-2] == '-' {
		return 0
	}
	return next
}

// fillsCell reports whether token i fills a cell of a table by itself.
func (p *page) fillsCell(i int) bool {
	l, r := p.gap(i), p.after(i)
	in := func(g []byte, at int) bool { return len(g) == 0 || bytes.IndexByte([]byte(",;\n\r\t"), g[at]) >= 0 }
	return !p.tok[i].glued && in(l, len(l)-1) && in(r, 0) && (i > 0 || i+1 < len(p.tok))
}

// keyCues are the cues that name the kind of a number.
var keyCues = setOf(cuePhone, cueFax, cueAccount, cueInsurance, cuePlate, cueThing, cueVersion)

var accountCues = setOf(cueAccount, cueInsurance)

// findNumberPatterns finds the patterns that begin with the number at token i, or
// contain it.
func (p *page) findNumberPatterns(i int) {
	if p.iban(i) || p.address4(i) || p.numberForm(i) {
		return
	}
	p.age(i)
	near := p.nearest(p.runStart(i), 4, keyCues)
	if near.has(cuePlate) && p.plate(i) {
		return
	}
	if near.meets(accountCues) && p.account(i, near) {
		return
	}
	if i > 0 && p.number(i-1) && len(p.gap(i)) > 0 && codeGap(p.gap(i)) {
		return // within a number
	}
	p.phone(i, near)
	p.record(i)
}

// codeGap reports whether g can separate the groups of one number. A comma, a semicolon,
// a colon or a tab cannot: they separate columns and parts of times, where any two
// neighbours would form another number.
func codeGap(g []byte) bool {
	if len(g) > 8 {
		return false
	}
	lines := 0
	for _, c := range g {
		switch c {
		case ' ', '-', '.', '/', '(', ')', '_', '\'', '\r', '+':
		case '\n':
			lines++
		default:
			return false
		}
	}
	return lines < 2 && (len(g) <= 3 || lines == 1)
}
