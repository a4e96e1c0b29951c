package leak

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
)

// A Border is a condition on the bytes that touch a literal in a text.
type Border uint8

const (
	// Anywhere: a literal counts everywhere, also within a word.
	Anywhere Border = iota
	// Apart: no digit may touch a digit at either end, and no ASCII letter an ASCII
	// letter.
	Apart
	// Number is like Apart, and the literal must not be part of a longer number: it has
	// no "+" before it, and no ".", "," or "-" that joins it to another digit.
	Number
	// Word: no letter or digit may touch a letter or digit at either end. Every byte
	// outside ASCII counts as a letter.
	Word
)

// A Literal is a text to search for. Bytes must be equal, except for the case of ASCII
// letters. A literal below 8 bytes must consist of letters and digits and have the
// border Word.
type Literal struct {
	Text        string
	Column      string // column of the roster, or any other label
	Border      Border
	Capitalised bool // counts only where none of its words begins with a lower-case ASCII letter

	// InSamples marks bytes in an encoding that our own texts never have. Only
	// [Literals.Samples] searches for them.
	InSamples bool
}

// Literals finds every occurrence of many literals in a stream of bytes. Its matching
// is independent of [Scanner]: it does not fold, split or judge texts. It is exact:
// every hit is real; no occurrence is missed. The choice of the literals is not
// independent: [RosterLiterals] uses the scanner's vocabulary, folding and dates. Safe
// for concurrent use.
//
// Long literals (8 bytes or more) are found by a q-gram filter. It examines 6 bytes at
// every third position of the stream. For each literal it knows three neighbouring
// q-grams; one of them is at an examined position wherever the literal occurs. Short
// literals are looked up by the hash of a word, where the text has a word of at most 7
// bytes.
type Literals struct {
	text     []byte // of all literals, ASCII letters in lower case
	list     []literal
	columns  []string
	longest  int // bytes
	sampling sampling
	long     windows
	short    windows
	shortest int // length in bytes of the shortest literal, minLong if none is short
}

// A literal is a Literal with its text in Literals.text, to save memory.
type literal struct {
	at, size    uint32 // in text
	column      uint16
	border      Border
	capitalised bool
	samples     bool // InSamples
}

// minLong is the size of the shortest long literal, in bytes.
const minLong = 8

// smallBits, set in eight bytes, makes ASCII letters lower case. It may make other bytes
// equal too, which is harmless in a filter.
const smallBits = 0x2020202020202020

// A sampling selects the q-grams of a stream that are examined: q bytes at every step-th
// position. Any minLong bytes hold step neighbouring q-grams, one of which is examined:
// q+step-1 = minLong.
type sampling struct{ q, step int }

// Four bytes of a text often equal four bytes of some name, six seldom do. For samples
// four are enough, which allows a larger step.
var (
	inText    = sampling{6, 3}
	inSamples = sampling{4, 5}
)

func (g sampling) mask() uint64 { return 1<<(8*g.q) - 1 }

// key returns the q-gram at the beginning of b, in lower case.
func (g sampling) key(b []byte) uint64 {
	if len(b) >= 8 {
		return (binary.LittleEndian.Uint64(b) | smallBits) & g.mask()
	}
	var padded [8]byte
	copy(padded[:], b)
	return (binary.LittleEndian.Uint64(padded[:]) | smallBits) & g.mask()
}

// NewLiterals returns the search for the literals of list. Of equal texts it keeps the
// first. The error names a literal that breaks the rules of [Literal] by its index.
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

// Samples returns the search for the same literals among bytes that are not text. It
// leaves out short literals, which samples would equal by chance, and adds those that
// are marked InSamples.
func (l *Literals) Samples() *Literals {
	s := *l
	s.short = windows{}
	s.walk(inSamples)
	return &s
}

// walk chooses the q-grams of the long literals for the sampling g.
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

// walked reports whether the sampling g searches for the literal k.
func (l *Literals) walked(k int, g sampling) bool {
	return l.list[k].size >= minLong && (!l.list[k].samples || g == inSamples)
}

// check returns an error if x breaks the rules of [Literal], or has over 65,536 bytes.
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

// of returns the text of literal k.
func (l *Literals) of(k int) []byte {
	x := &l.list[k]
	return l.text[x.at : x.at+x.size]
}

// counts estimates how often each q-gram occurs in all literals. A frequent one, such
// as the beginning of every record number, would make too many positions suspect.
type counts [1 << 18]uint16

func (c *counts) of(key uint64) *uint16 { return &c[key*prime2>>(64-18)] }

func (c *counts) add(text []byte, g sampling) {
	for o := 0; o+g.q <= len(text); o++ {
		if n := c.of(g.key(text[o:])); *n < math.MaxUint16 {
			*n++
		}
	}
}

// rarest returns the offset of the step neighbouring q-grams of text that are rarest
// among all literals.
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

// windows is a hash table from keys (q-grams or words) to literals, with a bit set that
// excludes most keys.
type windows struct {
	bits    []uint64
	shift   uint8    // right shift that makes a bit number of a hash
	heads   []uint32 // first entry of each chain
	entries []entry  // from 1; 0 ends a chain
}

type entry struct {
	key     uint64
	literal uint32
	next    uint32
	offset  uint16 // of the window in the literal
}

// newWindows returns a table for n keys. The bit set has at most one false positive in a
// hundred, and needs 64 KiB for up to 8,000 keys, which fit into a processor's cache.
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

// small maps ASCII letters to lower case.
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

// around is how many bytes on each side of a literal decide whether it counts.
const around = 4

// admits reports whether the literal k, found at b[start:end], counts there. Among
// samples a neighbouring byte is a letter by chance once in five times; there the border
// matters only if all bytes around are printable.
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

// allText reports whether all bytes of b are printable ASCII.
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

// capitalised reports whether no word of b begins with a lower-case ASCII letter.
func capitalised(b []byte) bool {
	for _, w := range bytes.FieldsFunc(b, func(r rune) bool { return r < 0x80 && !wordByte[r] }) {
		if 'a' <= w[0] && w[0] <= 'z' {
			return false
		}
	}
	return true
}
