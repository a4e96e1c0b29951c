package leak

import (
	"slices"
	"unicode/utf8"
)

// A typoIndex finds words that differ by one edit. Each word is listed under its own
// hash and the hashes of the word without one of its letters; two words one edit apart
// share such a hash.
type typoIndex struct {
	keys  []uint64 // hash<<32 | word, ascending
	words []*term
	some  bitSet
}

// deletions calls f with the hash of w, and then with the hashes of w without each of
// its letters, until f returns false. It uses a rolling hash, which makes the time linear
// in the length of w; only the first 64 bytes count.
func deletions(w []byte, f func(h uint32) bool) {
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
	deletions([]byte(t.text), func(h uint32) bool {
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

// near calls f with every word that is one edit from w (one letter inserted, deleted or
// replaced, or two neighbours swapped) until f returns false.
func (x *typoIndex) near(w []byte, f func(*term) bool) {
	if len(x.keys) == 0 {
		return
	}
	deletions(w, func(h uint32) bool {
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

// oneOff reports whether a and b are one edit apart; a swap of neighbours is one edit.
func oneOff(a, b string) bool {
	x, y := []rune(a), []rune(b)
	i := 0
	for i < len(x) && i < len(y) && x[i] == y[i] {
		i++
	}
	x, y = x[i:], y[i:]
	for len(x) > 0 && len(y) > 0 && x[len(x)-1] == y[len(y)-1] {
		x, y = x[:len(x)-1], y[:len(y)-1]
	}
	switch {
	case len(x)+len(y) == 1, len(x) == 1 && len(y) == 1:
		return true
	}
	return len(x) == 2 && len(y) == 2 && x[0] == y[1] && x[1] == y[0]
}
