package sessionlog

import (
	"math/big"
	"regexp"
	"strings"

	"outbreath/schema"
)

// A numeral is a number as it is written: its digits under both decimal signs, plain
// decimals without needless zeros. A field is "" where the sign cannot be the decimal one.
type numeral struct {
	point, comma string
	unit         string // what follows the number: "ml"; "" for nothing
}

// settled reports whether the decimal sign makes no difference.
func (n numeral) settled() bool { return n.point == n.comma }

var (
	groupedBy = map[byte]*regexp.Regexp{
		',': regexp.MustCompile(`^[1-9][0-9]{0,2}(,[0-9]{3})+$`),
		'.': regexp.MustCompile(`^[1-9][0-9]{0,2}(\.[0-9]{3})+$`),
		'x': regexp.MustCompile(`^[1-9][0-9]{0,2}(['_ ][0-9]{3})+$`), // an apostrophe or a blank
	}
	allDigits = regexp.MustCompile(`^[0-9]+$`)
	numberRun = regexp.MustCompile(`^([+-]? ?[0-9.,]+(?:['_ ][0-9]{3})*(?:[.,][0-9]+)?)(.*)$`)
	exponent  = regexp.MustCompile(`^[+-]?[0-9]+([.,][0-9]+)?[eE][+-]?[0-9]{1,3}$`)
)

// readNumeral reads a number as people and spreadsheets write it. ok is false if s is
// none: then nothing of it may be used.
func readNumeral(s string) (n numeral, ok bool) {
	s = clean(s)
	m := numberRun.FindStringSubmatch(s)
	if m == nil || len(s) > 64 {
		return n, false
	}
	digits, rest := m[1], strings.TrimSpace(m[2])
	sign := ""
	if digits[0] == '-' || digits[0] == '+' {
		sign = strings.TrimPrefix(digits[:1], "+")
		digits = strings.TrimSpace(digits[1:])
	}
	n.unit = rest
	n.point = decimal(digits, '.', ',')
	n.comma = decimal(digits, ',', '.')
	if n.point != "" {
		n.point = plainDecimal(sign + n.point)
	}
	if n.comma != "" {
		n.comma = plainDecimal(sign + n.comma)
	}
	return n, n.point != "" || n.comma != ""
}

// decimal reads digits with the given decimal sign; other may group them by three, as
// may blanks and apostrophes. It is "" if they do not fit.
func decimal(digits string, sign, other byte) string {
	whole, fraction, cut := strings.Cut(digits, string(sign))
	if cut && !allDigits.MatchString(fraction) {
		return ""
	}
	switch {
	case allDigits.MatchString(whole):
	case groupedBy[other].MatchString(whole) || groupedBy['x'].MatchString(whole):
		whole = strings.NewReplacer(",", "", ".", "", "'", "", "_", "", " ", "").Replace(whole)
	case whole == "" && cut: // .5
		whole = "0"
	default:
		return ""
	}
	if cut {
		return whole + "." + fraction
	}
	return whole
}

// storedForm is a number as workbooks store it. A double has no greater exponent.
var storedForm = regexp.MustCompile(`^[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]{1,3})?$`)

// storedNumber returns the decimal of a number that a workbook stores, to 15 digits,
// which is what spreadsheet programs keep (common practice, no source). digits is
// how many it had before it was rounded, from the first that is not zero.
func storedNumber(text string) (decimal string, digits int, ok bool) {
	text = strings.TrimSpace(text)
	if len(text) > 64 || !storedForm.MatchString(text) {
		return "", 0, false
	}
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		return "", 0, false
	}
	mantissa, _, _ := strings.Cut(strings.ToLower(text), "e")
	significant := strings.TrimLeft(strings.NewReplacer("-", "", "+", "", ".", "").Replace(mantissa), "0")
	significant = strings.TrimRight(significant, "0")
	whole := new(big.Int).Quo(r.Num(), r.Denom())
	if whole.BitLen() > 128 {
		return "", 0, false
	}
	places := 20
	if len(significant) > 15 {
		places = 15 - len(new(big.Int).Abs(whole).String())
		if whole.Sign() == 0 {
			places = 15 + leadingZeros(r)
		}
	}
	return plainDecimal(r.FloatString(max(places, 0))), len(significant), true
}

// leadingZeros counts the zeros behind the point of a number below 1.
func leadingZeros(r *big.Rat) int {
	_, fraction, _ := strings.Cut(r.FloatString(30), ".")
	return len(fraction) - len(strings.TrimLeft(fraction, "0"))
}

// fits reports whether a number is one that the leaf takes.
func fits(leaf *schema.Leaf, decimal string) bool {
	if decimal == "" {
		return false
	}
	v := rat(decimal)
	if !leaf.Accepts("number") && leaf.Accepts("integer") && !v.IsInt() {
		return false
	}
	return (leaf.Minimum == "" || v.Cmp(rat(leaf.Minimum)) >= 0) && (leaf.Maximum == "" ||
		v.Cmp(rat(leaf.Maximum)) <= 0)
}
