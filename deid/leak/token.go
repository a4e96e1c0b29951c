package leak

import (
	"encoding/binary"
	"math/bits"
	"slices"
	"unicode"
	"unicode/utf8"
)

// A token is a longest stretch of letters, or of digits, of the folded text.
// Where letters and digits touch they are two tokens of one run.
type token struct {
	s, e   int   // in folded.b
	term   *term // what is known of the word; nil for numbers and unknown words
	piece  int32 // place in the run, from 0
	number bool
	glued  bool // nothing between this token and the one before
	upper  bool // a word with a capital in it
	lead   bool // a word of a roster name, or with a hyphen or an apostrophe behind it
	beside bool // one of the two words before a number
}

// A page is one text at work.
type page struct {
	lex    *lexicon
	text   string
	fold   folded
	tok    []token
	out    []Match
	kinds  kind // of all words
	inner  bool // a decoded text within a text: roster terms only
	field  bool // no prose
	groups digitGroups
	run    []byte  // see stream
	runAt  []int32 // where in fold.b a byte of run stands
}

const (
	cOther = iota
	cLetter
	cDigit
	cHigh // needs decoding
)

var class = func() (t [256]byte) {
	for c := range t {
		switch {
		case c >= utf8.RuneSelf:
			t[c] = cHigh
		case unicode.IsLetter(rune(c)):
			t[c] = cLetter
		case '0' <= c && c <= '9':
			t[c] = cDigit
		}
	}
	return t
}()

// classAt returns the class of the character at b[i] and its length.
func classAt(b []byte, i int) (byte, int) {
	k := class[b[i]]
	if k != cHigh {
		return k, 1
	}
	r, n := utf8.DecodeRune(b[i:])
	if unicode.IsLetter(r) || unicode.Is(unicode.Mc, r) {
		return cLetter, n
	}
	return cOther, n
}

// tokenize cuts the folded text and looks every word up.
func (p *page) tokenize() {
	b := p.fold.b
	p.kinds = 0
	end, piece := -1, int32(0)
	for i := 0; i < len(b); {
		k, n := class[b[i]], 1
		if k == cHigh {
			k, n = classAt(b, i)
		}
		if k == cOther {
			i += n
			continue
		}
		s := i
		i = wordEnd(b, i+n, k)
		if len(p.tok) == cap(p.tok) {
			p.tok = slices.Grow(p.tok, len(b)/16+8)
		}
		p.tok = p.tok[:len(p.tok)+1]
		t := &p.tok[len(p.tok)-1]
		*t = token{s: s, e: i, glued: s == end}
		if piece++; !t.glued {
			piece = 0
		}
		t.piece, end = piece, i
		if k == cDigit {
			t.number = true
			for j := max(0, len(p.tok)-3); j < len(p.tok)-1; j++ {
				p.tok[j].beside = true
			}
			continue
		}
		if term := p.lex.words.look(b[s:i]); term != nil {
			t.term = term
			p.kinds |= term.kind
			t.lead = len(term.rows) > 0
		}
		t.lead = t.lead || i < len(b) && (b[i] == '-' || b[i] == '\'')
		t.upper = p.hasCapital(s, i)
	}
}

// wordEnd returns where the letters or digits, whichever k says, end that go on
// at b[i].
func wordEnd(b []byte, i int, k byte) int {
	const ones = 0x0101010101010101
	for k == cLetter && i+8 <= cap(b) { // eight at a time; what lies behind b does not count
		x := binary.LittleEndian.Uint64(b[i : i+8])
		small := (x + (0x80-'a')*ones) &^ (x + (0x80-'z'-1)*ones) & (0x80 * ones)
		n := bits.TrailingZeros64(small^(0x80*ones)) / 8
		i = min(i+n, len(b))
		if n < 8 || i == len(b) {
			break
		}
	}
	for i < len(b) {
		next, n := class[b[i]], 1
		if next == cHigh {
			next, n = classAt(b, i)
		}
		if next != k {
			break
		}
		i += n
	}
	return i
}

// hasCapital says whether the original of the folded bytes s to e has a capital.
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

// word returns the folded text of token i.
func (p *page) word(i int) []byte { return p.fold.b[p.tok[i].s:p.tok[i].e] }

// gap returns what stands before token i, back to the token before; for the
// number of tokens, what stands after the last.
func (p *page) gap(i int) []byte {
	if i == 0 {
		return p.fold.b[:p.tok[0].s]
	}
	if i == len(p.tok) {
		return p.fold.b[p.tok[i-1].e:]
	}
	return p.fold.b[p.tok[i-1].e:p.tok[i].s]
}

// after returns what stands after token i.
func (p *page) after(i int) []byte { return p.gap(i + 1) }

// kind returns what the vocabulary says of token i; 0 outside the text.
func (p *page) kind(i int) kind {
	if i < 0 || i >= len(p.tok) || p.tok[i].term == nil {
		return 0
	}
	return p.tok[i].term.kind
}

// name says whether the roster has token i as part of a name.
func (p *page) name(i int) bool {
	return i >= 0 && i < len(p.tok) && p.tok[i].term != nil && len(p.tok[i].term.rows) > 0
}

// number says whether token i is a number.
func (p *page) number(i int) bool { return i >= 0 && i < len(p.tok) && p.tok[i].number }

// runLen returns in how many pieces the run of token i falls, at least up to
// five pieces behind it.
func (p *page) runLen(i int) int {
	n := int(p.tok[i].piece) + 1
	for j := i + 1; j < len(p.tok) && p.tok[j].glued && j < i+6; j++ {
		n++
	}
	return n
}

// How a word is written.
const (
	lowerCase = iota
	capital   // first letter large, others not all
	allCaps   // two letters or more, all large
)

// caseOf returns how token i is written in the original.
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
	case !first && !(some && n > 3): // eMma is a slip of the shift key, mL is not
		return lowerCase
	case n > 1 && !small:
		return allCaps
	}
	return capital
}

// shouting says whether the words around tokens i to j are all in capitals, so
// that capitals tell nothing.
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

// sentenceStart says whether token i begins a sentence, a line, a list item or
// a bracket, where a capital tells nothing.
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
			// After an initial or a title the sentence goes on.
			if (p.tok[i-1].number || p.tok[i-1].e-p.tok[i-1].s > 1) && p.kind(i-1)&kTitle == 0 {
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

// marked says whether token i is written as a name is: with a capital that
// neither the start of a sentence (unless what follows is what people do) nor a text in capitals explains, and not as
// the first half of a room's or ward's name.
func (p *page) marked(i int) bool {
	c := p.caseOf(i)
	if c == lowerCase || p.sentenceStart(i) && p.kind(i+1)&kActs == 0 || c == allCaps && p.shouting(i, i) {
		return false
	}
	if i+1 < len(p.tok) && p.kind(i+1)&kPlace != 0 && string(p.gap(i+1)) == " " {
		return false
	}
	return true
}

// clauseStart says whether a sentence or list item ends right before token i.
func (p *page) clauseStart(i int) bool {
	if i == 0 {
		return true
	}
	g := p.gap(i)
	for k, c := range g {
		switch c {
		case '!', '?', ';', '\n', '|':
			return true
		case '.':
			if k+1 < len(g) && (g[k+1] == ' ' || g[k+1] == '\n') && (p.tok[i-1].number || p.tok[i-1].e-p.tok[i-1].s > 4 || p.kind(i-1) == 0) {
				return true
			}
		case '-':
			if k > 0 && g[k-1] == ' ' && k+1 < len(g) && g[k+1] == ' ' {
				return true
			}
		}
	}
	return false
}

// before collects the kinds of up to n words before token i in its clause.
func (p *page) before(i, n int) (k kind) {
	for ; n > 0 && i > 0 && !p.clauseStart(i); n-- {
		i--
		k |= p.kind(i)
	}
	return k
}

// following collects the kinds of up to n words after token i in its clause.
func (p *page) following(i, n int) (k kind) {
	for i++; n > 0 && i < len(p.tok) && !p.clauseStart(i); i, n = i+1, n-1 {
		k |= p.kind(i)
	}
	return k
}

// emit records a match of the folded bytes s to e.
func (p *page) emit(s, e int, c Class, basis string, conf Confidence) {
	s, e = p.fold.span(s, e)
	p.out = append(p.out, Match{s, e, c, basis, conf})
}
