package schema

import (
	"encoding/binary"
	"math"
)

// Nearly every cell of a recording looks like the one above: as many digits, the
// point in the same place, the same sign. Such a cell is proved with one
// comparison of eight bytes, and where the next one begins is known before.

// A stencil is the look of a cell of up to eight bytes with what ends it, and
// what the column asks of it. The zero stencil fits nothing.
type stencil struct {
	length int
	fixed  uint64 // the sign, the point and the end, and 0 in place of each digit
	over   uint64 // added to a byte's difference from fixed, it reaches the top bit if it is too great
	tops   uint64 // the top bits of all those bytes
	whole  uint64 // 0xFF at each digit before the point, and at the sign
	shift  int    // bits by which the digits are moved to the end of the word
	minus  uint64 // the sign bit of a float64, or 0
	lo, hi int64  // the limits of the digits taken as one number
	places int
	scale  float64 // ten to the places
	rising bool
	needed bool  // by Each
	last   int64 // of a rising column: the digits in the row before
}

// cut makes the stencil of a number of so many bytes with its sign, places of them
// behind a point, that is followed by end.
func (s *stencil) cut(length, places int, neg bool, end string, col *csvColumn) {
	*s = stencil{}
	if length+len(end) > 8 {
		return
	}
	point := length // of a number without one
	if places > 0 {
		point = length - places - 1
	}
	look := func(i int, fixed, over byte) {
		s.fixed |= uint64(fixed) << (8 * i)
		s.over |= uint64(over) << (8 * i)
		s.tops |= 0x80 << (8 * i)
	}
	for i := range length {
		switch {
		case i == 0 && neg:
			look(i, '-', 0x7F)
		case i == point:
			look(i, '.', 0x7F)
		default:
			look(i, '0', 0x7F-9)
		}
	}
	for i := range len(end) {
		look(length+i, end[i], 0x7F)
	}
	s.length = length + len(end)
	s.whole = 1<<(8*point) - 1
	s.shift = 8 * (8 - length)
	if places > 0 {
		s.shift += 8
	}
	s.places, s.scale = places, exact10[places]
	most := int64(min(col.most, 1e8)) // more than eight digits; what has more than the column may is looked at apart
	s.lo, s.hi = max(-most, col.lo[places]), min(most, col.hi[places])
	if neg {
		s.minus = 1 << 63
		s.lo, s.hi = -s.hi, -s.lo
	}
	s.rising = col.Rising
}

// alike takes rows that look like the row before from p[i], and returns the
// beginning of the first cell that does not.
func (c *CSVCheck) alike(p []byte, i int) int {
	for k := range c.stencils {
		s, col := &c.stencils[k], &c.columns[k]
		if s.rising {
			if l := &col.last; s.minus != 0 || !col.begun || l.neg || l.loDigits > 0 || l.scale != -s.places {
				return i
			}
			s.last = int64(col.last.hi)
		}
	}
	for len(p)-i >= 8*len(c.stencils) {
		for k := range c.stencils {
			s := &c.stencils[k]
			x := binary.LittleEndian.Uint64(p[i:]) ^ s.fixed
			if (x+s.over|x)&s.tops != 0 || s.length == 0 {
				c.col = k
				return i
			}
			x = (x&s.whole | x>>8&^s.whole) << (s.shift & 63) // the digits alone, zeros in front
			x = x*10 + x>>8                                   // of each two bytes, the lower one: two digits
			const pairs = 0x000000FF000000FF
			v := int64((x&pairs*(100+1e6<<32) + x>>16&pairs*(1+1e4<<32)) >> 32)
			if v < s.lo || v > s.hi || s.rising && v <= s.last {
				c.col = k
				return i
			}
			if s.rising {
				s.last = v
				c.columns[k].last.hi = uint64(v)
			}
			if s.needed {
				c.row[k] = math.Float64frombits(math.Float64bits(float64(v)/s.scale) ^ s.minus)
			}
			i += s.length
		}
		c.endRow(i - 1)
	}
	return i
}
