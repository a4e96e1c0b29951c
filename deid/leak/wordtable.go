package leak

import (
	"encoding/binary"
	"math/bits"
)

// A wordTable finds terms by their text. It is immutable and takes bytes, and is faster
// than a map of strings: every word of every text is looked up.
type wordTable struct {
	tags  []uint8 // some bits of the hash; 0 for an empty slot
	terms []*term // the length is a power of two; at most half of the slots are used
	mask  uint32
}

// newWordTable returns a table of terms, at most half full.
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

// look returns the term of the folded word, or nil if there is none.
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

// wordHash hashes eight bytes at a time; the last eight may overlap the ones before. For
// short words it may read, and ignores, bytes after the word, up to its capacity.
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
