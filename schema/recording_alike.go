package schema

import (
	"encoding/binary"
	"math"
)

// Nearly every cell of a recording has the layout of the cell above: the same sign and number of
// digits, the point in the same place. Such a cell is checked with one comparison of eight bytes
// at once, and the beginning of the next cell is known in advance.

// A cellMask is the layout of a cell of up to eight bytes, its end included, with the limits of
// the column. The zero cellMask matches nothing.
type cellMask struct {
	length int
	fixed  uint64 // sign, point and end; '0' in place of each digit
	over   uint64 // added to each byte's difference from fixed: sets its top bit if that is too great
	tops   uint64 // the top bits of those bytes
	whole  uint64 // 0xFF at the sign and each digit before the point
	shift  int    // in bits: moves the digits to the end of the word
	minus  uint64 // the sign bit of a float64, or 0
	lo, hi int64  // the limits of the digits taken as one number
	places int
	scale  float64 // ten to the places
	rising bool
	needed bool  // by Each
	last   int64 // of a rising column: the digits in the row before
}

// set sets s to the layout of a number of length bytes, sign included, with places digits after
// the point, that is followed by end.
func (s *cellMask) set(length, places int, neg bool, end string, col *csvColumn) {
	*s = cellMask{}
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
	most := int64(min(col.most, 1e8)) // eight digits at most; cells with more digits than allowed take the slow path
	s.lo, s.hi = max(-most, col.lo[places]), min(most, col.hi[places])
	if neg {
		s.minus = 1 << 63
		s.lo, s.hi = -s.hi, -s.lo
	}
	s.rising = col.Rising
}

// alike consumes rows with the layout of the row before from p[i] on, and returns the beginning
// of the first cell that differs.
func (c *CSVCheck) alike(p []byte, i int) int {
	for k := range c.masks {
		s, col := &c.masks[k], &c.columns[k]
		if s.rising {
			if l := &col.last; s.minus != 0 || !col.begun || l.neg || l.loDigits > 0 || l.scale != -s.places {
				return i
			}
			s.last = int64(col.last.hi)
		}
	}
	for len(p)-i >= 8*len(c.masks) {
		for k := range c.masks {
			s := &c.masks[k]
			x := binary.LittleEndian.Uint64(p[i:]) ^ s.fixed
			if (x+s.over|x)&s.tops != 0 || s.length == 0 {
				c.col = k
				return i
			}
			x = (x&s.whole | x>>8&^s.whole) << (s.shift & 63) // only the digits, with leading zeros
			x = x*10 + x>>8                                   // the lower of each two bytes now holds two digits
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
