package leak

import (
	"encoding/binary"
	"math/bits"
)

// Values of the roster are also found where something is glued to them, a name
// within a longer word (gebMiller, Miller7x), a number within a longer number, and
// where something parts them (see parted.go). The text is read as a stream of letters
// and digits, and every place of it compared with the beginnings of all values. What
// is neither glued nor parted is left to the other detectors, which judge more finely.

// An inlay is a value that is searched within words and numbers.
type inlay struct {
	key    string // folded, letters and digits alone
	what   uint16 // place in lexicon.kinds
	form   inlayForm
	common bool // an everyday word as well: counts only where capitals set it off
}

type inlayForm uint8

const (
	inlayName   inlayForm = iota // letters
	inlayPhrase                  // several words, or a place
	inlayCode                    // holds a digit
	inlayDigits                  // digits alone
	inlayDate                    // eight digits of a birth date
)

// inlays is the index: of each value the first six bytes, or four of a shorter
// one, say where it is.
type inlays struct {
	list  []inlay
	next  []uint32 // the place of the next one with the same hash, from 1
	heads []uint32 // by hash; a power of two
	some  bitSet   // a look that says "surely not"
}

// The least sizes of an inlay, and of one that is found by six bytes.
const (
	leastInlay = 4
	longInlay  = 6
)

func (x *inlays) add(key string, what uint16, form inlayForm, common bool) {
	if len(key) >= leastInlay {
		x.list = append(x.list, inlay{key, what, form, common})
	}
}

func (x *inlays) finish() {
	n := len(x.list)
	x.next, x.heads, x.some = make([]uint32, n+1), make([]uint32, 1<<bits.Len(uint(n))), newBitSet(4*n)
	for i := range x.list {
		key := x.list[i].key
		var room [8]byte
		copy(room[:], key)
		h := headHash(binary.LittleEndian.Uint64(room[:]), len(key) >= longInlay)
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

// headHash mixes the first six bytes of w, or the first four.
func headHash(w uint64, long bool) uint32 {
	if long {
		return uint32(w & (1<<48 - 1) * prime2 >> 32)
	}
	return uint32(w & (1<<32 - 1) * prime1 >> 32)
}

// at calls f with every inlay that b begins with; short ones only if asked.
// Beyond the end of b lie at least eight bytes more.
func (x *inlays) at(b []byte, short bool, f func(*inlay)) {
	w := binary.LittleEndian.Uint64(b[:8])
	for _, long := range []bool{true, false}[:1+bit(short)] {
		h := headHash(w, long)
		if !x.some.has(h) {
			continue
		}
		for k := x.heads[h&uint32(len(x.heads)-1)]; k != 0; k = x.next[k] {
			if v := &x.list[k-1]; len(v.key) <= len(b) && v.key == string(b[:len(v.key)]) &&
				long == (len(v.key) >= longInlay) {
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
