package leak

import (
	"bytes"
	"strings"
)

// nearest returns which of the wanted kinds stands closest before token i in
// its clause, at most n words away.
func (p *page) nearest(i, n int, want kind) kind {
	if p.kinds&want == 0 {
		return 0
	}
	for ; n > 0 && i > 0 && !p.clauseStart(i); n-- {
		i--
		if k := p.kind(i) & want; k != 0 {
			return k
		}
	}
	return 0
}

// findNumberPatterns finds what the number at token i begins, or stands in.
func (p *page) findNumberPatterns(i int) {
	if p.iban(i) || p.address4(i) || p.numberForm(i) {
		return
	}
	p.age(i)
	const keys = kPhone | kFax | kAccount | kInsurance | kPlate | kThing | kVersion
	near := p.nearest(p.runStart(i), 4, keys)
	if near&kPlate != 0 && p.plate(i) {
		return
	}
	if near&(kAccount|kInsurance) != 0 && p.account(i, near) {
		return
	}
	if i > 0 && p.number(i-1) && len(p.gap(i)) > 0 && codeGap(p.gap(i)) {
		return // within a number
	}
	p.phone(i, near)
	p.record(i)
}

// record finds a number behind the words for a patient's record or a passport,
// and payment cards by their form and Luhn digit (ISO/IEC 7812-1).
func (p *page) record(i int) {
	if p.tok[i].piece > 1 || p.tok[i].e-p.tok[i].s < 2 && !p.number(i+1) {
		return
	}
	first, last, d := p.runStart(i), i, p.tok[i].e-p.tok[i].s
	for p.number(last+1) && (string(p.gap(last+1)) == " " || string(p.gap(last+1)) == "-") {
		last++
		d += p.tok[last].e - p.tok[last].s
	}
	if d < 6 || d > 19 || p.measured(last) {
		return
	}
	if d == 16 && string(p.sizes(nil, i, last)) == "4444" && luhn(p.fold.b[p.tok[i].s:p.tok[last].e]) && p.nearest(first, 4, kThing) == 0 {
		p.emit(p.tok[i].s, p.tok[last].e, "J", "pattern: card number", Likely)
		return
	}
	if p.nearest(first, 3, kRecord|kThing)&kRecord == 0 {
		return
	}
	if _, _, rs := p.readDate(i); len(rs) > 0 && !rs[0].compact {
		return
	}
	class, basis := Class("H"), "pattern: record number"
	for k := first - 1; k >= 0 && k >= first-3; k-- {
		switch string(p.word(k)) {
		case "passport", "identity", "identification":
			class, basis = "R", "pattern: document number"
		case "ssn", "social":
			class, basis = "G", "pattern: social security number"
		}
	}
	p.emit(p.tok[first].s, p.tok[last].e, class, basis, Possible)
}

// luhn checks the digits of b, doubling every second from the right.
func luhn(b []byte) bool {
	sum, n := 0, 0
	for k := len(b) - 1; k >= 0; k-- {
		if class[b[k]] != cDigit {
			continue
		}
		v := int(b[k] - '0')
		if n%2 == 1 {
			if v *= 2; v > 9 {
				v -= 9
			}
		}
		sum += v
		n++
	}
	return n > 0 && sum%10 == 0
}

// digitGroups are the groups of one number.
type digitGroups struct {
	last int // token
	d    []byte
	gaps [][]byte // what stands between the groups
	room [16]byte
	more [16][]byte
}

// group reads the groups of digits that begin at token i.
func (p *page) group(i int, g *digitGroups) {
	g.d, g.gaps = append(g.room[:0], p.word(i)...), g.more[:0]
	for g.last = i; p.number(g.last+1) && !p.tok[g.last+1].glued; g.last++ {
		gap := p.gap(g.last + 1)
		if !codeGap(gap) || bytes.ContainsAny(gap, "\n_") || len(g.d)+len(p.word(g.last+1)) > 16 {
			break
		}
		g.gaps = append(g.gaps, gap)
		g.d = append(g.d, p.word(g.last+1)...)
	}
}

// phone finds telephone numbers, and numbers of the SSN's and the NHS's form.
func (p *page) phone(i int, near kind) {
	t := p.tok[i]
	if t.glued || p.tok[p.runEnd(i)].piece > 0 {
		return
	}
	if t.e-t.s < 7 && (!p.number(i+1) || string(p.gap(i+1)) == "." && (!p.number(i+2) || string(p.gap(i+2)) != ".")) {
		return // too short, or a decimal number
	}
	g := &p.groups // used again, so that a number costs no memory
	p.group(i, g)
	last, d, gaps := g.last, g.d, g.gaps
	if len(d) < 7 || last+1 < len(p.tok) && p.tok[last+1].glued {
		return
	}
	s := p.withSign(i)
	plus := p.fold.b[s] == '+' || s > 0 && p.fold.b[s-1] == '+'
	var lengths [16]byte
	sizes := string(p.sizes(lengths[:0], i, last))
	if start, end, rs := p.readDate(i); len(rs) > 0 && !plus && start <= i && end >= last && (near&kPhone == 0 || !rs[0].compact) {
		return
	}
	tight := len(gaps) == 2 && bytes.Equal(gaps[0], gaps[1])
	switch {
	case sizes == "324" && tight && string(gaps[0]) == "-":
		conf := Likely
		if !issued(d) {
			conf = Possible // a slip of the pen, if it is one
		}
		p.emit(t.s, p.tok[last].e, "G", "pattern: social security number", conf)
		return
	case sizes == "324" && tight && string(gaps[0]) == " " && p.before(i, 4)&kCode != 0:
		p.emit(t.s, p.tok[last].e, "G", "pattern: social security number", Possible)
		return
	case len(d) == 10 && nhs(d) && near&(kThing|kVersion) == 0 && (sizes == "334" && tight && string(gaps[0]) != "." || sizes == "10" && p.before(i, 4)&kCode != 0):
		conf := Likely
		if p.before(i, 4)&kCode != 0 { // it is named, and its check digit holds
			conf = Sure
		}
		p.emit(t.s, p.tok[last].e, "R", "pattern: NHS number", conf)
		return
	}
	if p.measured(last) || len(d) > 15 {
		return
	}
	class, conf := Class("D"), Likely
	if near&kFax != 0 {
		class = "E"
	}
	decimal := len(gaps) == 1 && string(gaps[0]) == "."
	switch {
	case plus && d[0] != '0' && !decimal:
	case near&(kPhone|kFax) != 0 && !decimal:
	case near&(kThing|kVersion) != 0 || len(gaps) == 0 || decimal:
		return
	case d[0] == '0' && d[1] != '0' && len(d) >= 9 && len(d) <= 12 && len(p.word(i)) >= 2 && p.before(i, 3)&kCode == 0, // 020 7946 0018
		sizes == "334" && (string(gaps[0]) == "-" && string(gaps[1]) == "-" || string(gaps[0]) == "." && string(gaps[1]) == "." || string(gaps[0]) == ") "), // (212) 555-0123
		p.fold.b[s] == '(' && len(d) >= 9:
		conf = Possible
	default:
		return
	}
	p.emit(s, p.tok[last].e, class, "pattern: telephone number", conf)
}

// sizes appends the lengths of the groups after one another.
func (p *page) sizes(b []byte, i, last int) []byte {
	for ; i <= last; i++ {
		n := p.tok[i].e - p.tok[i].s
		if n > 9 {
			b = append(b, '1')
			n -= 10
		}
		b = append(b, byte('0'+n%10))
	}
	return b
}

func (p *page) runStart(i int) int { return i - int(p.tok[i].piece) }

func (p *page) runEnd(i int) int {
	for i+1 < len(p.tok) && p.tok[i+1].glued {
		i++
	}
	return i
}

// issued says whether nine digits can be a US social security number, or a tax
// number of its form, which begins with 9. Source: SSA, "Social Security Number
// Randomization", questions and answers: areas 000 and 666, group 00 and serial
// 0000 are not issued.
func issued(d []byte) bool {
	area, group, serial := string(d[:3]), string(d[3:5]), string(d[5:])
	taxed := area[0] == '9' && group >= "50" // IRS: groups 50 and above, from memory
	return area != "000" && area != "666" && (area[0] != '9' || taxed) && group != "00" && serial != "0000"
}

// nhs checks ten digits by modulus 11, a remainder of 10 being no number.
// Source: NHS number method; weights 10 to 2.
func nhs(d []byte) bool {
	sum := 0
	for k, c := range d[:9] {
		sum += int(c-'0') * (10 - k)
	}
	check := 11 - sum%11
	return check%11 == int(d[9]-'0') && check != 10
}

// iban finds account numbers whose ISO 13616 check digits hold, from the run
// that token i stands second in.
func (p *page) iban(i int) bool {
	if p.tok[i].piece != 1 || p.tok[i].e-p.tok[i].s < 2 || p.tok[i-1].e-p.tok[i-1].s != 2 {
		return false
	}
	var b []byte
	end := -1
	for j := i - 1; j < len(p.tok) && len(b) <= 34; j++ {
		if g := p.gap(j); j >= i && len(g) > 0 && string(g) != " " && string(g) != "-" {
			break
		}
		b = append(b, p.word(j)...)
		if len(b) >= 15 && len(b) <= 34 && (j+1 == len(p.tok) || !p.tok[j+1].glued) && mod97(b) {
			end = j
		}
	}
	if end < 0 {
		return false
	}
	p.emit(p.tok[i-1].s, p.tok[end].e, "J", "pattern: IBAN", Sure)
	return true
}

func mod97(b []byte) bool {
	r := 0
	for k := range b {
		c := b[(k+4)%len(b)]
		switch {
		case '0' <= c && c <= '9':
			r = (r*10 + int(c-'0')) % 97
		case 'a' <= c && c <= 'z':
			r = (r*100 + int(c-'a') + 10) % 97
		default:
			return false
		}
	}
	return r == 1
}

// address4 finds IPv4 addresses. The words for software before them make them
// versions.
func (p *page) address4(i int) bool {
	if p.tok[i].glued || i > 0 && p.number(i-1) && string(p.gap(i)) == "." {
		return false
	}
	for k := i; k < i+4; k++ {
		if !p.number(k) || k > i && string(p.gap(k)) != "." || p.tok[k].e-p.tok[k].s > 3 {
			return false
		}
		if v, _ := p.num(k); v > 255 {
			return false
		}
	}
	if p.number(i+4) && string(p.gap(i+4)) == "." || p.before(i, 4)&kVersion != 0 {
		return false
	}
	p.emit(p.tok[i].s, p.tok[i+3].e, "O", "pattern: IP address", Likely)
	return true
}

// account finds a number behind the words for a bank or an insurer.
func (p *page) account(i int, near kind) bool {
	if p.tok[i].piece > 1 {
		return false
	}
	first := p.runStart(i)
	last := p.runEnd(i)
	for p.number(last+1) && (string(p.gap(last+1)) == " " || string(p.gap(last+1)) == "-") {
		last = p.runEnd(last + 1)
	}
	n, d := 0, 0
	for k := first; k <= last; k++ {
		n += p.tok[k].e - p.tok[k].s
		if p.tok[k].number {
			d += p.tok[k].e - p.tok[k].s
		}
	}
	if d < 5 || n < 6 || n > 34 || p.measured(last) {
		return false
	}
	if _, _, rs := p.readDate(i); len(rs) > 0 && !rs[0].compact {
		return false
	}
	if near&kAccount != 0 {
		p.emit(p.tok[first].s, p.tok[last].e, "J", "pattern: account number", Likely)
	} else {
		p.emit(p.tok[first].s, p.tok[last].e, "I", "pattern: health-plan number", Likely)
	}
	return true
}

// plate finds a registration behind the words for a vehicle: letters and
// digits together, four to nine of them.
func (p *page) plate(i int) bool {
	first, last, letters := i, i, 0
	short := func(k int) bool {
		n := p.tok[k].e - p.tok[k].s
		return !p.tok[k].number && n <= 3 && (p.caseOf(k) == allCaps || n == 1 && p.caseOf(k) == capital || p.tok[k].piece > 0 || k+1 < len(p.tok) && p.tok[k+1].glued)
	}
	for first > 0 && i-first < 2 && short(first-1) && len(p.gap(first)) < 2 && p.kind(first-1)&(kPlate|kPlain) == 0 {
		first--
		letters += p.tok[first].e - p.tok[first].s
	}
	if last+1 < len(p.tok) && short(last+1) && (p.tok[last+1].glued || p.tok[last+1].e-p.tok[last+1].s == 3 && string(p.gap(last+1)) == " " && p.kind(last+1) == 0) {
		last++
		letters += p.tok[last].e - p.tok[last].s
	}
	n := letters + p.tok[i].e - p.tok[i].s
	if letters == 0 || n < 4 || n > 9 {
		return false
	}
	p.emit(p.tok[first].s, p.tok[last].e, "L", "pattern: vehicle registration", Likely)
	return true
}

// age finds ages over 89.
func (p *page) age(i int) {
	v, n := p.num(i)
	if n > 3 || v < 90 || v > 119 || p.tok[i].glued {
		return
	}
	if g := p.after(i); len(g) > 0 && (g[0] == ':' || g[0] == '.' && len(g) == 1 && p.number(i+1) || g[0] == ',' && len(g) == 1 && p.number(i+1)) {
		return
	}
	if p.aged(i, i) {
		p.emit(p.tok[i].s, p.tok[i].e, "C", "pattern: age over 89", Likely)
	}
}

// aged says whether the number in tokens i to j is said to be an age.
func (p *page) aged(i, j int) bool {
	next := func(k int) string {
		if k < len(p.tok) {
			return string(p.word(k))
		}
		return ""
	}
	switch next(j + 1) {
	case "yo", "jahrig", "jahrige":
		return true
	case "y":
		return next(j+2) == "o"
	case "years", "year", "yrs", "yr", "jahre", "ans", "anos", "anni", "jaar":
		w := next(j + 2)
		return w == "old" || w == "of" && next(j+3) == "age" || w == "alt" || w == "oud" || p.before(i, 3)&(kAge|kPerson) != 0
	}
	if p.measured(j) {
		return false
	}
	if p.nearest(i, 3, kAge|kThing|kVersion)&kAge != 0 {
		return true
	}
	if i == 0 || p.clauseStart(i) {
		return false
	}
	switch next(i - 1) {
	case "is", "turns", "turned", "turning", "was":
		w := next(j + 1)
		return (i == 1 || p.clauseStart(i-1) || p.gapHas(i-1, ",") || p.kind(i-2)&kPerson != 0) && w != "and" && w != "to"
	}
	return false
}

func (p *page) gapHas(i int, chars string) bool { return bytes.ContainsAny(p.gap(i), chars) }

// agedWords finds ages over 89 in words, "ninety-eight", "a hundred and two".
func (p *page) agedWords(i int) {
	w := string(p.word(i))
	if w != "ninety" && w != "hundred" && !strings.HasPrefix(w, "ninety") {
		return
	}
	first, last := i, i
	if w == "hundred" && i > 0 && (string(p.word(i-1)) == "one" || string(p.word(i-1)) == "a") {
		first--
	}
	if w == "hundred" && last+2 < len(p.tok) && string(p.word(last+1)) == "and" && p.kind(last+2)&kNumeral != 0 {
		last += 2
	}
	if last+1 < len(p.tok) && p.kind(last+1)&kNumeral != 0 {
		last++
	}
	if p.aged(first, last) {
		p.emit(p.tok[first].s, p.tok[last].e, "C", "pattern: age over 89", Likely)
	}
}
