package schema

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// A number with many digits can carry somebody's record number along with a measurement:
// 500.00000030418923 ml. So the digits are counted as they are written.

// UsualDigits is how many digits a kept number may have unless the plan says otherwise. A
// 24-bit converter distinguishes 16,777,216 steps, fewer than seven and a half digits.
const UsualDigits = 7

// CellDigits is how many digits a cell of a recording may have unless the plan says otherwise.
// They are counted as written, from the first that is not zero. Trailing zeros after the
// decimal point, such as printf's %f writes, do not count.
//
// Source: IEEE 754-2019, 5.12.2: nine significant digits reproduce every binary32.
const CellDigits = 9

// listedFrom is the smallest number that is compared with the roster: it has eight digits, like a
// date. Shorter numbers would match by chance.
const listedFrom = 1e7

// mostExponent is how many digits the exponent of a cell may have: a double's greatest is 308.
const mostExponent = 3

// mostDigits is how many digits a plan may allow: those of a double.
const mostDigits = 17

// usualFraction is how many digits may follow the seconds of a time: milliseconds.
const usualFraction = 3

// realOffset matches the end of a time with a real offset: Z, or whole quarter hours from -12:00
// to +14:00.
//
// Source: the IANA time zone database has no other offsets since 1980.
var realOffset = regexp.MustCompile(`(?:[Zz]|` +
	`\+(?:(?:0[0-9]|1[0-3]):(?:00|15|30|45)|14:00)|` +
	`-(?:(?:0[0-9]|1[01]):(?:00|15|30|45)|12:00))$`)

// TooLong returns a message if a value that leaves through f has more digits than its meaning
// needs, otherwise "". It counts the digits of a number (from the first that is not zero,
// without trailing zeros after the decimal point, with those of the exponent), its decimal
// places, and the digits of a fraction of a second. It also refuses an offset from UTC that no
// clock has.
func (f *Field) TooLong(n *Node) string {
	switch {
	case n.Kind == Number:
		most := f.Digits
		if most == 0 {
			most = UsualDigits
		}
		if d := significant(n.Text); d > most {
			return fmt.Sprintf("the number has %d digits, and at most %d may leave in this field, because more could be "+
				"somebody's number; round it", d, most)
		}
		if p := decimals(n.Text); f.Decimals > 0 && p > f.Decimals {
			return fmt.Sprintf("the number has %d decimal places, and at most %d may leave in this field, because "+
				"more could be somebody's number; round it", p, f.Decimals)
		}
	case f.Format == "date-time" || f.Format == "time":
		_, fraction, _ := strings.Cut(n.Text, ".")
		if len(fraction)-len(strings.TrimLeft(fraction, "0123456789")) > usualFraction {
			return fmt.Sprintf("the seconds have more than %d decimal places; write the time with "+
				"milliseconds or without", usualFraction)
		}
		if !realOffset.MatchString(n.Text) {
			return "no clock has this offset from UTC, so it could be somebody's number; write it " +
				"in whole quarter hours from -12:00 to +14:00, or Z"
		}
	}
	return ""
}

// parts splits a JSON number into its mantissa, without trailing zeros after the decimal point,
// and its exponent.
func parts(literal string) (mantissa, exponent string) {
	mantissa, exponent, _ = strings.Cut(strings.ToLower(literal), "e")
	if strings.Contains(mantissa, ".") {
		mantissa = strings.TrimSuffix(strings.TrimRight(mantissa, "0"), ".")
	}
	return mantissa, exponent
}

// decimals counts the decimal places of a JSON number. An exponent moves the decimal point.
func decimals(literal string) int {
	mantissa, exponent := parts(literal)
	_, fraction, _ := strings.Cut(mantissa, ".")
	e, _ := strconv.Atoi(strings.TrimPrefix(exponent, "+")) // at most three digits, as ParseJSON has seen
	return max(0, len(fraction)-e)
}

// Decimals returns how many decimal places a number has as it is written, trailing zeros included;
// an exponent moves the decimal point.
func Decimals(literal string) int {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(literal), "e")
	_, fraction, _ := strings.Cut(mantissa, ".")
	e, _ := strconv.Atoi(strings.TrimPrefix(exponent, "+"))
	return max(0, len(fraction)-e)
}

// significant counts the digits of a JSON number as written, without leading zeros and without
// trailing zeros after the decimal point.
func significant(literal string) (n int) {
	mantissa, exponent := parts(literal)
	for _, part := range []string{mantissa, exponent} {
		begun := false
		for _, c := range []byte(part) {
			if begun = begun || '1' <= c && c <= '9'; begun && '0' <= c && c <= '9' {
				n++
			}
		}
	}
	return n
}
