package leak

import (
	"encoding/binary"
	"math/bits"
	"slices"
	"unicode"
	"unicode/utf8"
)

// A token is a maximal sequence of letters, or of digits, of the folded text. Tokens
// that touch are one run: a2b is a run of three tokens.
type token struct {
	s, e       int   // in folded.b
	term       *term // nil for numbers and unknown words
	piece      int32 // index in the run
	number     bool
	glued      bool // touches the token before
	upper      bool // a word with a capital in it
	lead       bool // a word of a roster name, or followed by a hyphen or an apostrophe
	nearNumber bool // one of the two tokens before a number
}

func (t *token) size() int { return t.e - t.s } // bytes

// A page is the state of the search of one text. Its memory is reused for other texts.
type page struct {
	lex      *lexicon
	text     string
	fold     folded
	tok      []token
	out      []Match
	seen     cueSet // cues of all words
	inner    bool   // the text was decoded from a part of another: only values of the roster count
	field    bool   // the text is the value of a field without prose
	groups   groupedNumber
	spelling spelling
	run      []byte  // see stream
	runAt    []int32 // index in fold.b of each byte of run
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

// tokenize splits the folded text and looks up every word.
func (p *page) tokenize() {
	b := p.fold.b
	p.seen = cueSet{}
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
				p.tok[j].nearNumber = true
			}
			continue
		}
		if term := p.lex.words.look(b[s:i]); term != nil {
			t.term = term
			p.seen = p.seen.with(term.cues)
			t.lead = len(term.rows) > 0
		}
		t.lead = t.lead || i < len(b) && (b[i] == '-' || b[i] == '\'')
		t.upper = p.hasCapital(s, i)
	}
}

// wordEnd returns the end of the letters or digits (of class k) that continue at b[i].
func wordEnd(b []byte, i int, k byte) int {
	const ones = 0x0101010101010101
	for k == cLetter && i+8 <= cap(b) { // eight at a time; bytes after the end of b are ignored
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

// word returns the folded text of token i.
func (p *page) word(i int) []byte { return p.fold.b[p.tok[i].s:p.tok[i].e] }

// gap returns the folded text between token i and the token before. With i equal to the
// number of tokens it returns the text after the last.
func (p *page) gap(i int) []byte {
	if i == 0 {
		return p.fold.b[:p.tok[0].s]
	}
	if i == len(p.tok) {
		return p.fold.b[p.tok[i-1].e:]
	}
	return p.fold.b[p.tok[i-1].e:p.tok[i].s]
}

// after returns the text after token i.
func (p *page) after(i int) []byte { return p.gap(i + 1) }

// cues returns the cues of token i; none outside the text.
func (p *page) cues(i int) cueSet {
	if i < 0 || i >= len(p.tok) || p.tok[i].term == nil {
		return cueSet{}
	}
	return p.tok[i].term.cues
}

// name reports whether token i is part of a name of the roster.
func (p *page) name(i int) bool {
	return i >= 0 && i < len(p.tok) && p.tok[i].term != nil && len(p.tok[i].term.rows) > 0
}

// number reports whether token i is a number.
func (p *page) number(i int) bool { return i >= 0 && i < len(p.tok) && p.tok[i].number }

// runLen returns the number of tokens in the run of token i, counting at most five after
// token i.
func (p *page) runLen(i int) int {
	n := int(p.tok[i].piece) + 1
	for j := i + 1; j < len(p.tok) && p.tok[j].glued && j < i+6; j++ {
		n++
	}
	return n
}

// emit records a match of the folded bytes s to e.
func (p *page) emit(s, e int, c Class, basis string, conf Confidence) {
	s, e = p.fold.span(s, e)
	p.out = append(p.out, Match{s, e, c, basis, conf})
}

// runStart returns the first token of the run of token i.
func (p *page) runStart(i int) int { return i - int(p.tok[i].piece) }

// runEnd returns the last token of the run of token i.
func (p *page) runEnd(i int) int {
	for i+1 < len(p.tok) && p.tok[i+1].glued {
		i++
	}
	return i
}
