package leak

import (
	"bytes"
	"strings"
)

// Ages over 89 are identifiers: 45 CFR 164.514(b)(2)(i)(C). The detectors find 90 to 119.

// age finds ages over 89 in digits.
func (p *page) age(i int) {
	v, n := p.num(i)
	if n > 3 || v < 90 || v > 119 || p.tok[i].glued {
		return
	}
	if g := p.after(i); len(g) > 0 && (g[0] == ':' || len(g) == 1 && p.number(i+1) && (g[0] == '.' || g[0] == ',')) {
		return // a time, a decimal number
	}
	if p.aged(i, i) {
		p.emit(p.tok[i].s, p.tok[i].e, "C", "pattern: age over 89", Likely)
	}
}

// yearWords holds the words for years that follow an age.
var yearWords = wordSet("years")

// wordAt returns the folded text of token k, "" after the last.
func (p *page) wordAt(k int) string {
	if k < len(p.tok) {
		return string(p.word(k))
	}
	return ""
}

// aged reports whether the words around tokens i to j make that number an age.
func (p *page) aged(i, j int) bool {
	switch w := p.wordAt(j + 1); {
	case w == "yo", w == "jahrig", w == "jahrige":
		return true
	case w == "y":
		return p.wordAt(j+2) == "o"
	case yearWords()[w]:
		next := p.wordAt(j + 2)
		return next == "old" || next == "of" && p.wordAt(j+3) == "age" || next == "alt" || next == "oud" ||
			p.before(i, 3).hasAny(cueAge, cuePerson)
	}
	if p.measured(j) {
		return false
	}
	if p.nearest(i, 3, setOf(cueAge, cueThing, cueVersion)).has(cueAge) {
		return true
	}
	return i > 0 && !p.clauseStart(i) && p.turns(i, j)
}

// turns reports whether the text says that somebody is, or turns, the number in tokens
// i to j: "he is 94".
func (p *page) turns(i, j int) bool {
	switch p.wordAt(i - 1) {
	case "is", "turns", "turned", "turning", "was":
	default:
		return false
	}
	if w := p.wordAt(j + 1); w == "and" || w == "to" {
		return false
	}
	return i == 1 || p.clauseStart(i-1) || bytes.IndexByte(p.gap(i-1), ',') >= 0 || p.cues(i-2).has(cuePerson)
}

// agedWords finds ages over 89 in words, "ninety-eight", "a hundred and two".
func (p *page) agedWords(i int) {
	w := p.wordAt(i)
	if w != "hundred" && !strings.HasPrefix(w, "ninety") {
		return
	}
	first, last := i, i
	if w == "hundred" && i > 0 && (p.wordAt(i-1) == "one" || p.wordAt(i-1) == "a") {
		first--
	}
	if w == "hundred" && last+2 < len(p.tok) && p.wordAt(last+1) == "and" && p.cues(last+2).has(cueNumeral) {
		last += 2
	}
	if last+1 < len(p.tok) && p.cues(last+1).has(cueNumeral) {
		last++
	}
	if p.aged(first, last) {
		p.emit(p.tok[first].s, p.tok[last].e, "C", "pattern: age over 89", Likely)
	}
}
