package leak

import (
	"unicode"
	"unicode/utf8"
)

// hasCapital reports whether the original of the folded bytes s to e has a capital.
func (p *page) hasCapital(s, e int) bool {
	from, to := p.fold.span(s, e)
	if p.text[from:to] == string(p.fold.b[s:e]) {
		return false
	}
	for _, r := range p.text[from:to] {
		if 'A' <= r && r <= 'Z' || r >= utf8.RuneSelf && (unicode.IsUpper(r) || unicode.IsTitle(r)) {
			return true
		}
	}
	return false
}

// The letter case of a word.
const (
	lowerCase = iota
	capital   // the first letter is a capital, not all others are
	allCaps   // two or more letters, all of them capitals
)

// caseOf returns the letter case of token i in the original text.
func (p *page) caseOf(i int) int {
	if !p.tok[i].upper {
		return lowerCase
	}
	s, e := p.fold.span(p.tok[i].s, p.tok[i].e)
	n, small, first, some := 0, false, false, false
	for _, r := range p.text[s:e] {
		if !unicode.IsLetter(r) {
			continue
		}
		large := unicode.IsUpper(r) || unicode.IsTitle(r)
		if n == 0 {
			first = large
		}
		some = some || large
		small = small || !large
		n++
	}
	switch {
	case !first && !(some && n > 3): // eMma is a typing error, mL is not
		return lowerCase
	case n > 1 && !small:
		return allCaps
	}
	return capital
}

// shouting reports whether the words around tokens i to j are in capitals. The capitals
// of the tokens then mean nothing.
func (p *page) shouting(i, j int) bool {
	near := func(k, step int) bool {
		for n := 0; k >= 0 && k < len(p.tok) && n < 3; k, n = k+step, n+1 {
			if !p.tok[k].number && p.tok[k].piece == 0 && p.tok[k].e-p.tok[k].s > 1 {
				return p.caseOf(k) == allCaps
			}
		}
		return false
	}
	return near(i-1, -1) || near(j+1, 1)
}

// sentenceStart reports whether token i begins a sentence, a line, a list item or a
// bracket, where a capital means nothing.
func (p *page) sentenceStart(i int) bool {
	if i == 0 {
		return true
	}
	g := p.gap(i)
	for k, c := range g {
		switch c {
		case '!', '?', ':', ';', '\n', '(', '[', '"', '|', '*', '>':
			return true
		case '.':
			// After an initial or a title the sentence continues.
			if (p.tok[i-1].number || p.tok[i-1].e-p.tok[i-1].s > 1) && !p.cues(i-1).has(cueTitle) {
				return true
			}
		case '-':
			if k > 0 && g[k-1] == ' ' {
				return true
			}
		}
	}
	return false
}

// marked reports whether token i is written like a name: it has a capital that neither
// the start of a sentence nor a text in capitals explains, and it is not the first word
// of the name of a room or ward. At the start of a sentence an action of a person after
// the word is enough ("Baker coughed").
func (p *page) marked(i int) bool {
	c := p.caseOf(i)
	if c == lowerCase || p.sentenceStart(i) && !p.cues(i+1).has(cueAction) || c == allCaps && p.shouting(i, i) {
		return false
	}
	if i+1 < len(p.tok) && p.cues(i+1).has(cuePlace) && string(p.gap(i+1)) == " " {
		return false
	}
	return true
}
