package schema

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// A number with many digits can carry somebody's record number beside what it
// measures: 500.00000030418923 ml. So the digits are counted as they are written.

// UsualDigits is how many digits a kept number may have where the plan says nothing
// else: a converter of 24 bits tells apart 16,777,216 steps, fewer than seven digits
// and a half.
const UsualDigits = 7

// CellDigits is how many digits a cell of a recording may have where the plan says
// nothing else. They are counted as written, from the first that is not zero; zeros
// that end the places behind the point, such as printf's %f writes, are left out.
//
// Source: IEEE 754-2019, 5.12.2: nine significant digits give every binary32 back.
const CellDigits = 9

// listedFrom is the least number of digits that can be somebody's number by more
// than chance: eight, those of a date.
const listedFrom = 1e7

// mostExponent is how many digits the exponent of a cell may have: a double's
// greatest is 308.
const mostExponent = 3

// mostDigits is what a plan may allow: those of a double.
const mostDigits = 17

// usualFraction is how many digits may follow the second of a time: milliseconds.
const usualFraction = 3

// realOffset is how a time ends: Z, or a whole quarter of an hour from -12:00 to
// +14:00.
//
// Source: the time zone database of the IANA has no other since 1980.
var realOffset = regexp.MustCompile(`(?:[Zz]|` +
	`\+(?:(?:0[0-9]|1[0-3]):(?:00|15|30|45)|14:00)|` +
	`-(?:(?:0[0-9]|1[01]):(?:00|15|30|45)|12:00))$`)

// TooLong says that a value that f lets out has more digits than f's meaning needs:
// the digits of a number from the first that is not zero, without the zeros that
// end the places behind the point, those of its exponent with them; its places
// behind the point; those of the fraction of a second; or those
// of an offset from UTC that there is not. It is "" if it has not.
func (f *Field) TooLong(n *Node) string {
	switch {
	case n.Kind == Number:
		most := f.Digits
		if most == 0 {
			most = UsualDigits
		}
		if d := significant(n.Text); d > most {
			return fmt.Sprintf("the number has %d digits, and at most %d leave from here, because more could be "+
				"somebody's number; round it", d, most)
		}
		if p := decimals(n.Text); f.Decimals > 0 && p > f.Decimals {
			return fmt.Sprintf("the number has %d places behind the point, and at most %d leave from here, because "+
				"more could be somebody's number; round it", p, f.Decimals)
		}
	case f.Format == "date-time" || f.Format == "time":
		_, fraction, _ := strings.Cut(n.Text, ".")
		if len(fraction)-len(strings.TrimLeft(fraction, "0123456789")) > usualFraction {
			return fmt.Sprintf("the second has more than %d digits behind the point; write the time with "+
				"milliseconds or without", usualFraction)
		}
		if !realOffset.MatchString(n.Text) {
			return "the offset from UTC is none that a clock is set to, so it could be somebody's number; write it " +
				"in whole quarter hours from -12:00 to +14:00, or Z"
		}
	}
	return ""
}

// parts returns a JSON number without the zeros that end the places behind the
// point, and its exponent.
func parts(literal string) (mantissa, exponent string) {
	mantissa, exponent, _ = strings.Cut(strings.ToLower(literal), "e")
	if strings.Contains(mantissa, ".") {
		mantissa = strings.TrimSuffix(strings.TrimRight(mantissa, "0"), ".")
	}
	return mantissa, exponent
}

// decimals counts the places behind the point of a JSON number. An exponent moves
// the point.
func decimals(literal string) int {
	mantissa, exponent := parts(literal)
	_, fraction, _ := strings.Cut(mantissa, ".")
	e, _ := strconv.Atoi(strings.TrimPrefix(exponent, "+")) // at most three digits, as ParseJSON has seen
	return max(0, len(fraction)-e)
}

// significant counts the digits of a JSON number as it is written, without the
// zeros in front and those that end the places behind the point.
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
