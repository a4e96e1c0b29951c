package leak

import (
	"bytes"
)

// Names that the roster does not list are found after a title, a word for staff or a
// relative, and after "signed by" and the like.

// titleReasons describe a name by the word before it.
var titleReasons = []rule[cueSet, reason]{
	{"a word for the subject", func(_ *page, k cueSet) bool { return k.has(cueSubject) },
		reason{"A", "pattern: patient and name", Possible}},
	{"a relative", func(_ *page, k cueSet) bool { return k.has(cueKin) },
		reason{"A", "pattern: relative and name", Likely}},
	{"a person at work", func(_ *page, k cueSet) bool { return k.has(cueStaff) },
		reason{"A", "pattern: staff and name", Likely}},
	{"a title", always[cueSet], reason{"A", "pattern: title and name", Likely}},
}

// afterTitle finds the capitalised words after a title, a word for staff or a
// relative at token i.
func (p *page) afterTitle(i int) {
	next := p.behindTitle(i)
	if next < 0 {
		return
	}
	if first, last := p.unlistedName(i, next); last >= 0 {
		p.report(p.tok[first].s, p.tok[last].e, decide(p, titleReasons, p.cues(i)))
	}
}

// gapInLine returns the gap before token i, with blanks for line ends.
func (p *page) gapInLine(i int) string {
	return string(bytes.ReplaceAll(p.gap(i), []byte("\n"), []byte(" ")))
}

// behindTitle returns the token at which the name after the title at token i may begin
// ("Ann" in "wife's name is Ann"), or -1 if none can.
func (p *page) behindTitle(i int) int {
	k, next := p.cues(i), i+1
	if next >= len(p.tok) {
		return -1
	}
	kin, person := k.has(cueKin), k.hasAny(cueKin, cueStaff)
	switch p.gapInLine(next) {
	case " ", ". ", ".", "  ":
	case "'", "-":
		if !kin {
			return -1
		}
	case ", ", " (":
		if !person {
			return -1
		}
	default:
		return -1
	}
	for n := 0; n < 4 && person && next+1 < len(p.tok) && linksName(string(p.word(next))); n++ {
		next++
		switch p.gapInLine(next) {
		case " ", "-", "'", ": ", ", ":
		default:
			return -1
		}
	}
	return next
}

// linksName reports whether w can be between a word for a person and the name:
// sister-in-law, wife's name is, friend called.
func linksName(w string) bool {
	switch w {
	case "called", "named", "is", "was", "name", "in", "law", "s":
		return true
	}
	return false
}

// A nameStep is the role of a word after a title.
type nameStep int

const (
	endOfName      nameStep = iota // not part of the name
	beforeName                     // another title; the name may follow
	particleOfName                 // part of the name if a piece follows
	pieceOfName
)

// unlistedName returns the first and last token of the name that begins at token next,
// after the title at token title; last is -1 if none does.
func (p *page) unlistedName(title, next int) (first, last int) {
	first, last = -1, -1
	for n := 0; n < 6 && next < len(p.tok) && p.goesOn(next, first >= 0); n, next = n+1, next+1 {
		switch p.nameStep(title, next, first >= 0) {
		case endOfName:
			return first, last
		case beforeName:
			continue
		case pieceOfName:
			last = next
		}
		if first < 0 {
			first = next
		}
	}
	return first, last
}

// goesOn reports whether a name can continue at token i or, if it has not begun, begin
// there.
func (p *page) goesOn(i int, begun bool) bool {
	if p.tok[i].number {
		return false
	}
	if !begun {
		return true
	}
	switch g := p.gapInLine(i); g {
	case " ", "-", "'", "":
		return true
	case ". ", ".":
		return p.tok[i-1].size() <= 2 // otherwise the sentence ends
	}
	return false
}

// nameStep returns the role of token i after the title at token title.
func (p *page) nameStep(title, i int, begun bool) nameStep {
	before, k, style := p.cues(title), p.cues(i), p.caseOf(i)
	if (k.has(cueTitle) || k.both(before).has(cueStaff)) && !begun { // Prof. Dr., nurse practitioner
		return beforeName
	}
	if k.has(cueParticle) && (style == lowerCase || !k.has(cueNameWord)) {
		return particleOfName
	}
	if before.has(cueTitle) && style == capital {
		k = k.without(setOf(cueNotName)) // Dr Said
	}
	switch {
	case style == lowerCase, style == allCaps && p.shouting(title, i),
		k.hasAny(cueNotName, cueThing, cuePlace, cueUnit, cueIdentifier, cueBirth, cueSubject, cueWeekday),
		before.has(cueSubject) && !k.empty(),
		style == capital && p.runLen(i) > 1,
		style == allCaps && p.tok[i].size() < 3 && !before.has(cueTitle):
		return endOfName
	}
	return pieceOfName
}

// signedBy holds the words before "by" and the name of a member of staff: signed, seen.
var signedBy = wordSet("signedby")

// afterBy finds the name of the person who signed, saw or collected something, after the
// "by" at token i.
func (p *page) afterBy(i int) {
	if !signedBy()[string(p.word(i-1))] {
		return
	}
	first, last := i+1, i
	for k := first; k < len(p.tok) && k < i+4 && p.signs(first, k); k++ {
		last = k
	}
	if last >= first && p.tok[last].size() > 1 {
		p.emit(p.tok[first].s, p.tok[last].e, "A", "pattern: staff and name", Possible)
	}
}

// signs reports whether token k can be part of the name that begins at token first.
func (p *page) signs(first, k int) bool {
	switch string(p.gap(k)) {
	case " ", "-", "'":
	case ". ":
		if k == first || p.tok[k-1].size() != 1 {
			return false
		}
	default:
		return false
	}
	return !p.tok[k].number && p.caseOf(k) != lowerCase && !p.shouting(first, k) &&
		!p.cues(k).beyond(setOf(cueNameWord, cueParticle)) && !(k+1 < len(p.tok) && p.cues(k+1).has(cuePlace))
}
