package schema

import (
	"cmp"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// plainDigits is the number of digits that always fit an int64.
const plainDigits = 18

// A decimal is a number exactly as written, of up to 36 significant digits:
// (hi 10^loDigits + lo) 10^scale. lo is used only once hi has 18 digits.
type decimal struct {
	neg      bool
	hi, lo   uint64
	loDigits int
	scale    int
}

// add appends a digit; step is -1 after the point, otherwise 0.
func (d *decimal) add(digit byte, step int) {
	n := uint64(digit - '0')
	switch {
	case d.hi < 1e17:
		d.hi = d.hi*10 + n
	case d.loDigits < plainDigits:
		d.lo = d.lo*10 + n
		d.loDigits++
	default:
		return // longer than any cell that is accepted
	}
	d.scale += step
}

// digits counts the digits of d as written without an exponent: from the first that is not zero,
// without trailing zeros after the point.
func (d *decimal) digits() int {
	n, places := digitsOf(d.hi)+d.loDigits, -d.scale
	for _, part := range []struct {
		v      uint64
		digits int
	}{{d.lo, d.loDigits}, {d.hi, digitsOf(d.hi)}} {
		for ; part.digits > 0; part.digits-- {
			if places == 0 || part.v%10 != 0 {
				return n
			}
			part.v /= 10
			n, places = n-1, places-1
		}
	}
	return n
}

func (d *decimal) sign() int {
	switch {
	case d.hi == 0:
		return 0
	case d.neg:
		return -1
	}
	return 1
}

// compare returns -1, 0 or 1 as d is less than, equal to or greater than e.
func (d *decimal) compare(e *decimal) int {
	s := d.sign()
	if c := cmp.Compare(s, e.sign()); c != 0 || s == 0 {
		return c
	}
	dn, en := digitsOf(d.hi), digitsOf(e.hi)
	return s * cmp.Or(
		cmp.Compare(dn+d.loDigits+d.scale, en+e.loDigits+e.scale),
		cmp.Compare(d.hi*pow10[plainDigits-dn], e.hi*pow10[plainDigits-en]),
		cmp.Compare(d.lo*pow10[plainDigits-d.loDigits], e.lo*pow10[plainDigits-e.loDigits]))
}

// float returns the float64 nearest to d.
func (d *decimal) float() float64 {
	f := float64(d.hi)
	// Both are exact up to here, and one division or multiplication rounds
	// correctly (Clinger, How to read floating point numbers accurately, 1990).
	if d.hi <= 1<<53 && d.loDigits == 0 && d.scale >= -maxExact && d.scale <= maxExact {
		if d.scale <= 0 {
			f /= exact10[-d.scale]
		} else {
			f *= exact10[d.scale]
		}
	} else {
		var text [64]byte
		b := strconv.AppendUint(text[:0], d.hi, 10)
		if d.loDigits > 0 {
			first := len(b)
			b = strconv.AppendUint(b, pow10[d.loDigits]+d.lo, 10)
			b = append(b[:first], b[first+1:]...) // removes the 1 that kept the leading zeros
		}
		b = append(b, 'e')
		b = strconv.AppendInt(b, int64(d.scale), 10)
		f, _ = strconv.ParseFloat(string(b), 64) // an infinity if it is beyond float64
	}
	if d.neg {
		return -f
	}
	return f
}

// exact10 are the powers of ten that a float64 represents exactly.
const maxExact = 22

var exact10 = [maxExact + 1]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

var pow10 = func() (p [plainDigits + 1]uint64) {
	p[0] = 1
	for i := 1; i < len(p); i++ {
		p[i] = 10 * p[i-1]
	}
	return p
}()

// digitsOf returns the number of digits of n, at most plainDigits; 0 has none.
func digitsOf(n uint64) int {
	d := 0
	for d < plainDigits && n >= pow10[d] {
		d++
	}
	return d
}

// A csvColumn is a Column prepared for checking: with its limits as decimals and, for numbers
// with 0 to 18 decimal places, in units of the last place.
type csvColumn struct {
	Column
	min, max decimal
	lo, hi   [plainDigits + 1]int64
	most     uint64  // the greatest number of Digits digits
	last     decimal // the value in the row before, in a rising column
	begun    bool
}

// ready prepares a column. It panics if a limit is NaN, or an infinity that excludes every number.
func ready(col Column) csvColumn {
	if math.IsNaN(col.Min) || math.IsNaN(col.Max) || math.IsInf(col.Min, 1) || math.IsInf(col.Max, -1) {
		panic("schema: the limits of a column are not numbers")
	}
	if col.Digits == 0 {
		col.Digits = CellDigits
	}
	c := csvColumn{Column: col,
		min: limit(col.Min), lo: places(col.Min, 1),
		max: limit(col.Max), hi: places(col.Max, 0)}
	c.most = pow10[min(col.Digits, plainDigits)] - 1
	return c
}

// short reports whether m has no more digits than allowed, not counting trailing zeros among its
// decimal places.
func (c *csvColumn) short(m uint64, places int) bool {
	for ; m > c.most && places > 0 && m%10 == 0; places-- {
		m /= 10
	}
	return m <= c.most
}

// limit returns f as the shortest decimal that means f.
func limit(f float64) decimal {
	var d decimal
	if math.IsInf(f, 0) {
		return d // not used: holds checks for infinities first
	}
	digits, exp, _ := strings.Cut(strconv.FormatFloat(f, 'e', -1, 64), "e")
	d.neg = f < 0
	whole, fraction, _ := strings.Cut(strings.TrimPrefix(digits, "-"), ".")
	d.add(whole[0], 0)
	for i := range len(fraction) {
		d.add(fraction[i], -1)
	}
	n, _ := strconv.Atoi(exp)
	d.scale += n
	return d
}

// places returns f in units of the last of 0 to 18 places, rounded down, or up
// if up is 1, and cut off at the ends of int64.
func places(f float64, up int64) (out [plainDigits + 1]int64) {
	r, finite := new(big.Rat).SetString(strconv.FormatFloat(f, 'e', -1, 64))
	for k := range out {
		n := new(big.Int)
		if finite {
			rest := new(big.Int)
			n.DivMod(r.Num(), r.Denom(), rest)
			if rest.Sign() != 0 {
				n.Add(n, big.NewInt(up))
			}
			r.Mul(r, big.NewRat(10, 1))
		}
		switch {
		case finite && n.IsInt64():
			out[k] = n.Int64()
		case n.Sign() < 0 || f < 0:
			out[k] = math.MinInt64
		default:
			out[k] = math.MaxInt64
		}
	}
	return out
}

// holds reports whether d is within the column's range.
func (c *csvColumn) holds(d *decimal) bool {
	return (math.IsInf(c.Min, -1) || d.compare(&c.min) >= 0) && (math.IsInf(c.Max, 1) || d.compare(&c.max) <= 0)
}

// rises reports whether d is greater than the value in the row before.
func (c *csvColumn) rises(d *decimal) bool {
	if !c.begun {
		return true
	}
	if l := &c.last; d.scale == l.scale && d.loDigits == 0 && l.loDigits == 0 && !d.neg && !l.neg {
		return d.hi > l.hi
	}
	return d.compare(&c.last) > 0
}
