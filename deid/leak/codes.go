package leak

import "bytes"

// A spelling is a span of tokens whose letters and digits are a code of the roster.
type spelling struct {
	code
	first, last int      // tokens
	size        int      // letters and digits
	initial     byte     // the first of them
	gaps        gapCount // between the groups
	allDigits   bool
}

// notCodes are the cases in which a spelling is not reported.
var notCodes = []rule[*spelling, bool]{
	{"in groups, although it counts only in one piece",
		func(_ *page, x *spelling) bool { return x.whole && x.gaps.all > 0 }, true},
	{"several numbers of a table, or a decimal number",
		func(p *page, x *spelling) bool { return x.allDigits && p.table(x) }, true},
	{"shortened, and alone in a cell of a table",
		func(p *page, x *spelling) bool {
			return x.cut && x.size < 9 && x.first == x.last && p.fillsCell(x.first)
		}, true},
	{"the end of a telephone number with another area code",
		func(p *page, x *spelling) bool { return x.cut && x.class == "D" && p.otherArea(x.first) }, true},
	{"short, or in a long mixed run, and touched by letters or digits",
		func(p *page, x *spelling) bool {
			touched := p.tok[x.first].glued || x.last+1 < len(p.tok) && p.tok[x.last+1].glued
			return touched && (x.size < 7 || p.runLen(x.first) > 4 || p.runLen(x.last) > 4)
		}, true},
	{"without any of the words that must precede it",
		func(p *page, x *spelling) bool {
			return !x.context.empty() && !p.before(x.first, 4).meets(x.context)
		}, true},
	{"not a person's number",
		func(p *page, x *spelling) bool { return x.near && !p.numbered(x.first) }, true},
	{"about five digits that no word calls a postal code, and that may be something else",
		func(p *page, x *spelling) bool {
			return x.class == "B" && x.conf == Possible && !p.before(x.first, 3).has(cuePostal) && p.noPostal(x)
		}, true},
}

// notPostal are the cues after which a number is not a postal code.
var notPostal = setOf(cueThing, cueIdentifier, cueVersion, cueAccount, cueInsurance, cuePhone)

// noPostal reports whether the context of x shows that it is not a postal code.
func (p *page) noPostal(x *spelling) bool {
	return p.listed(x.first, 3).meets(notPostal) || x.gaps.all > 0 || !p.bare(x.first, x.last) ||
		p.cues(x.last+1).has(cueUnit) && len(bytes.Trim(p.after(x.last), " ")) == 0
}

// findCode finds the codes of the roster that begin with token i, with any separators
// that codeGap allows.
func (p *page) findCode(i int) {
	if p.decimals(i) || p.tok[i].glued && p.runLen(i) > 4 { // the latter within a mixed run such as a digest
		return
	}
	h := uint32(0)
	var buf [maxCode]byte
	x := &p.spelling
	*x = spelling{first: i, initial: p.fold.b[p.tok[i].s], allDigits: true}
	for j := i; j < len(p.tok); j++ {
		if j > i {
			gap := p.gap(j)
			if !codeGap(gap) {
				return
			}
			x.gaps.add(gap)
		}
		w := p.word(j)
		if x.size+len(w) > maxCode {
			return
		}
		x.size += copy(buf[x.size:], w)
		for _, c := range w {
			h = hash(h, c)
		}
		x.last, x.allDigits = j, x.allDigits && p.tok[j].number
		if !p.lex.prefixes.has(h) {
			return
		}
		if !p.lex.codeLen[x.size] || !p.lex.codeBits.has(h) {
			continue
		}
		if k, ok := p.lex.codes[string(buf[:x.size])]; ok {
			x.code = p.lex.kinds[k]
			p.emitCode(x)
		}
	}
}

// emitCode emits x unless notCodes excludes it. After a word for postal codes a
// possible one becomes likely.
func (p *page) emitCode(x *spelling) {
	if decide(p, notCodes, x) {
		return
	}
	if x.class == "B" && x.conf == Possible && p.before(x.first, 3).has(cuePostal) {
		x.conf = Likely
	}
	p.emit(p.withSign(x.first), p.tok[x.last].e, x.class, x.basis, x.conf)
}

// decimals reports whether token i holds the decimals of a number.
func (p *page) decimals(i int) bool {
	return p.number(i) && i > 0 && p.number(i-1) && string(p.gap(i)) == "." && p.tok[i-1].size() < 3 && !p.grouped(i)
}

// numbered reports whether the number i is a person's: it directly follows a word for a
// person ("subject 17", "pt no. 017"), and is not a count or a quantity.
func (p *page) numbered(i int) bool {
	k := i - 1
	if k > 0 && p.cues(k).has(cueIdentifier) {
		k--
	}
	if !p.cues(k).has(cueSubject) || p.measured(i) {
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

// otherArea reports whether token i is within a telephone number that begins earlier,
// with +, an opening bracket, a 0 or three digits and a hyphen or full stop. The digits
// from i on are then only its end. If the area code were the one of the roster, the
// search would have found the whole number.
func (p *page) otherArea(i int) bool {
	k, digits := i, 0
	for k > 0 && p.number(k-1) && codeGap(p.gap(k)) && len(p.gap(k)) <= 2 {
		k--
		digits += p.tok[k].size()
	}
	if k == i {
		return false
	}
	g := string(p.gap(k + 1))
	trunk := p.fold.b[p.tok[k].s] == '0' && digits >= 3                            // 0161 555 0123
	joined := digits == 3 && k == i-1 && (g == "-" || g == ".") && !p.tok[k].glued // 646-555-0123
	return digits >= 2 && p.withSign(k) < p.tok[k].s || trunk || joined
}

// A gapCount counts the gaps between the groups of a number by kind.
type gapCount struct{ all, dots, spaces, lines int }

// add counts the gap g. An empty gap, between letters and digits, does not count.
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

// table reports whether x, which has only digits, is probably several numbers of a
// table or one decimal number, and not one number in groups.
func (p *page) table(x *spelling) bool {
	g, i, short := x.gaps, x.first, x.size < 9
	parting := g.spaces + g.lines
	switch {
	case g.all == 0:
		return false
	case g.all == 1 && g.dots == 1 && x.size < 10 && x.initial != '0': // 635.49201
		return true
	case g.dots >= parting && parting > 0 && g.dots+parting == g.all && (x.initial != '0' || short): // 12.5 13.02
		return true
	case g.lines > 0 && (g.dots > 0 || i == 0 || p.tok[i-1].number || bytes.IndexByte(p.gap(i), '\n') >= 0):
		return true // one number per line
	}
	if g.spaces < g.all {
		return false
	}
	before := i > 0 && p.tok[i-1].number && string(p.gap(i)) == " "
	after := p.number(x.last+1) && string(p.gap(x.last+1)) == " "
	return before && after || short && (before || after)
}

// grouped reports whether the digits around i have more than one full stop in them.
func (p *page) grouped(i int) bool {
	return i > 1 && p.number(i-2) && string(p.gap(i-1)) == "." || p.number(i+1) && string(p.gap(i+1)) == "."
}

// bare reports whether tokens i to j are not part of a longer number.
func (p *page) bare(i, j int) bool {
	joined := func(k int) bool {
		return len(p.gap(k)) == 0 || len(p.gap(k)) == 1 && bytes.ContainsAny(p.gap(k), " .-:+'()_")
	}
	return !(p.number(i-1) && joined(i)) && !(p.number(j+1) && joined(j+1))
}

// withSign returns the start of token i, including + and opening brackets before it.
func (p *page) withSign(i int) int {
	s := p.tok[i].s
	for s > 0 && (p.fold.b[s-1] == '+' || p.fold.b[s-1] == '(') {
		s--
	}
	return s
}
