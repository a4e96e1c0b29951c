package leak

import "bytes"

// A spelling is a stretch of tokens that the roster has as a code.
type spelling struct {
	code
	first, last int      // tokens
	size        int      // letters and digits
	initial     byte     // the first of them
	gaps        gapCount // what is between the groups
	allDigits   bool
}

// noCodes say why a spelling of a code of the roster is no code after all.
var noCodes = []rule[*spelling, bool]{
	{"in groups, though it counts in one piece alone",
		func(_ *page, x *spelling) bool { return x.whole && x.gaps.all > 0 }, true},
	{"several numbers of a table, or a decimal number",
		func(p *page, x *spelling) bool { return x.allDigits && p.table(x) }, true},
	{"cut short, and alone in a cell of a table",
		func(p *page, x *spelling) bool {
			return x.cut && x.size < 9 && x.first == x.last && p.fenced(x.first)
		}, true},
	{"the end of a telephone number with another area code",
		func(p *page, x *spelling) bool { return x.cut && x.class == "D" && p.otherArea(x.first) }, true},
	{"short, or in a jumble, and letters or digits touch it",
		func(p *page, x *spelling) bool {
			touched := p.tok[x.first].glued || x.last+1 < len(p.tok) && p.tok[x.last+1].glued
			return touched && (x.size < 7 || p.runLen(x.first) > 4 || p.runLen(x.last) > 4)
		}, true},
	{"none of the words before it that must be there",
		func(p *page, x *spelling) bool {
			return !x.context.empty() && !p.before(x.first, 4).meets(x.context)
		}, true},
	{"no person's number",
		func(p *page, x *spelling) bool { return x.near && !p.numbered(x.first) }, true},
	{"five digits or so that no word calls a postal code, and something else does otherwise",
		func(p *page, x *spelling) bool {
			return x.class == "B" && x.conf == Possible && !p.before(x.first, 3).has(cuePostal) && p.noPostal(x)
		}, true},
}

// notPostal are words whose number behind them is no postal code.
var notPostal = setOf(cueThing, cueIdentifier, cueVersion, cueAccount, cueInsurance, cuePhone)

// noPostal reports whether x belongs to something else, or is a part of a number.
func (p *page) noPostal(x *spelling) bool {
	return p.listed(x.first, 3).meets(notPostal) || x.gaps.all > 0 || !p.bare(x.first, x.last) ||
		p.cues(x.last+1).has(cueUnit) && len(bytes.Trim(p.after(x.last), " ")) == 0
}

// findCode looks for the roster's codes that begin with token i.
func (p *page) findCode(i int) {
	if p.decimals(i) || p.tok[i].glued && p.runLen(i) > 4 { // the latter within a jumble such as a digest
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

// emitCode emits x unless something speaks against it. A possible postal code is a
// likely one behind a word for one.
func (p *page) emitCode(x *spelling) {
	if decide(p, noCodes, x) {
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

// numbered reports whether the number i is a person's: right behind a word for one
// ("subject 17", "pt no. 017"), and not how many or how much of something.
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

// otherArea reports whether a telephone number that begins with +, an opening
// bracket, a 0 or three digits joined by a hyphen or a full stop leads up to token
// i: what begins at i is only its end, and had the area code been the subscriber's,
// the whole number would have been found.
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

// A gapCount counts what is between the groups of a number.
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

// table reports whether x, of digits alone, is rather several numbers of a table or
// one decimal number than one number in groups.
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
		return true // one number a line
	}
	if g.spaces < g.all {
		return false
	}
	before := i > 0 && p.tok[i-1].number && string(p.gap(i)) == " "
	after := p.number(x.last+1) && string(p.gap(x.last+1)) == " "
	return before && after || short && (before || after)
}

// grouped reports whether more than one full stop divides the digits around i.
func (p *page) grouped(i int) bool {
	return i > 1 && p.number(i-2) && string(p.gap(i-1)) == "." || p.number(i+1) && string(p.gap(i+1)) == "."
}

// bare reports whether tokens i to j are no part of a longer number.
func (p *page) bare(i, j int) bool {
	joined := func(k int) bool {
		return len(p.gap(k)) == 0 || len(p.gap(k)) == 1 && bytes.ContainsAny(p.gap(k), " .-:+'()_")
	}
	return !(p.number(i-1) && joined(i)) && !(p.number(j+1) && joined(j+1))
}

// withSign returns where token i begins with a + or an opening bracket before it.
func (p *page) withSign(i int) int {
	s := p.tok[i].s
	for s > 0 && (p.fold.b[s-1] == '+' || p.fold.b[s-1] == '(') {
		s--
	}
	return s
}
