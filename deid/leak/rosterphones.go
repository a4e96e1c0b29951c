package leak

import (
	"strings"
	"unicode"
)

// addPhone adds a telephone number in all the ways in which it can be dialled, and its
// end without the area code.
func (l *lexicon) addPhone(v string, c code) {
	f := foldString(v)
	if i := strings.IndexAny(f, "x;"); i > 0 { // an extension
		f = f[:i]
	}
	f = strings.TrimRightFunc(f, func(r rune) bool { return !('0' <= r && r <= '9') && !unicode.IsDigit(r) })
	all := strings.Map(func(r rune) rune {
		if '0' <= r && r <= '9' {
			return r
		}
		return -1
	}, f)
	country := ""
	plus := strings.HasPrefix(strings.TrimSpace(f), "+")
	if !plus && strings.HasPrefix(all, "00") {
		all, plus = all[2:], true
	}
	if plus {
		n := callingCode(all)
		country, all = all[:n], all[n:]
	}
	national := strings.TrimPrefix(all, "0")
	if len(national) < 6 {
		return
	}
	for _, p := range []string{"", "0"} {
		k := c
		k.whole = false
		l.put(p+national, k)
		if country != "" {
			l.put(country+p+national, k)
			l.put("00"+country+p+national, k)
			l.put("011"+country+p+national, k)
		}
	}
	for n := 7; n < len(national) && len(national) >= 9; n++ { // without the area code
		k := c
		k.conf, k.cut = Likely, true
		l.put(national[len(national)-n:], k)
	}
	if all != national { // after a country code the 0 is part of the number, as in Italy
		l.put(country+all, c)
	}
}

// callingCodes holds the country codes of two digits.
var callingCodes = wordSet("callingcodes")

// callingCode returns the length of the country code with which digits begins, 0 if
// there are fewer than three digits.
func callingCode(digits string) int {
	switch {
	case len(digits) < 3:
		return 0
	case digits[0] == '1' || digits[0] == '7':
		return 1
	case callingCodes()[digits[:2]]:
		return 2
	}
	return 3
}
