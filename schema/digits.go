package schema

import (
	"fmt"
	"strings"
)

// A number with many digits can carry somebody's record number beside what it
// measures: 500.00000030418923 ml. So the digits are counted as they are written.

// UsualDigits is how many digits a kept number and a cell of a recording may have
// where the plan says nothing else: a converter of 24 bits tells apart 16,777,216
// steps, fewer than seven digits and a half.
const UsualDigits = 7

// mostDigits is what a plan may allow: those of a double.
const mostDigits = 17

// usualFraction is how many digits may follow the second of a time: milliseconds.
const usualFraction = 3

// TooLong says that a value that f lets out has more digits than f's meaning needs:
// the digits of a number from the first that is not zero, those of its exponent
// with them, or those of the fraction of a second. It is "" if it has not.
func (f *Field) TooLong(n *Node) string {
	switch {
	case n.Kind == Number:
		most := f.Digits
		if most == 0 {
			most = UsualDigits
		}
		if d := significant(n.Text); d > most {
			return fmt.Sprintf("the number has %d digits, and at most %d leave from here, because more could be somebody's number; round it", d, most)
		}
	case f.Format == "date-time" || f.Format == "time":
		_, fraction, _ := strings.Cut(n.Text, ".")
		if len(fraction)-len(strings.TrimLeft(fraction, "0123456789")) > usualFraction {
			return fmt.Sprintf("the second has more than %d digits behind the point; write the time with milliseconds or without", usualFraction)
		}
	}
	return ""
}

// significant counts the digits of a JSON number as it is written, without the
// zeros in front.
func significant(literal string) (n int) {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(literal), "e")
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
