package site

import (
	"fmt"
	"strconv"
	"strings"
)

const (
	lastNumber = 9999
	farNumber  = 200 // a number further beyond the next one is taken for a slip of the hand
)

// numberOf returns 12 for "WEIR-0012" of the site WEIR.
func numberOf(site, shipment string) (n int, ok bool) {
	digits, ok := strings.CutPrefix(shipment, site+"-")
	v, err := strconv.ParseUint(digits, 10, 16)
	return int(v), ok && err == nil && len(digits) == 4
}

func number(site string, n int) string { return fmt.Sprintf("%s-%04d", site, n) }

// numbers returns which numbers of a site the log or the state knows, also those
// that came to nothing, and the highest.
func (l *Log) numbers(site string) (given map[int]bool, highest int) {
	given = map[int]bool{}
	add := func(shipment string) {
		if n, ok := numberOf(site, shipment); ok {
			given[n] = true
			highest = max(highest, n)
		}
	}
	for _, e := range l.Entries {
		add(e.Shipment)
	}
	if l.State != nil {
		for _, x := range l.State.Shipments {
			add(x.Number)
		}
	}
	return given, highest
}

// A LastNumberError says that the highest number of a site was given, so that none
// follows. Free is one that may be named; "" when all are used.
type LastNumberError struct{ Site, Free string }

func (e *LastNumberError) Error() string {
	if e.Free == "" {
		return fmt.Sprintf("all %d shipment numbers of site %s are used", lastNumber, e.Site)
	}
	return fmt.Sprintf("%s was given, so no shipment number follows; lower ones are free", number(e.Site, lastNumber))
}

// Next returns the next shipment number of a site: one more than the highest that
// the log or the state knows. The error is a *[LastNumberError].
func (l *Log) Next(site string) (string, error) {
	given, highest := l.numbers(site)
	if highest < lastNumber {
		return number(site, highest+1), nil
	}
	e := &LastNumberError{Site: site}
	for n := lastNumber - 1; n >= 0 && e.Free == ""; n-- { // after the highest that a slip of the hand has not made
		if (n == 0 || given[n]) && !given[n+1] {
			e.Free = number(site, n+1)
		}
	}
	return "", e
}

// TooFar reports whether a number lies so far beyond the next one that it is taken
// for a slip of the hand: it would use up all between. next is that one.
func (l *Log) TooFar(site, asked string) (next string, far bool) {
	_, highest := l.numbers(site)
	n, ok := numberOf(site, asked)
	return number(site, min(highest+1, lastNumber)), ok && n > highest+1+farNumber
}

// Own reports whether a shipment was first sealed in this log, or in one whose place
// it has taken.
func (l *Log) Own(x *Shipment) bool { return l.id() != "" && l.State.leads(x.Log, l.id()) }

// leads reports whether a log is to, or to has taken its place, maybe by way of others.
func (s *State) leads(log, to string) bool {
	for range len(s.Logs) + 1 {
		if log == to {
			return true
		}
		known := s.log(log)
		if known == nil {
			return false
		}
		log = known.Replaced
	}
	return false
}
