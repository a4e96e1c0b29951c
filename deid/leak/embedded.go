package leak

import (
	"encoding/binary"
	"math/bits"
)

// Values of the roster are also found embedded in other text: a name within a longer
// word (gebMiller, Miller7x), a number within a longer number; and with something
// between their letters or digits (see parted.go). For this the text is read as a
// stream of letters and digits, and every position is compared with the beginnings of
// all values. Values that form whole words are left to the other detectors, which are more
// precise.

// An embedded is a value of the roster that is searched within words and numbers.
type embedded struct {
	key    string // folded, only letters and digits
	what   uint16 // index in lexicon.kinds
	form   embeddedForm
	common bool // also an everyday word: counts only if capitals mark it
}

type embeddedForm uint8

const (
	embeddedName   embeddedForm = iota // letters
	embeddedPhrase                     // several words, or a place
	embeddedCode                       // holds a digit
	embeddedDigits                     // digits alone
	embeddedDate                       // eight digits of a birth date
)

// An embeddedIndex finds values by a hash of their first six bytes, or of four for
// shorter ones.
type embeddedIndex struct {
	list  []embedded
	next  []uint32 // index from 1 of the next value with the same hash, 0 at the end
	heads []uint32 // index from 1 of the first value by hash; the length is a power of two
	some  bitSet   // the hashes, to exclude most positions quickly
}

// The least lengths in bytes of an embedded value, and of one that is found by its
// first six bytes instead of four.
const (
	minEmbedded  = 4
	longEmbedded = 6
)

// add adds a folded value. Values shorter than minEmbedded are left out, because chance
// hits would be too frequent.
func (x *embeddedIndex) add(key string, what uint16, form embeddedForm, common bool) {
	if len(key) >= minEmbedded {
		x.list = append(x.list, embedded{key, what, form, common})
	}
}

// finish builds the index, each value once. Call it after the last add.
func (x *embeddedIndex) finish() {
	n := len(x.list)
	x.next, x.heads, x.some = make([]uint32, n+1), make([]uint32, 1<<bits.Len(uint(n))), newBitSet(4*n)
	for i := range x.list {
		key := x.list[i].key
		var head8 [8]byte
		copy(head8[:], key)
		h := headHash(binary.LittleEndian.Uint64(head8[:]), len(key) >= longEmbedded)
		head := &x.heads[h&uint32(len(x.heads)-1)]
		twice := false
		for k := *head; k != 0 && !twice; k = x.next[k] {
			twice = x.list[k-1].key == key
		}
		if !twice {
			x.next[i+1], *head = *head, uint32(i+1)
			x.some.add(h)
		}
	}
}

// headHash hashes the first six bytes of w if long, otherwise the first four.
func headHash(w uint64, long bool) uint32 {
	if long {
		return uint32(w & (1<<48 - 1) * prime2 >> 32)
	}
	return uint32(w & (1<<32 - 1) * prime1 >> 32)
}

// at calls f with every value with which b begins, and with values shorter than
// longEmbedded only if short is set. b must hold at least eight bytes.
func (x *embeddedIndex) at(b []byte, short bool, f func(*embedded)) {
	w := binary.LittleEndian.Uint64(b[:8])
	for _, long := range []bool{true, false}[:1+bit(short)] {
		h := headHash(w, long)
		if !x.some.has(h) {
			continue
		}
		for k := x.heads[h&uint32(len(x.heads)-1)]; k != 0; k = x.next[k] {
			if v := &x.list[k-1]; len(v.key) <= len(b) && v.key == string(b[:len(v.key)]) &&
				long == (len(v.key) >= longEmbedded) {
				f(v)
			}
		}
	}
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}
