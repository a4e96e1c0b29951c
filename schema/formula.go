package schema

import (
	"strconv"
	"strings"
	"unicode/utf8"
)

// Formula reports whether a spreadsheet would execute cell instead of showing it: whether it
// begins with = + - @, one of these in full width, a tab or a carriage return. A number with a
// sign is not a formula.
//
// Source: OWASP, "CSV Injection" (from memory).
func Formula(cell string) bool {
	first, _ := utf8.DecodeRuneInString(cell)
	switch {
	case cell == "" || !strings.ContainsRune("=+-@\t\r＝＋－＠", first):
		return false
	case first == '+' || first == '-':
		return !plainNumber(cell[1:])
	}
	return true
}

// plainNumber reports whether s is an unsigned decimal number of the kind that a recording may
// hold.
func plainNumber(s string) bool {
	if s == "" || strings.Trim(s, "0123456789.eE+-") != "" || s[0] == '+' || s[0] == '-' {
		return false
	}
	_, err := strconv.ParseFloat(s, 64)
	return err == nil
}
