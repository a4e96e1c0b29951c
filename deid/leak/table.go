package leak

import (
	"encoding/binary"
	"math/bits"
	"slices"
	"unicode/utf8"
)

// A wordTable finds terms by their text. It is made once and for bytes, which a
// map of strings is slower at: every word of every text is looked up.
type wordTable struct {
	tags  []uint8 // 0 where no term is, else some bits of the hash
	terms []*term // a power of two, at most half of them there
	mask  uint32
}

func newWordTable(terms map[string]*term) (w wordTable) {
	n := 1 << bits.Len(uint(2*len(terms)))
	w.tags, w.terms, w.mask = make([]uint8, n), make([]*term, n), uint32(n-1)
	for text, t := range terms {
		h := wordHash([]byte(text))
		i := h & w.mask
		for w.tags[i] != 0 {
			i = (i + 1) & w.mask
		}
		w.tags[i], w.terms[i] = tag(h), t
	}
	return w
}

func tag(h uint32) uint8 { return uint8(h>>24) | 1 }

// look returns the term of the folded word, or nil.
func (w *wordTable) look(word []byte) *term {
	h := wordHash(word)
	for i := h & w.mask; ; i = (i + 1) & w.mask {
		switch w.tags[i] {
		case 0:
			return nil
		case tag(h):
			if t := w.terms[i]; t.text == string(word) {
				return t
			}
		}
	}
}

const (
	prime1 = 0x9e3779b97f4a7c15
	prime2 = 0xff51afd7ed558ccd
)

// wordHash mixes eight bytes at a time; the last eight may overlap. It may read
// beyond the word where memory allows, to be quick with short ones.
func wordHash(w []byte) uint32 {
	n := len(w)
	h := uint64(n) * prime1
	switch {
	case n >= 8:
		for i := 0; i+8 < n; i += 8 {
			h = bits.RotateLeft64((h^binary.LittleEndian.Uint64(w[i:]))*prime2, 29)
		}
		h ^= binary.LittleEndian.Uint64(w[n-8:])
	case cap(w) >= 8:
		h ^= binary.LittleEndian.Uint64(w[:8]) & (1<<(8*n) - 1)
	default:
		for i, c := range w {
			h ^= uint64(c) << (8 * i)
		}
	}
	h *= prime2
	return uint32(h>>32) ^ uint32(h>>61)
}

// A bitSet answers "surely not" from one look at memory: two bits of one word
// for each hash.
type bitSet struct {
	words []uint64
	mask  uint32
}

// newBitSet holds n hashes with about one false "perhaps" in fifty.
func newBitSet(n int) bitSet {
	size := 1 << bits.Len(uint(n/8))
	return bitSet{make([]uint64, size), uint32(size - 1)}
}

func (b *bitSet) add(h uint32) {
	m := uint64(h) * prime1
	b.words[uint32(m>>32)&b.mask] |= twoBits(m)
}

func (b *bitSet) has(h uint32) bool {
	m := uint64(h) * prime1
	two := twoBits(m)
	return b.words[uint32(m>>32)&b.mask]&two == two
}

func twoBits(m uint64) uint64 { return 1<<(m>>26&63) | 1<<(m>>20&63) }

// A typoIndex finds words that become equal when a letter is left out of one or
// of both: each word stands under the hashes of what it becomes without a letter.
type typoIndex struct {
	keys  []uint64 // hash<<32 | word, ascending
	words []*term
	some  bitSet
}

// without calls f with a hash of w, then with one of w without each of its
// letters in turn, until f says false.
func without(w []byte, f func(h uint32) bool) {
	const base = 0x9e3779b97f4a7c15 // h = sum of w[i] * base^(n-1-i)
	var tail [65]uint64             // tail[i]: hash of w[i:]
	n := min(len(w), 64)
	w = w[:n]
	pow := uint64(1)
	for i := n - 1; i >= 0; i-- {
		tail[i] = tail[i+1] + uint64(w[i]+1)*pow
		pow *= base
	}
	if !f(uint32(tail[0] >> 32)) {
		return
	}
	head := uint64(0) // hash of w[:i]
	pow = 1
	for range n {
		pow *= base
	}
	inverse := uint64(0xf1de83e19937733d) // of base modulo 2^64
	for i, k := 0, 0; i < n; i += k {
		_, k = utf8.DecodeRune(w[i:n])
		for range k {
			pow *= inverse
		}
		if !f(uint32((head*pow + tail[i+k]) >> 32)) {
			return
		}
		for _, c := range w[i : i+k] {
			head = head*base + uint64(c+1)
		}
	}
}

func (x *typoIndex) add(t *term) {
	k := uint64(len(x.words))
	x.words = append(x.words, t)
	without([]byte(t.text), func(h uint32) bool {
		x.keys = append(x.keys, uint64(h)<<32|k)
		return true
	})
}

func (x *typoIndex) finish() {
	slices.Sort(x.keys)
	x.keys = slices.Clip(slices.Compact(x.keys))
	x.some = newBitSet(len(x.keys))
	for _, k := range x.keys {
		x.some.add(uint32(k >> 32))
	}
}

// near calls f with every word that becomes w by one letter put in, left out,
// replaced, or by two neighbours changing places, until f says false.
func (x *typoIndex) near(w []byte, f func(*term) bool) {
	if len(x.keys) == 0 {
		return
	}
	without(w, func(h uint32) bool {
		if !x.some.has(h) {
			return true
		}
		i, _ := slices.BinarySearch(x.keys, uint64(h)<<32)
		for ; i < len(x.keys) && uint32(x.keys[i]>>32) == h; i++ {
			if t := x.words[uint32(x.keys[i])]; t.text != string(w) && oneOff(t.text, string(w)) && !f(t) {
				return false
			}
		}
		return true
	})
}
