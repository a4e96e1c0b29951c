package leak

import "bytes"

// A groupedNumber is a number written in groups of digits. It lies in the page and
// is used again, so that a number costs no memory.
type groupedNumber struct {
	first, last int      // tokens
	digits      []byte   // of all groups
	gaps        [][]byte // what is between the groups
	sizes       []byte   // the lengths of the groups: "334"
	start       int      // where it begins in the folded text, with + or (
	plus        bool
	near        cueSet // see keyCues

	digitRoom [16]byte
	gapRoom   [16][]byte
	sizeRoom  [16]byte
}

// readGroups reads the groups of digits that begin at token i.
func (p *page) readGroups(i int) *groupedNumber {
	g := &p.groups
	g.first, g.digits, g.gaps = i, append(g.digitRoom[:0], p.word(i)...), g.gapRoom[:0]
	for g.last = i; p.number(g.last+1) && !p.tok[g.last+1].glued; g.last++ {
		gap := p.gap(g.last + 1)
		if !codeGap(gap) || bytes.ContainsAny(gap, "\n_") || len(g.digits)+len(p.word(g.last+1)) > 16 {
			break
		}
		g.gaps = append(g.gaps, gap)
		g.digits = append(g.digits, p.word(g.last+1)...)
	}
	return g
}

// sizes appends the lengths of the groups from token i to token last to b, one
// after another, each in decimal.
func (p *page) sizes(b []byte, i, last int) []byte {
	for ; i <= last; i++ {
		n := p.tok[i].size()
		if n > 9 {
			b = append(b, '1')
			n -= 10
		}
		b = append(b, byte('0'+n%10))
	}
	return b
}

// between reports whether this mark, and no other, is between three groups.
func (g *groupedNumber) between(mark string) bool {
	return len(g.gaps) == 2 && bytes.Equal(g.gaps[0], g.gaps[1]) && string(g.gaps[0]) == mark
}

// decimal reports whether the number has one full stop in it.
func (g *groupedNumber) decimal() bool { return len(g.gaps) == 1 && string(g.gaps[0]) == "." }

// socialSecurity reports whether the number is written as a US social security number is.
func (g *groupedNumber) socialSecurity(mark string) bool {
	return string(g.sizes) == "324" && g.between(mark)
}

// healthService reports whether the check digit of an NHS number holds, which no
// word says is a thing's.
func (g *groupedNumber) healthService() bool {
	return len(g.digits) == 10 && nhs(g.digits) && !g.near.hasAny(cueThing, cueVersion)
}

// threeThreeFour reports whether an NHS number is written in its groups.
func (g *groupedNumber) threeThreeFour() bool {
	return string(g.sizes) == "334" && len(g.gaps) == 2 && bytes.Equal(g.gaps[0], g.gaps[1]) && string(g.gaps[0]) != "."
}

// personNumbers are the numbers of persons in groups that telephone numbers could
// be taken for.
var personNumbers = []rule[*groupedNumber, reason]{
	{"123-45-6789, which could have been issued",
		func(_ *page, g *groupedNumber) bool { return g.socialSecurity("-") && issued(g.digits) },
		reason{"G", "pattern: social security number", Likely}},
	{"a slip of the pen, if it is one",
		func(_ *page, g *groupedNumber) bool { return g.socialSecurity("-") },
		reason{"G", "pattern: social security number", Possible}},
	{"with blanks, behind a word for an identifier",
		func(p *page, g *groupedNumber) bool {
			return g.socialSecurity(" ") && p.before(g.first, 4).has(cueIdentifier)
		},
		reason{"G", "pattern: social security number", Possible}},
	{"an NHS number that is named and whose check digit holds",
		func(p *page, g *groupedNumber) bool {
			return g.healthService() && (g.threeThreeFour() || string(g.sizes) == "10") &&
				p.before(g.first, 4).has(cueIdentifier)
		},
		reason{"R", "pattern: NHS number", Sure}},
	{"an NHS number in its groups",
		func(_ *page, g *groupedNumber) bool { return g.healthService() && g.threeThreeFour() },
		reason{"R", "pattern: NHS number", Likely}},
}

// phoneRules say how certain it is that a number is a telephone's.
var phoneRules = []rule[*groupedNumber, Confidence]{
	{"a + and a country code",
		func(_ *page, g *groupedNumber) bool { return g.plus && g.digits[0] != '0' && !g.decimal() }, Likely},
	{"behind a word for telephones",
		func(_ *page, g *groupedNumber) bool { return g.near.hasAny(cuePhone, cueFax) && !g.decimal() }, Likely},
	{"of a thing or a version, in one piece, or a decimal number",
		func(_ *page, g *groupedNumber) bool {
			return g.near.hasAny(cueThing, cueVersion) || len(g.gaps) == 0 || g.decimal()
		}, ""},
	{"020 7946 0018: nine to twelve digits behind a 0",
		func(p *page, g *groupedNumber) bool {
			n := len(g.digits)
			return g.digits[0] == '0' && g.digits[1] != '0' && n >= 9 && n <= 12 &&
				p.tok[g.first].size() >= 2 && !p.before(g.first, 3).has(cueIdentifier)
		}, Possible},
	{"(212) 555-0123, 212-555-0123, 212.555.0123",
		func(_ *page, g *groupedNumber) bool {
			return string(g.sizes) == "334" && (g.between("-") || g.between(".") || string(g.gaps[0]) == ") ")
		}, Possible},
	{"an area code in brackets",
		func(p *page, g *groupedNumber) bool { return p.fold.b[g.start] == '(' && len(g.digits) >= 9 }, Possible},
}

// phone finds telephone numbers, and numbers of the SSN's and the NHS's form, at
// token i. near are the cues before it.
func (p *page) phone(i int, near cueSet) {
	if p.tok[i].glued || p.tok[p.runEnd(i)].piece > 0 {
		return
	}
	stop := func(k int) bool { return string(p.gap(k)) == "." }
	if p.tok[i].size() < 7 && (!p.number(i+1) || stop(i+1) && (!p.number(i+2) || !stop(i+2))) {
		return // too short, or a decimal number
	}
	g := p.readGroups(i)
	if len(g.digits) < 7 || g.last+1 < len(p.tok) && p.tok[g.last+1].glued {
		return
	}
	g.start, g.near = p.withSign(i), near
	g.plus = p.fold.b[g.start] == '+' || g.start > 0 && p.fold.b[g.start-1] == '+'
	g.sizes = p.sizes(g.sizeRoom[:0], i, g.last)
	if !g.plus && p.isDate(g) {
		return
	}
	end := p.tok[g.last].e
	grouped := len(g.gaps) > 0
	if (grouped || len(g.digits) == 10) && p.report(p.tok[i].s, end, decide(p, personNumbers, g)) {
		return
	}
	if !grouped && !g.plus && near.empty() || p.measured(g.last) || len(g.digits) > 15 {
		return
	}
	class := Class("D")
	if near.has(cueFax) {
		class = "E"
	}
	if conf := decide(p, phoneRules, g); conf != "" {
		p.emit(g.start, end, class, "pattern: telephone number", conf)
	}
}

// isDate reports whether the number is a date, as far as no word says that it is a
// telephone's.
func (p *page) isDate(g *groupedNumber) bool {
	d := p.readDate(g.first)
	return len(d.readings) > 0 && d.first <= g.first && d.last >= g.last &&
		(!g.near.has(cuePhone) || !d.readings[0].compact)
}
