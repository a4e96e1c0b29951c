package leak

import "bytes"

// A groupedNumber is a number written in groups of digits. The page reuses one, which
// saves an allocation per number.
type groupedNumber struct {
	first, last int      // tokens
	digits      []byte   // of all groups
	gaps        [][]byte // between the groups
	sizes       []byte   // the lengths of the groups: "334"
	start       int      // in the folded text, including + or (
	plus        bool
	near        cueSet // see keyCues

	digitRoom [16]byte
	gapRoom   [16][]byte
	sizeRoom  [16]byte
}

// readGroups reads the groups of digits that begin at token i into p.groups. The result
// is valid until the next call.
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

// sizes appends to b the lengths of tokens i to last as decimal digits: "334".
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

// between reports whether the number has three groups, separated by mark.
func (g *groupedNumber) between(mark string) bool {
	return len(g.gaps) == 2 && bytes.Equal(g.gaps[0], g.gaps[1]) && string(g.gaps[0]) == mark
}

// decimal reports whether the number is two groups with a full stop between them.
func (g *groupedNumber) decimal() bool { return len(g.gaps) == 1 && string(g.gaps[0]) == "." }

// socialSecurity reports whether the number has the form of a US social security number,
// with mark between its groups.
func (g *groupedNumber) socialSecurity(mark string) bool {
	return string(g.sizes) == "324" && g.between(mark)
}

// healthService reports whether the number has the check digit of an NHS number, and no
// word before it names a thing or a version.
func (g *groupedNumber) healthService() bool {
	return len(g.digits) == 10 && nhs(g.digits) && !g.near.hasAny(cueThing, cueVersion)
}

// threeThreeFour reports whether the number has the usual groups of an NHS number.
func (g *groupedNumber) threeThreeFour() bool {
	return string(g.sizes) == "334" && len(g.gaps) == 2 && bytes.Equal(g.gaps[0], g.gaps[1]) && string(g.gaps[0]) != "."
}

// personNumbers finds numbers of persons that have the form of telephone numbers; they
// are tried first.
var personNumbers = []rule[*groupedNumber, reason]{
	{"123-45-6789, which could have been issued",
		func(_ *page, g *groupedNumber) bool { return g.socialSecurity("-") && issued(g.digits) },
		reason{"G", "pattern: social security number", Likely}},
	{"123-45-6789, which cannot have been issued: perhaps mistyped",
		func(_ *page, g *groupedNumber) bool { return g.socialSecurity("-") },
		reason{"G", "pattern: social security number", Possible}},
	{"123 45 6789 after a word for an identifier",
		func(p *page, g *groupedNumber) bool {
			return g.socialSecurity(" ") && p.before(g.first, 4).has(cueIdentifier)
		},
		reason{"G", "pattern: social security number", Possible}},
	{"an NHS number with the right check digit, after a word for an identifier",
		func(p *page, g *groupedNumber) bool {
			return g.healthService() && (g.threeThreeFour() || string(g.sizes) == "10") &&
				p.before(g.first, 4).has(cueIdentifier)
		},
		reason{"R", "pattern: NHS number", Sure}},
	{"an NHS number in its groups",
		func(_ *page, g *groupedNumber) bool { return g.healthService() && g.threeThreeFour() },
		reason{"R", "pattern: NHS number", Likely}},
}

// phoneRules decide how certain it is that a number is a telephone number.
var phoneRules = []rule[*groupedNumber, Confidence]{
	{"a + and a country code",
		func(_ *page, g *groupedNumber) bool { return g.plus && g.digits[0] != '0' && !g.decimal() }, Likely},
	{"after a word for telephones",
		func(_ *page, g *groupedNumber) bool { return g.near.hasAny(cuePhone, cueFax) && !g.decimal() }, Likely},
	{"after a word for a thing or a version, in one piece, or a decimal number",
		func(_ *page, g *groupedNumber) bool {
			return g.near.hasAny(cueThing, cueVersion) || len(g.gaps) == 0 || g.decimal()
		}, ""},
	{"020 7946 0018: nine to twelve digits, beginning with a 0",
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

// phone finds a telephone number, a US social security number or an NHS number at token
// i. near holds the nearest cue before it.
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

// isDate reports whether the number is a date. Digits alone are not a date after a word
// for telephones.
func (p *page) isDate(g *groupedNumber) bool {
	d := p.readDate(g.first)
	return len(d.readings) > 0 && d.first <= g.first && d.last >= g.last &&
		(!g.near.has(cuePhone) || !d.readings[0].compact)
}
