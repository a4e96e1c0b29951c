package leak

import (
	"bytes"
	"slices"
	"unicode"
	"unicode/utf8"
)

// findGlued finds values of the roster that letters or digits touch, and values with
// something between their letters or digits (see parted.go).
func (p *page) findGlued() {
	if len(p.lex.embedded.list) == 0 || len(p.tok) == 0 {
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
		known := !p.cues(i).empty() || n <= longEmbedded && (i+1 == len(p.tok) || t.term != nil)
		if known && !glued && !t.upper && !t.number {
			inside = 1 // only values that begin with the word and continue in the next
		}
		short := inside > 1 || n <= 2 // M i l l e r
		for j := range inside {
			p.lex.embedded.at(p.run[k+j:], short, func(v *embedded) { p.judgeEmbedded(v, k+j) })
		}
		k += n
	}
}

// stream sets p.run to the letters and digits of the text without the gaps. A gap that
// is too long to be within a value becomes a NUL. p.runAt holds the offset of each byte
// in the folded text, -1 for a NUL.
func (p *page) stream() {
	n := len(p.fold.b) + 8
	p.run, p.runAt = slices.Grow(p.run[:0], n), slices.Grow(p.runAt[:0], n)
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

// judgeEmbedded emits v, which was found at p.run[k], if its form and what touches it
// make a chance match unlikely.
func (p *page) judgeEmbedded(v *embedded, k int) {
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
	case embeddedName, embeddedPhrase:
		if !p.acceptName(v, s, e, left, right, len(gaps)) {
			return
		}
	case embeddedCode:
		if len(v.key) < 6 && (left == cLetter || right == cLetter || left == cDigit && class[v.key[0]] == cDigit) {
			return
		}
	case embeddedDigits, embeddedDate:
		if !p.acceptNumber(v, c, s, e, left, right, gaps) {
			return
		}
	}
	p.emit(s, e, c.class, c.basis, c.conf)
}

// touching returns the classes of the characters that touch b[s:e] on either side.
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

// gapsIn returns the gaps of the text within the n bytes of the stream from k on.
func (p *page) gapsIn(k, n int) (gaps [][]byte) {
	for i := k + 1; i < k+n; i++ {
		if from, to := int(p.runAt[i-1])+1, int(p.runAt[i]); from < to {
			gaps = append(gaps, p.fold.b[from:to])
		}
	}
	return gaps
}

// An embeddedWord is a name of the roster that letters or digits touch.
type embeddedWord struct {
	*embedded
	s, e        int  // in the folded text
	left, right byte // classes of the characters that touch it
	gaps        int  // within it
	size        int  // letters
	large       bool // begins with a capital
	start, end  bool // its start, or end, is marked as that of a word: by case or script
}

// apart reports whether both ends of the name are marked as those of a word.
func (x embeddedWord) apart() bool { return x.start && x.end }

// embeddedRules decide whether such a name counts.
var embeddedRules = []rule[embeddedWord, bool]{
	{"short and in lower case, touched by digits only",
		func(_ *page, x embeddedWord) bool {
			return x.left != cLetter && x.right != cLetter && x.size < 4 && !x.large
		}, false},
	{"part of another known word",
		func(p *page, x embeddedWord) bool {
			whole := p.wordAround(x.s, x.e)
			return len(whole) > len(x.key) && p.lex.words.look(whole) != nil
		}, false},
	{"an everyday word, marked at both ends, with a capital",
		func(p *page, x embeddedWord) bool {
			return x.common && x.gaps == 0 && x.apart() && (x.large || p.field)
		}, true},
	{"an everyday word with gaps in it",
		func(_ *page, x embeddedWord) bool { return x.common && x.gaps > 0 && (x.large || x.gaps > 1) }, true},
	{"any other everyday word",
		func(_ *page, x embeddedWord) bool { return x.common }, false},
	{"long",
		func(_ *page, x embeddedWord) bool { return x.size >= 6 || x.gaps > 0 && x.size >= 5 }, true},
	{"marked at both ends",
		func(_ *page, x embeddedWord) bool { return x.apart() && (x.large || x.size >= 4) }, true},
	{"marked at one end, with a capital",
		func(_ *page, x embeddedWord) bool { return (x.start || x.end) && x.large && x.size >= 4 }, true},
}

// acceptName reports whether the name at b[s:e], which letters or digits touch, counts.
func (p *page) acceptName(v *embedded, s, e int, left, right byte, gaps int) bool {
	from, to := p.fold.span(s, e)
	x := embeddedWord{embedded: v, s: s, e: e, left: left, right: right, gaps: gaps}
	x.size, x.large = utf8.RuneCountInString(v.key), p.largeAt(from)
	x.start = left != cLetter || x.large && !p.shoutingAround(from) || otherScript(p.fold.b[:s], true)
	x.end = right != cLetter || p.largeAt(to) && !p.largeBefore(to) || otherScript(p.fold.b[e:], false)
	return decide(p, embeddedRules, x)
}

// otherScript reports whether b ends, or begins if ends is false, with a letter that is
// not Latin.
func otherScript(b []byte, ends bool) bool {
	r, _ := utf8.DecodeRune(b)
	if ends {
		r, _ = utf8.DecodeLastRune(b)
	}
	return r >= utf8.RuneSelf && unicode.IsLetter(r) && !unicode.Is(unicode.Latin, r)
}

// wordAround returns b[s:e] with the letters around it, at most 64 on each side.
func (p *page) wordAround(s, e int) []byte {
	b := p.fold.b
	const most = 64 // without a bound the time for a text of one word would grow with its square
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

// largeBefore reports whether the character before text[i] is a capital.
func (p *page) largeBefore(i int) bool {
	r, _ := utf8.DecodeLastRuneInString(p.text[:i])
	return unicode.IsUpper(r)
}

// shoutingAround reports whether the capital at text[i] is within a word in capitals:
// one capital is before it and one after it.
func (p *page) shoutingAround(i int) bool {
	_, n := utf8.DecodeRuneInString(p.text[i:])
	return p.largeBefore(i) && i+n < len(p.text) && p.largeAt(i+n)
}

// acceptNumber reports whether the digits at b[s:e], which letters or digits touch,
// count.
func (p *page) acceptNumber(v *embedded, c code, s, e int, left, right byte, gaps [][]byte) bool {
	inNumber := left == cDigit || right == cDigit
	for _, g := range gaps {
		if len(g) > 2 || bytes.ContainsAny(g, "\n\t") || len(v.key) < 9 && (g[0] == ' ' || !bytes.Equal(g, gaps[0])) {
			return false
		}
	}
	switch {
	case v.form == embeddedDate:
		return len(gaps) == 0 || len(gaps) == 2 && (len(gaps[0]) == 1)
	case c.class == "B": // postal codes have about five digits
		return len(gaps) == 0 && p.postalWithin(s, e)
	}
	return !inNumber || len(v.key) >= 7
}

// tokenAt returns the first token that ends after s.
func (p *page) tokenAt(s int) int {
	i, _ := slices.BinarySearchFunc(p.tok, s, func(t token, s int) int {
		if t.e <= s {
			return -1
		}
		return 1
	})
	return i
}

// postalWithin reports whether digits within a longer number or word may be a postal
// code: that number or word has at most nine characters, and no word before it names a
// tube, a lot or the like.
func (p *page) postalWithin(s, e int) bool {
	i := p.tokenAt(s)
	t := &p.tok[i]
	if i > 0 && p.number(i-1) && string(p.gap(i)) == "." {
		return false // decimals
	}
	return t.e-t.s <= 9 && !p.listed(p.runStart(i), 3).meets(notPostal) && !p.cues(i+1).has(cueUnit) && p.runLen(i) <= 3
}
