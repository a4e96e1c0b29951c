package leak

import "math/bits"

// A bitSet is a Bloom filter of hashes. It sets two bits of one word for each hash, and
// needs only one memory access to exclude a hash.
type bitSet struct {
	words []uint64
	mask  uint32
}

// newBitSet returns a filter for n hashes with about one false positive in fifty.
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

// twoBits derives the two bits from the mixed hash m.
func twoBits(m uint64) uint64 { return 1<<(m>>26&63) | 1<<(m>>20&63) }
