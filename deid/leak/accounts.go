package leak

// iban finds an account number whose check digits are right (ISO 13616), in the run
// whose second token is i.
func (p *page) iban(i int) bool {
	if p.tok[i].piece != 1 || p.tok[i].size() < 2 || p.tok[i-1].size() != 2 {
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

// nextGroup reports whether token i is a number, and only a blank or a hyphen separates
// it from the token before.
func (p *page) nextGroup(i int) bool {
	return p.number(i) && (string(p.gap(i)) == " " || string(p.gap(i)) == "-")
}

// writtenDate reports whether a date begins at token i that has more than digits.
func (p *page) writtenDate(i int) bool {
	d := p.readDate(i)
	return len(d.readings) > 0 && !d.readings[0].compact
}

// account finds a number after a word for a bank or an insurer; near holds the cue of
// that word.
func (p *page) account(i int, near cueSet) bool {
	if p.tok[i].piece > 1 {
		return false
	}
	first := p.runStart(i)
	last := p.runEnd(i)
	for p.nextGroup(last + 1) {
		last = p.runEnd(last + 1)
	}
	n, d := 0, 0
	for k := first; k <= last; k++ {
		n += p.tok[k].size()
		if p.tok[k].number {
			d += p.tok[k].size()
		}
	}
	if d < 5 || n < 6 || n > 34 || p.measured(last) || p.writtenDate(i) {
		return false
	}
	if near.has(cueAccount) {
		p.emit(p.tok[first].s, p.tok[last].e, "J", "pattern: account number", Likely)
	} else {
		p.emit(p.tok[first].s, p.tok[last].e, "I", "pattern: health-plan number", Likely)
	}
	return true
}

// record finds a number after a word for a patient's record or a passport, and the
// number of a payment card by its form and Luhn digit (ISO/IEC 7812-1).
func (p *page) record(i int) {
	if p.tok[i].piece > 1 || p.tok[i].size() < 2 && !p.number(i+1) {
		return
	}
	first, last, d := p.runStart(i), i, p.tok[i].size()
	for p.nextGroup(last + 1) {
		last++
		d += p.tok[last].size()
	}
	if d < 6 || d > 19 || p.measured(last) {
		return
	}
	if d == 16 && p.card(i, last) && p.nearest(first, 4, setOf(cueThing)).empty() {
		p.emit(p.tok[i].s, p.tok[last].e, "J", "pattern: card number", Likely)
		return
	}
	if !p.nearest(first, 3, setOf(cueRecord, cueThing)).has(cueRecord) || p.writtenDate(i) {
		return
	}
	p.report(p.tok[first].s, p.tok[last].e, p.recordReason(first))
}

// card reports whether tokens i to last have the form of a payment card's number.
func (p *page) card(i, last int) bool {
	return string(p.sizes(nil, i, last)) == "4444" && luhn(p.fold.b[p.tok[i].s:p.tok[last].e])
}

// recordReason returns the kind of the number at token first, by the three words before
// it.
func (p *page) recordReason(first int) reason {
	why := reason{"H", "pattern: record number", Possible}
	for k := first - 1; k >= 0 && k >= first-3; k-- {
		switch string(p.word(k)) {
		case "passport", "identity", "identification":
			why = reason{"R", "pattern: document number", Possible}
		case "ssn", "social":
			why = reason{"G", "pattern: social security number", Possible}
		}
	}
	return why
}

// plate finds a registration after a word for a vehicle: four to nine letters and
// digits, with at least one letter.
func (p *page) plate(i int) bool {
	first, last, letters := i, i, 0
	for first > 0 && i-first < 2 && p.plateLetters(first-1) && len(p.gap(first)) < 2 &&
		!p.cues(first-1).hasAny(cuePlate, cueNotName) {
		first--
		letters += p.tok[first].size()
	}
	if k := last + 1; k < len(p.tok) && p.plateLetters(k) && (p.tok[k].glued || p.tok[k].size() == 3 &&
		string(p.gap(k)) == " " && p.cues(k).empty()) {
		last++
		letters += p.tok[last].size()
	}
	n := letters + p.tok[i].size()
	if letters == 0 || n < 4 || n > 9 {
		return false
	}
	p.emit(p.tok[first].s, p.tok[last].e, "L", "pattern: vehicle registration", Likely)
	return true
}

// plateLetters reports whether token k can be a group of letters of a registration: up
// to three, in capitals or touching a number.
func (p *page) plateLetters(k int) bool {
	t := &p.tok[k]
	if t.number || t.size() > 3 {
		return false
	}
	return p.caseOf(k) == allCaps || t.size() == 1 && p.caseOf(k) == capital ||
		t.piece > 0 || k+1 < len(p.tok) && p.tok[k+1].glued
}
