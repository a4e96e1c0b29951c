package leak

import "bytes"

// findPhrases finds streets, places and other values of several words of the roster, and
// street addresses that it does not list.
func (p *page) findPhrases() {
	for i := range p.tok {
		t := &p.tok[i]
		if t.upper && !p.inner {
			p.findAddress(i)
		}
		if t.term == nil {
			continue
		}
		for _, f := range t.term.phrases {
			p.findPhrase(i, f)
		}
	}
}

// findPhrase finds f at token i.
func (p *page) findPhrase(i int, f *phrase) {
	last := p.phraseEnd(i, f)
	if last < 0 {
		return
	}
	first, end, numbered := i, last, false
	if f.class == "B" && f.conf == Likely { // a street
		first, end, numbered = p.houseNumber(i, last)
	}
	conf := f.conf
	switch {
	case numbered:
		conf = Sure
	case f.plain && len(f.words) > 2:
		conf = Possible
	case f.plain && (len(f.words) == 1 || f.class == "B") && !p.writtenLarge(i, last):
		return
	}
	p.emit(p.tok[first].s, p.tok[end].e, f.class, f.basis, conf)
}

// phraseEnd returns the last token of f if it begins at token i, otherwise -1.
func (p *page) phraseEnd(i int, f *phrase) int {
	if p.runLen(i) > 2 {
		return -1
	}
	k := i
	for _, w := range f.words[1:] {
		k++
		if k >= len(p.tok) {
			return -1
		}
		g := p.gap(k)
		if !joins(g) && (len(g) >= 3 || bytes.IndexByte(g, '/') < 0) || !sameWord(w, p.word(k)) {
			return -1
		}
	}
	return k
}

// houseNumber extends the street at tokens first to last by the house number before or
// after it, and reports whether there is one.
func (p *page) houseNumber(first, last int) (from, to int, ok bool) {
	switch {
	case p.number(first-1) && p.near(first):
		return first - 1, last, true
	case first > 1 && p.number(first-2) && p.near(first) && p.near(first-1) && p.tok[first-1].size() == 1: // 27 a
		return first - 2, last, true
	case p.number(last+1) && p.near(last+1):
		to = last + 1
		if to+1 < len(p.tok) && p.tok[to+1].glued { // 27a
			to++
		}
		return first, to, true
	}
	return first, last, false
}

// writtenLarge reports whether the everyday words from token i to token k have capitals
// that only a name explains.
func (p *page) writtenLarge(i, k int) bool {
	for n := i; n <= k; n++ {
		if p.caseOf(n) == lowerCase && !p.cues(n).has(cueParticle) {
			return false
		}
	}
	return !p.shouting(i, k) && (i < k || p.marked(i))
}

// findAddress finds a street address that is not in the roster by its form: a number,
// capitalised words and a word for a street, in either order.
func (p *page) findAddress(i int) {
	switch {
	case i > 0 && p.roadBefore(i):
	case p.cues(i).has(cueRoad) && p.caseOf(i) != lowerCase:
		p.roadBehind(i)
	default:
		p.oneWordRoad(i)
	}
}

// roadBehind finds a street address that ends with the word for a street at token i: 22
// Baker Lane.
func (p *page) roadBehind(i int) {
	blank := func(k int) bool { return string(p.gap(k)) == " " }
	k := i - 1
	for k >= 0 && k > i-4 && !p.tok[k].number && (blank(k+1) || string(p.gap(k+1)) == "'") &&
		p.caseOf(k) != lowerCase && !p.cues(k).hasAny(cueThing, cueIdentifier) {
		k--
	}
	if k < i-1 && p.number(k) && !p.tok[k].glued && blank(k+1) && p.tok[k].size() < 6 && !p.shouting(k+1, i) {
		p.emit(p.tok[k].s, p.tok[i].e, "B", "pattern: street address", Likely)
	}
}

// oneWordRoad finds a street of one word with the number after it: Lindenstr. 4.
func (p *page) oneWordRoad(i int) {
	if !p.number(i+1) || p.tok[i+1].size() > 4 || p.caseOf(i) == lowerCase || !p.cues(i).empty() {
		return
	}
	if g := string(p.gap(i + 1)); g != " " && g != ". " {
		return
	}
	for _, end := range [...]string{"strasse", "str", "gasse", "straat", "gatan"} {
		if stem, ok := bytes.CutSuffix(p.word(i), []byte(end)); ok && len(stem) > 3 {
			p.emit(p.tok[i].s, p.tok[i+1].e, "B", "pattern: street address", Likely)
			return
		}
	}
}

// roadsBefore holds the words for streets that precede the name, with "small" for those
// that are written in lower case within a text.
var roadsBefore = wordsOf("roadsbefore")

// roadBefore finds a street address in which the capitalised word at token i follows the
// word for a street: 12 rue Pasteur, Via Roma 5, ul. Polna 3.
func (p *page) roadBefore(i int) bool {
	k := i - 1
	for k > 0 && k > i-4 && p.cues(k).has(cueParticle) {
		k--
	}
	if p.tok[k].number || p.caseOf(i) == lowerCase {
		return false
	}
	small, ok := roadsBefore()[string(p.word(k))]
	if !ok || len(small) == 0 && p.caseOf(k) == lowerCase || len(p.gap(k+1)) > 2 {
		return false
	}
	first, last := k, i
	switch {
	case p.number(i+1) && string(p.gap(i+1)) == " " && p.tok[i+1].size() < 5:
		last = i + 1
	case k > 0 && p.number(k-1) && p.near(k) && p.tok[k-1].size() < 5:
		first = k - 1
	default:
		return false
	}
	p.emit(p.tok[first].s, p.tok[last].e, "B", "pattern: street address", Likely)
	return true
}

// near reports whether only up to three blanks, commas, full stops or line ends separate
// token i from the token before.
func (p *page) near(i int) bool {
	g := p.gap(i)
	return len(g) > 0 && len(g) < 4 && len(bytes.Trim(g, " ,.\n")) == 0
}
