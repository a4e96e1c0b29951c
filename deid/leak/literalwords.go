package leak

import (
	"encoding/binary"
	"math/bits"
)

// lookShort calls judge for every word that is a short literal. It handles 64 bytes at a
// time, with one bit for each.
func (l *Literals) lookShort(b []byte, judge func(start, k int)) {
	if len(l.short.bits) == 0 {
		return
	}
	i := 0
	before := uint64(0) // 1 if b[i-1] belongs to a word
	for ; i+72 <= len(b); i += 64 {
		words, next := uint64(0), wordBits(b[i+64:])
		for k := range 8 {
			words |= wordBits(b[i+8*k:]) << (8 * k)
		}
		// positions where a word of at most 7 bytes begins
		begins := words &^ (words<<1 | before)
		before = words >> 63
		long := words
		for k := 1; k < minLong; k++ {
			if long &= words>>k | next<<(64-k); k < l.shortest {
				begins &= long
			}
		}
		for begins &^= long; begins != 0; begins &= begins - 1 {
			at := bits.TrailingZeros64(begins)
			n := bits.TrailingZeros64(^(words>>at | next<<(64-at)))
			x := binary.LittleEndian.Uint64(b[i+at:])
			l.word(b, i+at, n, (x|smallBits)&(1<<(8*n)-1)|uint64(n)<<56, judge)
		}
	}
	if before != 0 { // the word was handled where it begins
		for i < len(b) && wordByte[b[i]] {
			i++
		}
	}
	for i < len(b) {
		start := i
		for i < len(b) && wordByte[b[i]] {
			i++
		}
		if n := i - start; n > 0 && n < minLong {
			l.word(b, start, n, wordKey(b[start:i]), judge)
		}
		i++
	}
}

// word calls judge if the word of n bytes at b[start] is a short literal.
func (l *Literals) word(b []byte, start, n int, key uint64, judge func(start, k int)) {
	w := &l.short
	h := key * prime1
	if w.bits[h>>w.shift>>6]>>(h>>w.shift&63)&1 == 0 {
		return
	}
	for e := w.heads[w.head(h)]; e != 0; e = w.entries[e].next {
		if x := &w.entries[e]; x.key == key && l.same(b, start, int(x.literal)) {
			judge(start, int(x.literal))
		}
	}
}

// wordBits returns one bit for each of the first 8 bytes of b, the lowest for the first:
// 1 if wordByte marks the byte.
func wordBits(b []byte) uint64 {
	const ones, tops = 0x0101010101010101, 0x8080808080808080
	x := binary.LittleEndian.Uint64(b)
	low := x &^ tops
	folded := low | smallBits
	letters := (folded + (0x80-'a')*ones) &^ (folded + (0x80-'z'-1)*ones)
	digits := (low + (0x80-'0')*ones) &^ (low + (0x80-'9'-1)*ones)
	return ((letters | digits | x) & tops >> 7) * 0x0102040810204080 >> 56
}

// wordKey returns the bytes of w, at most 7, in lower case, with their count in the
// highest byte.
func wordKey(w []byte) uint64 {
	var padded [8]byte
	copy(padded[:], w)
	return (binary.LittleEndian.Uint64(padded[:])|smallBits)&(1<<(8*len(w))-1) | uint64(len(w))<<56
}

// wordByte marks ASCII letters and digits, and all bytes outside ASCII.
var wordByte = func() (t [256]bool) {
	for c := range t {
		t[c] = c >= 0x80 || '0' <= c && c <= '9' || 'A' <= c && c <= 'Z' || 'a' <= c && c <= 'z'
	}
	return t
}()
