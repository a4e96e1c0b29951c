package leak

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
)

// A Border says what may touch a literal in a text.
type Border uint8

const (
	// Anywhere: a literal counts everywhere, within a word as well.
	Anywhere Border = iota
	// Apart: no digit touches a digit at its end, and no ASCII letter a letter.
	Apart
	// Number: as Apart, and the literal is no piece of a longer number: neither
	// "+" before it, nor a digit beyond a ".", "," or "-" that touches it.
	Number
	// Word: no letter or digit touches a letter or digit at its end; every byte
	// beyond ASCII is a letter here.
	Word
)

// A Literal is a text that is searched byte for byte, but for the case of ASCII
// letters. Below 8 bytes it must be a word: letters and digits, with the border
// Word.
type Literal struct {
	Text        string
	Column      string // of the roster; of a plain list whatever tells them apart
	Border      Border
	Capitalised bool // counts only where no word of it begins with a small ASCII letter

	// InSamples is for bytes of an encoding that no text of ours has: they are looked
	// for by [Literals.Samples] alone.
	InSamples bool
}

// Literals finds every occurrence of many literals in a stream of bytes. Its
// matching is independent of [Scanner]: no folding, no tokens, no judgement. It is
// exact: every hit is real, and no occurrence is missed. Which values of a roster
// become literals is not independent: [RosterLiterals] chooses them with the
// scanner's vocabulary, folding and dates. Safe for concurrent use.
//
// Long literals (8 bytes and more) are found by a filter of q-grams: it looks at 6
// bytes at every third place, and one of three neighbouring windows chosen in a
// literal is at such a place wherever the literal is. Short ones are looked up by
// the hash of a word, only where the text has a word of at most 7 bytes.
type Literals struct {
	text     []byte // of all literals, ASCII in small letters
	list     []literal
	columns  []string
	longest  int // bytes
	sampling sampling
	long     windows
	short    windows
	shortest int // bytes, of the short ones
}

type literal struct {
	at, size    uint32 // in text
	column      uint16
	border      Border
	capitalised bool
	samples     bool // only there
}

// minLong is the size of the shortest long literal, in bytes.
const minLong = 8

// smallBits makes ASCII letters small, and other bytes perhaps alike.
const smallBits = 0x2020202020202020

// A sampling says which q-grams of a stream are looked at: q bytes at every step-th
// place. minLong bytes hold step windows that follow each other, of which one is
// looked at wherever the literal is: q+step-1 = minLong.
type sampling struct{ q, step int }

// Four bytes of a text are often those of some name, six are seldom; of samples
// four suffice, and fewer places are looked at.
var (
	inText    = sampling{6, 3}
	inSamples = sampling{4, 5}
)

func (g sampling) mask() uint64 { return 1<<(8*g.q) - 1 }

// key returns the window at the beginning of b, small.
func (g sampling) key(b []byte) uint64 {
	if len(b) >= 8 {
		return (binary.LittleEndian.Uint64(b) | smallBits) & g.mask()
	}
	var room [8]byte
	copy(room[:], b)
	return (binary.LittleEndian.Uint64(room[:]) | smallBits) & g.mask()
}

// NewLiterals makes the search for list; of equal ones the first is kept.
func NewLiterals(list []Literal) (*Literals, error) {
	l := &Literals{sampling: inText, shortest: minLong}
	seen := make(map[string]bool, len(list))
	columns := map[string]uint16{}
	nShort := 0
	for i, x := range list {
		if err := x.check(); err != nil {
			return nil, fmt.Errorf("literal %d %w", i, err)
		}
		text := smallASCII(x.Text)
		if seen[text] {
			continue
		}
		seen[text] = true
		column, ok := columns[x.Column]
		if !ok {
			column = uint16(len(columns))
			columns[x.Column] = column
			l.columns = append(l.columns, x.Column)
		}
		l.list = append(l.list,
			literal{uint32(len(l.text)), uint32(len(text)), column, x.Border, x.Capitalised, x.InSamples})
		l.text = append(l.text, text...)
		l.longest = max(l.longest, len(text))
		if len(text) < minLong {
			l.shortest = min(l.shortest, len(text))
			nShort++
		}
	}
	l.short = newWindows(nShort)
	for k := range l.list {
		if text := l.of(k); len(text) < minLong {
			l.short.add(wordKey(text), k, 0)
		}
	}
	l.walk(inText)
	return l, nil
}

// Samples is l for bytes that are no text, without the short literals: among
// samples a short name would be found by chance.
func (l *Literals) Samples() *Literals {
	s := *l
	s.short = windows{}
	s.walk(inSamples)
	return &s
}

// walk makes the windows of the long literals.
func (l *Literals) walk(g sampling) {
	common, n := new(counts), 0
	for k := range l.list {
		if text := l.of(k); l.walked(k, g) {
			common.add(text, g)
			n += g.step
		}
	}
	l.sampling, l.long = g, newWindows(n)
	for k := range l.list {
		if !l.walked(k, g) {
			continue
		}
		text := l.of(k)
		from := common.rarest(text, g)
		for o := from; o < from+g.step; o++ {
			l.long.add(g.key(text[o:]), k, o)
		}
	}
}

// walked reports whether the windows of the literal k are in the filter g.
func (l *Literals) walked(k int, g sampling) bool {
	return l.list[k].size >= minLong && (!l.list[k].samples || g == inSamples)
}

func (x *Literal) check() error {
	word := x.Text != ""
	for i := range len(x.Text) {
		word = word && wordByte[x.Text[i]]
	}
	switch {
	case len(x.Text) < minLong && (!word || x.Border != Word):
		return fmt.Errorf("has fewer than %d bytes and is no word of its own", minLong)
	case len(x.Text) > 1<<16:
		return fmt.Errorf("is too long")
	}
	return nil
}

// Count returns how many different literals are searched.
func (l *Literals) Count() int { return len(l.list) }

func (l *Literals) of(k int) []byte {
	x := &l.list[k]
	return l.text[x.at : x.at+x.size]
}

// counts says, about, how many windows of all literals are alike: what many
// share, such as the beginning of every record number, would make each of their
// places a suspect.
type counts [1 << 18]uint16

func (c *counts) of(key uint64) *uint16 { return &c[key*prime2>>(64-18)] }

func (c *counts) add(text []byte, g sampling) {
	for o := 0; o+g.q <= len(text); o++ {
		if n := c.of(g.key(text[o:])); *n < math.MaxUint16 {
			*n++
		}
	}
}

// rarest returns where the windows of text begin that it shares least.
func (c *counts) rarest(text []byte, g sampling) int {
	best, least := 0, -1
	for o := 0; o+minLong <= len(text); o++ {
		n := 0
		for i := range g.step {
			n += int(*c.of(g.key(text[o+i:])))
		}
		if least < 0 || n < least {
			best, least = o, n
		}
	}
	return best
}

// windows is a set of keys that answers "surely not" from one bit.
type windows struct {
	bits    []uint64
	shift   uint8 // of a hash, so that it numbers the bits
	heads   []uint32
	entries []entry // from 1; 0 ends a chain
}

type entry struct {
	key     uint64
	literal uint32
	next    uint32
	offset  uint16 // of the window in the literal
}

// newWindows holds n keys; one other key in a hundred or fewer looks like one of
// them, and up to 8,000 keys take 64 KiB, which stay near a processor.
func newWindows(n int) windows {
	if n == 0 {
		return windows{}
	}
	size := min(max(bits.Len(uint(64*n)), 19), 28)
	return windows{bits: make([]uint64, 1<<(size-6)), shift: uint8(64 - size),
		heads: make([]uint32, 1<<bits.Len(uint(2*n))), entries: make([]entry, 1, n+1)}
}

func (w *windows) add(key uint64, literal, offset int) {
	h := key * prime1
	w.bits[h>>w.shift>>6] |= 1 << (h >> w.shift & 63)
	head := &w.heads[w.head(h)]
	w.entries = append(w.entries, entry{key, uint32(literal), *head, uint16(offset)})
	*head = uint32(len(w.entries) - 1)
}

func (w *windows) head(h uint64) uint64 { return (h * prime2 >> 32) & uint64(len(w.heads)-1) }

// small makes ASCII letters small.
var small = func() (t [256]byte) {
	for c := range t {
		t[c] = byte(c)
		if 'A' <= c && c <= 'Z' {
			t[c] = byte(c) + 'a' - 'A'
		}
	}
	return t
}()

func smallASCII(s string) string {
	b := []byte(s)
	for i, c := range b {
		b[i] = small[c]
	}
	return string(b)
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// around is how far beyond a literal a border looks, in bytes.
const around = 4

// admits reports whether the literal k, found at b[start:end], counts there. Among
// samples a neighbour is a letter by chance once in five times: there a border
// holds only where text goes on beyond it.
func (l *Literals) admits(k, start, end int, b []byte) bool {
	x := &l.list[k]
	if x.capitalised && !capitalised(b[start:end]) {
		return false
	}
	before, after := b[max(0, start-around):start], b[end:min(len(b), end+around)]
	if l.sampling == inSamples {
		if !allText(before) {
			before = nil
		}
		if !allText(after) {
			after = nil
		}
	}
	at := func(b []byte, i int) byte { // 0 outside: no letter, no digit
		if i < 0 || i >= len(b) {
			return 0
		}
		return b[i]
	}
	left, first, last, right := at(before, len(before)-1), b[start], b[end-1], at(after, 0)
	switch x.border {
	case Word:
		return !(wordByte[left] && wordByte[first] || wordByte[right] && wordByte[last])
	case Number:
		if left == '+' || joinsDigits(left) && isDigit(at(before, len(before)-2)) ||
			joinsDigits(right) && isDigit(at(after, 1)) {
			return false
		}
		fallthrough
	case Apart:
		return !(touch(left, first) || touch(last, right))
	}
	return true
}

// allText reports whether b holds ASCII that can be printed and nothing else.
func allText(b []byte) bool {
	for _, c := range b {
		if c < ' ' || c > '~' {
			return false
		}
	}
	return true
}

func joinsDigits(c byte) bool { return c == '.' || c == ',' || c == '-' }

// touch reports whether a and b are both digits or both ASCII letters.
func touch(a, b byte) bool {
	letter := func(c byte) bool { return wordByte[c] && c < 0x80 && !isDigit(c) }
	return isDigit(a) && isDigit(b) || letter(a) && letter(b)
}

// capitalised reports whether no word of b begins with a small letter.
func capitalised(b []byte) bool {
	for _, w := range bytes.FieldsFunc(b, func(r rune) bool { return r < 0x80 && !wordByte[r] }) {
		if 'a' <= w[0] && w[0] <= 'z' {
			return false
		}
	}
	return true
}
