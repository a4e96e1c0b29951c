package deid

import (
	"strconv"
	"strings"

	"outbreath/schema"
)

// Numbers can carry an identifier too: the samples of a sensor, and the limits of a
// signal. Their digits, without the decimal point, are compared with the numbers of the
// roster.

// listedNumbers holds the numbers and birth dates of a roster as digits, without
// leading zeros.
type listedNumbers struct {
	of  map[string][]string // by the subject's canonical identifier
	all map[string]bool
}

// leastListed is the least number of digits that a number needs to be searched for:
// that of a date with a two-digit year.
const leastListed = 6

// newListedNumbers collects the numbers with at least leastListed digits. roster may be
// nil.
func newListedNumbers(roster *schema.Roster) *listedNumbers {
	l := &listedNumbers{of: map[string][]string{}, all: map[string]bool{}}
	if roster == nil {
		return l
	}
	for _, row := range roster.Rows {
		id, err := schema.Canonical(row["subject_id"])
		if err != nil {
			continue // refused elsewhere
		}
		for column, value := range row {
			for _, digits := range digitsIn(column, value) {
				if digits = strings.TrimLeft(digits, "0"); len(digits) >= leastListed {
					l.of[id] = append(l.of[id], digits)
					l.all[digits] = true
				}
			}
		}
	}
	return l
}

// digitsIn returns the digits of a value of the roster; for a birth date, the digits in
// each of the orders that countries use; nothing for columns of words.
func digitsIn(column, value string) []string {
	digits := strings.Map(func(r rune) rune {
		if '0' <= r && r <= '9' {
			return r
		}
		return -1
	}, value)
	switch column {
	case "birth_date":
		if len(digits) != 8 {
			return nil
		}
		y, m, d := digits[:4], digits[4:6], digits[6:]
		return []string{y + m + d, d + m + y, m + d + y, y[2:] + m + d, d + m + y[2:], m + d + y[2:]}
	case "given_name", "family_name", "other_names", "sex", "email", "street", "city", "country",
		"emergency_contact_name":
		return nil
	}
	return []string{digits}
}

// inCell reports whether a cell of a CSV recording holds a number of the roster. n is
// the cell's digits, at least eight of them; own are the numbers of the recording's
// subject. A whole number, which hardly any sensor writes with so many digits, is
// compared with everybody's numbers; a fraction only with own, because the digits of a
// fraction equal one of many people's numbers by chance.
func (l *listedNumbers) inCell(own []string, n uint64, whole bool) bool {
	cell := strconv.FormatUint(n, 10)
	if whole && l.all[cell] {
		return true
	}
	cut := strings.TrimRight(cell, "0")
	for _, number := range own {
		if len(number) >= 8 && strings.Contains(cell, number) || len(cut) >= 8 && strings.Contains(number, cut) {
			return true
		}
	}
	return false
}

// inExtreme reports whether a number in an EDF header, such as a physical maximum,
// equals a number of the roster, or seven or more digits of one.
func (l *listedNumbers) inExtreme(text string) bool {
	digits := strings.TrimLeft(strings.Map(func(r rune) rune {
		if '0' <= r && r <= '9' {
			return r
		}
		return -1
	}, text), "0")
	if len(digits) < leastListed {
		return false
	}
	if l.all[digits] {
		return true
	}
	for number := range l.all {
		if len(digits) >= 7 && strings.Contains(number, digits) {
			return true
		}
	}
	return false
}
