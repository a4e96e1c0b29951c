package leak

import "bytes"

// codeGap says whether g can stand between the groups of one number. A comma,
// a semicolon, a colon and a tab cannot: they part the columns and clocks of
// recordings, where any two numbers would make a third.
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

// findNumbers visits every number once: codes of the roster, dates, and the
// patterns made of digits.
func (p *page) findNumbers() {
	for i := 0; i < len(p.tok); i++ {
		if !p.tok[i].number && !p.tok[i].beside {
			continue
		}
		if p.tok[i].beside && !p.tok[i].number && !p.inner {
			p.national(i)
		}
		if len(p.lex.births) > 0 && (p.tok[i].number || p.kind(i)&kMonth != 0) && p.datePart(i) {
			p.findBirth(i)
		}
		if p.tok[i].number {
			if k := p.cell(i); k > 0 {
				i = k - 1
				continue
			}
		}
		if len(p.lex.codes) > 0 && (p.tok[i].number || p.tok[i].e-p.tok[i].s <= 16) {
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

// cell returns the token after the short or decimal number that fills a cell of
// a table at token i, and 0 where there is none: nobody's identifier, and most
// of what a recording consists of.
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
	if e < len(b) && !(b[e] == ',' || b[e] == ';' || b[e] == '\n' || b[e] == '\r' || b[e] == '\t') || s > 1 && b[s-2] == '-' {
		return 0
	}
	return next
}

// fenced says whether token i fills a cell of a table by itself.
func (p *page) fenced(i int) bool {
	l, r := p.gap(i), p.after(i)
	in := func(g []byte, at int) bool { return len(g) == 0 || bytes.IndexByte([]byte(",;\n\r\t"), g[at]) >= 0 }
	return !p.tok[i].glued && in(l, len(l)-1) && in(r, 0) && (i > 0 || i+1 < len(p.tok))
}

// findCode looks for the roster's codes that begin with token i.
func (p *page) findCode(i int) {
	if p.number(i) && i > 0 && p.number(i-1) && string(p.gap(i)) == "." && p.tok[i-1].e-p.tok[i-1].s < 3 && !p.grouped(i) {
		return // the decimals of a number
	}
	if p.tok[i].glued && p.runLen(i) > 4 {
		return // within a jumble such as a digest
	}
	h := uint32(0)
	var buf [maxCode]byte
	var g gapCount
	n := 0
	allDigits := true
	for j := i; j < len(p.tok); j++ {
		if j > i {
			gap := p.gap(j)
			if !codeGap(gap) {
				return
			}
			g.add(gap)
		}
		w := p.word(j)
		if n+len(w) > maxCode {
			return
		}
		n += copy(buf[n:], w)
		for _, c := range w {
			h = hash(h, c)
		}
		allDigits = allDigits && p.tok[j].number
		if !p.lex.prefixes.has(h) {
			return
		}
		if !p.lex.codeLen[n] || !p.lex.codeBits.has(h) {
			continue
		}
		k, ok := p.lex.codes[string(buf[:n])]
		if !ok {
			continue
		}
		c := p.lex.kinds[k]
		if c.whole && g.all > 0 || allDigits && p.table(i, j, n, g, buf[0]) {
			continue
		}
		if c.cut && (n < 9 && i == j && p.fenced(i) || c.class == "D" && p.otherArea(i)) {
			continue
		}
		// Letters that touch a number are part of it, unless it is long.
		before := p.tok[i].glued
		after := j+1 < len(p.tok) && p.tok[j+1].glued
		if (before || after) && (n < 7 || p.runLen(i) > 4 || p.runLen(j) > 4) {
			continue
		}
		if c.context != 0 && p.before(i, 4)&c.context == 0 || c.near && !p.numbered(i) {
			continue
		}
		if c.class == "B" && c.conf == Possible {
			k := p.before(i, 3)
			switch {
			case k&kPostal != 0:
				c.conf = Likely
			case p.listed(i, 3)&notPostal != 0 || g.all > 0 || p.kind(j+1)&kUnit != 0 && len(bytes.Trim(p.after(j), " ")) == 0 || !p.bare(i, j):
				continue
			}
		}
		p.emit(p.withSign(i), p.tok[j].e, c.class, c.basis, c.conf)
	}
}

// numbered says whether the number i is a person's: right behind a word for one
// ("subject 17", "pt no. 017"), and not how many or how much of something.
func (p *page) numbered(i int) bool {
	k := i - 1
	if k > 0 && p.kind(k)&kCode != 0 {
		k--
	}
	if p.kind(k)&kPatient == 0 || p.measured(i) {
		return false
	}
	for j := k + 1; j <= i; j++ {
		if g := bytes.Trim(p.gap(j), " #.:-"); len(g) > 0 || len(p.gap(j)) > 3 {
			return false
		}
	}
	if p.fold.b[p.tok[i].s] == '0' || k < i-1 || i+1 == len(p.tok) {
		return true
	}
	after := p.after(i)
	return len(bytes.Trim(after, " ")) > 0 && after[0] != '.' && after[0] != '-' && after[0] != '/' || p.ofPerson(i+1)
}

// otherArea says whether a telephone number that begins with +, an opening
// bracket, a 0 or three digits joined by a hyphen or a full stop leads up to token i: what begins at i is only its end, and had the
// area code been the subscriber's, the whole number would have been found.
func (p *page) otherArea(i int) bool {
	k, digits := i, 0
	for k > 0 && p.number(k-1) && codeGap(p.gap(k)) && len(p.gap(k)) <= 2 {
		k--
		digits += p.tok[k].e - p.tok[k].s
	}
	if k == i {
		return false
	}
	g := string(p.gap(k + 1))
	trunk := p.fold.b[p.tok[k].s] == '0' && digits >= 3                            // 0161 555 0123
	joined := digits == 3 && k == i-1 && (g == "-" || g == ".") && !p.tok[k].glued // 646-555-0123
	return digits >= 2 && p.withSign(k) < p.tok[k].s || trunk || joined
}

// A gapCount counts what stands between the groups of a number.
type gapCount struct{ all, dots, spaces, lines int }

func (c *gapCount) add(g []byte) {
	switch {
	case len(g) == 0:
		return
	case string(g) == ".":
		c.dots++
	case string(g) == " ", string(g) == " -":
		c.spaces++
	case g[0] != '-' && bytes.IndexByte(g, '\n') >= 0:
		c.lines++
	}
	c.all++
}

// table says whether tokens i to j, n digits in all, are rather several numbers
// of a table or one decimal number than one number in groups.
func (p *page) table(i, j, n int, g gapCount, first byte) bool {
	switch {
	case g.all == 0:
		return false
	case g.all == 1 && g.dots == 1 && n < 10 && first != '0': // 635.49201
		return true
	case g.dots >= g.spaces+g.lines && g.spaces+g.lines > 0 && g.dots+g.spaces+g.lines == g.all && (first != '0' || n < 9): // 12.5 13.02
		return true
	case g.lines > 0 && (g.dots > 0 || i == 0 || p.tok[i-1].number || bytes.IndexByte(p.gap(i), '\n') >= 0): // one number a line
		return true
	}
	if g.spaces < g.all {
		return false
	}
	before := i > 0 && p.tok[i-1].number && string(p.gap(i)) == " "
	after := p.number(j+1) && string(p.gap(j+1)) == " "
	return before && after || n < 9 && (before || after)
}

// grouped says whether more than one full stop divides the digits around i.
func (p *page) grouped(i int) bool {
	return i > 1 && p.number(i-2) && string(p.gap(i-1)) == "." || p.number(i+1) && string(p.gap(i+1)) == "."
}

// notPostal are words whose number behind them is no postal code.
const notPostal = kThing | kCode | kVersion | kAccount | kInsurance | kPhone

// listed collects the kinds of up to n words before token i, back to a comma.
func (p *page) listed(i, n int) (k kind) {
	for ; n > 0 && i > 0 && !p.clauseStart(i) && bytes.IndexByte(p.gap(i), ',') < 0; n-- {
		i--
		k |= p.kind(i)
	}
	return k
}

// bare says whether tokens i to j are no part of a longer number.
func (p *page) bare(i, j int) bool {
	joined := func(k int) bool {
		return len(p.gap(k)) == 0 || len(p.gap(k)) == 1 && bytes.ContainsAny(p.gap(k), " .-:+'()_")
	}
	return !(p.number(i-1) && joined(i)) && !(p.number(j+1) && joined(j+1))
}

// measured says whether a unit or a per cent sign follows token j.
func (p *page) measured(j int) bool {
	g := p.after(j)
	if t := bytes.TrimLeft(g, " "); len(t) > 0 && (t[0] == '%' || bytes.HasPrefix(t, []byte("°"))) {
		return true
	}
	return p.kind(j+1)&kUnit != 0 && len(g) < 2
}

// withSign returns where token i begins with a + or an opening bracket before it.
func (p *page) withSign(i int) int {
	s := p.tok[i].s
	for s > 0 && (p.fold.b[s-1] == '+' || p.fold.b[s-1] == '(') {
		s--
	}
	return s
}
