package leak

import (
	"bytes"
	"slices"
	"unicode"
	"unicode/utf8"
)

// findGlued finds values of the roster that something touches.
func (p *page) findGlued() {
	if len(p.lex.inlays.list) == 0 || len(p.tok) == 0 {
		return
	}
	p.stream()
	for i, k := 0, 0; i < len(p.tok); i++ {
		t := &p.tok[i]
		for p.runAt[k] < 0 {
			k++
		}
		n := t.e - t.s
		inside := n
		glued := t.glued || i+1 < len(p.tok) && p.tok[i+1].glued
		known := !p.cues(i).empty() || n <= longInlay && (i+1 == len(p.tok) || t.term != nil)
		if known && !glued && !t.upper && !t.number {
			inside = 1 // only what begins with it and goes on in the next word
		}
		short := inside > 1 || n <= 2 // M i l l e r
		for j := range inside {
			p.lex.inlays.at(p.run[k+j:], short, func(v *inlay) { p.judgeInlay(v, k+j) })
		}
		k += n
	}
}

// stream writes the letters and digits of the text one after another, with a NUL
// where the gap between two words is too long to part a value.
func (p *page) stream() {
	room := len(p.fold.b) + 8
	p.run, p.runAt = slices.Grow(p.run[:0], room), slices.Grow(p.runAt[:0], room)
	for i := range p.tok {
		if g := p.gap(i); i > 0 && len(g) > 0 && !partingGap(g) && !joins(g) && !codeGap(g) {
			p.run, p.runAt = append(p.run, 0), append(p.runAt, -1)
		}
		for k := p.tok[i].s; k < p.tok[i].e; k++ {
			p.run, p.runAt = append(p.run, p.fold.b[k]), append(p.runAt, int32(k))
		}
	}
	p.run = append(p.run, 0, 0, 0, 0, 0, 0, 0, 0)
}

// judgeInlay emits v, found at p.run[k], where it counts.
func (p *page) judgeInlay(v *inlay, k int) {
	s, e := int(p.runAt[k]), int(p.runAt[k+len(v.key)-1])+1
	b := p.fold.b
	left, right := p.touching(b, s, e)
	c := p.lex.kinds[v.what]
	if left == cOther && right == cOther {
		if p.parted(v, c, k) {
			p.emit(s, e, c.class, c.basis, c.conf)
		}
		return
	}
	gaps := p.gapsIn(k, len(v.key))
	switch v.form {
	case inlayName, inlayPhrase:
		if !p.inlaidName(v, s, e, left, right, len(gaps)) {
			return
		}
	case inlayCode:
		if len(v.key) < 6 && (left == cLetter || right == cLetter || left == cDigit && class[v.key[0]] == cDigit) {
			return
		}
	case inlayDigits, inlayDate:
		if !p.inlaidNumber(v, c, s, e, left, right, gaps) {
			return
		}
	}
	p.emit(s, e, c.class, c.basis, c.conf)
}

// touching returns the class of what touches b[s:e] on either side.
func (p *page) touching(b []byte, s, e int) (left, right byte) {
	left, right = cOther, cOther
	if s > 0 {
		_, n := utf8.DecodeLastRune(b[:s])
		left, _ = classAt(b, s-n)
	}
	if e < len(b) {
		right, _ = classAt(b, e)
	}
	return left, right
}

// gapsIn returns the gaps between the words of n bytes of the stream from k on.
func (p *page) gapsIn(k, n int) (gaps [][]byte) {
	for i := k + 1; i < k+n; i++ {
		if from, to := int(p.runAt[i-1])+1, int(p.runAt[i]); from < to {
			gaps = append(gaps, p.fold.b[from:to])
		}
	}
	return gaps
}

// An inlaidWord is a name of the roster with letters or digits touching it.
type inlaidWord struct {
	*inlay
	s, e        int  // in the folded text
	left, right byte // classes of what touches it
	gaps        int  // within it
	size        int  // letters
	large       bool // begins with a capital
	start, end  bool // a word begins, or ends, there all the same
}

// apart reports whether the name is set off on both sides, though something touches it.
func (x inlaidWord) apart() bool { return x.start && x.end }

// inlaidRules say whether such a name counts.
var inlaidRules = []rule[inlaidWord, bool]{
	{"short and small, with digits alone around it",
		func(_ *page, x inlaidWord) bool {
			return x.left != cLetter && x.right != cLetter && x.size < 4 && !x.large
		}, false},
	{"a piece of another word that is known",
		func(p *page, x inlaidWord) bool {
			whole := p.wordAround(x.s, x.e)
			return len(whole) > len(x.key) && p.lex.words.look(whole) != nil
		}, false},
	{"an everyday word, set off and large",
		func(p *page, x inlaidWord) bool {
			return x.common && x.gaps == 0 && x.apart() && (x.large || p.field)
		}, true},
	{"an everyday word that something parts as well",
		func(_ *page, x inlaidWord) bool { return x.common && x.gaps > 0 && (x.large || x.gaps > 1) }, true},
	{"any other everyday word",
		func(_ *page, x inlaidWord) bool { return x.common }, false},
	{"long",
		func(_ *page, x inlaidWord) bool { return x.size >= 6 || x.gaps > 0 && x.size >= 5 }, true},
	{"set off on both sides",
		func(_ *page, x inlaidWord) bool { return x.apart() && (x.large || x.size >= 4) }, true},
	{"set off on one side, and large",
		func(_ *page, x inlaidWord) bool { return (x.start || x.end) && x.large && x.size >= 4 }, true},
}

// inlaidName reports whether a name at b[s:e] counts that touches letters or digits.
func (p *page) inlaidName(v *inlay, s, e int, left, right byte, gaps int) bool {
	from, to := p.fold.span(s, e)
	x := inlaidWord{inlay: v, s: s, e: e, left: left, right: right, gaps: gaps}
	x.size, x.large = utf8.RuneCountInString(v.key), p.largeAt(from)
	x.start = left != cLetter || x.large && !p.shoutingAround(from) || otherScript(p.fold.b[:s], true)
	x.end = right != cLetter || p.largeAt(to) && !p.largeBefore(to) || otherScript(p.fold.b[e:], false)
	return decide(p, inlaidRules, x)
}

// otherScript reports whether b ends, or begins, with a letter of no Latin
// word.
func otherScript(b []byte, ends bool) bool {
	r, _ := utf8.DecodeRune(b)
	if ends {
		r, _ = utf8.DecodeLastRune(b)
	}
	return r >= utf8.RuneSelf && unicode.IsLetter(r) && !unicode.Is(unicode.Latin, r)
}

// wordAround returns the letters around b[s:e], as many as a word of ours may have.
func (p *page) wordAround(s, e int) []byte {
	b := p.fold.b
	const most = 64 // on either side; without a bound a text that is one word would take for ever
	first, last := max(0, s-most), min(len(b), e+most)
	for s > first && (class[b[s-1]] == cLetter || b[s-1] >= utf8.RuneSelf) {
		s--
	}
	for e < last && (class[b[e]] == cLetter || b[e] >= utf8.RuneSelf) {
		e++
	}
	return b[s:e]
}

// largeAt reports whether text[i] is a capital.
func (p *page) largeAt(i int) bool {
	r, _ := utf8.DecodeRuneInString(p.text[i:])
	return unicode.IsUpper(r) || unicode.IsTitle(r)
}

func (p *page) largeBefore(i int) bool {
	r, _ := utf8.DecodeLastRuneInString(p.text[:i])
	return unicode.IsUpper(r)
}

// shoutingAround reports whether the capital at text[i] is one of a word in capitals:
// a capital before it and one behind.
func (p *page) shoutingAround(i int) bool {
	_, n := utf8.DecodeRuneInString(p.text[i:])
	return p.largeBefore(i) && i+n < len(p.text) && p.largeAt(i+n)
}

// inlaidNumber reports whether digits at b[s:e] count that touch letters or digits.
func (p *page) inlaidNumber(v *inlay, c code, s, e int, left, right byte, gaps [][]byte) bool {
	inNumber := left == cDigit || right == cDigit
	for _, g := range gaps {
		if len(g) > 2 || bytes.ContainsAny(g, "\n\t") || len(v.key) < 9 && (g[0] == ' ' || !bytes.Equal(g, gaps[0])) {
			return false
		}
	}
	switch {
	case v.form == inlayDate:
		return len(gaps) == 0 || len(gaps) == 2 && (len(gaps[0]) == 1)
	case c.class == "B": // five digits or so
		return len(gaps) == 0 && p.postalWithin(s, e)
	}
	return !inNumber || len(v.key) >= 7
}

// tokenAt returns the first token that ends behind s.
func (p *page) tokenAt(s int) int {
	i, _ := slices.BinarySearchFunc(p.tok, s, func(t token, s int) int {
		if t.e <= s {
			return -1
		}
		return 1
	})
	return i
}

// postalWithin reports whether a postal code may be meant by digits within a longer
// number or word: one of nine digits or fewer, and no tube's, lot's or sum's.
func (p *page) postalWithin(s, e int) bool {
	i := p.tokenAt(s)
	t := &p.tok[i]
	if i > 0 && p.number(i-1) && string(p.gap(i)) == "." {
		return false // decimals
	}
	return t.e-t.s <= 9 && !p.listed(p.runStart(i), 3).meets(notPostal) && !p.cues(i+1).has(cueUnit) && p.runLen(i) <= 3
}
