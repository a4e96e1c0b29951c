package edf

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Validate checks every rule of the format that one header alone can break. The
// error is a *FieldError.
func (h *Header) Validate() error {
	if n := len(h.Signals); n < 1 || n > MaxSignals {
		return fieldError(signals, 0, n, fmt.Sprintf("is not a plain whole number from 1 to %d",
			MaxSignals)+exportAgain)
	}
	if err := h.checkTexts(); err != nil {
		return err
	}
	if !validDate(h.StartDate) {
		return h.bad(startDate, 0, "is not a day written dd.mm.yy"+exportAgain)
	}
	if !validTime(h.StartTime) {
		return h.bad(startTime, 0, "is not a time written hh.mm.ss"+exportAgain)
	}
	if strings.HasPrefix(h.Reserved, "EDF+") && !h.Plus() {
		return h.bad(reserved, 0, "begins EDF+ but says neither EDF+C (continuous) nor EDF+D (interrupted)"+exportAgain)
	}
	if h.Records < 1 {
		return h.bad(records, 0, "is less than 1, so the file holds no data; check that the recording was made, "+
			"then export it again")
	}
	annotated := 0
	for i := range h.Signals {
		if err := h.checkSignal(i); err != nil {
			return err
		}
		if h.Signals[i].IsAnnotation() {
			annotated++
		}
	}
	if h.Plus() && annotated == 0 {
		return h.bad(reserved, 0, "says EDF+, but no signal is labelled EDF Annotations"+exportAgain)
	}
	if h.RecordSize() > MaxRecordSize {
		return h.bad(samples, 0, "and those of the other signals make data records of more than "+
			""+grouped(MaxRecordSize)+
			" bytes; export the recording with shorter data records")
	}
	d, ok := number(h.RecordDuration)
	switch {
	case digitCount(h.RecordDuration) > maxDigits:
		return h.bad(duration, 0, fmt.Sprintf("has more than %d digits, more than a recorder needs and enough for "+
			"somebody's number", maxDigits)+exportAgain)
	case padded(h.RecordDuration):
		return h.bad(duration, 0, paddedNumber+exportAgain)
	case !ok || strings.ContainsAny(h.RecordDuration, "eE"): // EDFlib, too, refuses a power of ten
		return h.bad(duration, 0, badNumber(h.RecordDuration))
	case d < 0 || d == 0 && annotated < len(h.Signals):
		return h.bad(duration, 0, "is not more than 0 seconds"+exportAgain)
	}
	return nil
}

func (h *Header) bad(f, i int, message string) error {
	return fieldError(f, i, len(h.Signals), message)
}

// checkTexts checks that every value fits its field and can be read back from it.
func (h *Header) checkTexts() error {
	for f := range int(fieldCount) {
		for i := range times(f, len(h.Signals)) {
			s := h.text(f, i)
			if len(s) > fields[f].width {
				return h.bad(f, i, fmt.Sprintf("is longer than %d characters; shorten it", fields[f].width))
			}
			for _, c := range []byte(s) {
				if c < 32 || c > 126 {
					return h.bad(f, i, "has a character other than plain letters, digits, signs and spaces (ASCII "+
						"32 to 126); replace it")
				}
			}
			if strings.HasSuffix(s, " ") {
				return h.bad(f, i, "ends with a space, which cannot be told from padding; remove it")
			}
		}
	}
	return nil
}

func (h *Header) checkSignal(i int) error {
	s := &h.Signals[i]
	// A reader that compares labels loosely would see text where this one sees samples.
	if l := strings.ToUpper(strings.Join(strings.Fields(s.Label), " ")); l == "EDF ANNOTATIONS" ||
		l == "BDF ANNOTATIONS" {
		if !s.IsAnnotation() {
			return h.bad(label, i, "is almost, but not exactly, EDF Annotations"+exportAgain)
		}
		if !h.Plus() {
			return h.bad(label, i, "is EDF Annotations, but the reserved field of the file says neither EDF+C nor "+
				"EDF+D"+exportAgain)
		}
	}
	for _, f := range []int{physMin, physMax, digMin, digMax} {
		if padded(h.text(f, i)) {
			return h.bad(f, i, paddedNumber+exportAgain)
		}
		if digitCount(h.text(f, i)) > maxDigits {
			return h.bad(f, i, fmt.Sprintf("has more than %d digits, more than a recorder needs and enough for "+
				"somebody's number", maxDigits)+exportAgain)
		}
	}
	lo, ok := number(s.PhysMin)
	if !ok {
		return h.bad(physMin, i, badNumber(s.PhysMin))
	}
	hi, ok := number(s.PhysMax)
	if !ok {
		return h.bad(physMax, i, badNumber(s.PhysMax))
	}
	if lo == hi {
		return h.bad(physMax, i, "equals the physical minimum, so the samples have no unit"+exportAgain)
	}
	dlo, ok := digital(s.DigMin)
	if !ok {
		return h.bad(digMin, i, "is not a whole number from -32768 to 32767"+exportAgain)
	}
	dhi, ok := digital(s.DigMax)
	if !ok {
		return h.bad(digMax, i, "is not a whole number from -32768 to 32767"+exportAgain)
	}
	if dhi <= dlo {
		return h.bad(digMax, i, "is not greater than the digital minimum"+exportAgain)
	}
	if s.IsAnnotation() { // 2.2.1
		if dlo != -32768 || dhi != 32767 {
			return h.bad(digMin, i, "and digital maximum of an annotation signal are not -32768 and 32767"+exportAgain)
		}
		for _, f := range []int{transducer, prefilter} {
			if h.text(f, i) != "" {
				return h.bad(f, i, "is not blank, as it must be for an annotation signal"+exportAgain)
			}
		}
	}
	if s.Samples < 1 {
		return h.bad(samples, i, "is less than 1"+exportAgain)
	}
	return nil
}

// number reads a decimal number: sign, digits, point, exponent, nothing else.
func number(s string) (float64, bool) {
	if strings.Trim(s, "0123456789+-.eE") != "" {
		return 0, false // ParseFloat accepts more: inf, nan, hexadecimal
	}
	f, err := strconv.ParseFloat(s, 64)
	return f, err == nil
}

// maxDigits is how many digits a number of the header may have, from the first that
// is not zero. Samples have 16 bits, not five digits; their scale has a few more.
const maxDigits = 7

func digitCount(s string) (n int) {
	for _, c := range []byte(strings.TrimLeft(s, "+-0.")) {
		if '0' <= c && c <= '9' {
			n++
		}
	}
	return n
}

// padded reports whether a number begins with a superfluous zero. No recorder writes one (common
// practice, no source), and digitCount would not count it.
func padded(s string) bool {
	s = strings.TrimLeft(s, "+-")
	return len(s) > 1 && s[0] == '0' && '0' <= s[1] && s[1] <= '9'
}

const paddedNumber = "begins with a zero that a number does not need and that could belong to somebody's number"

func badNumber(s string) string {
	if strings.Contains(s, ",") {
		return "has a decimal comma; EDF wants a decimal point" + exportAgain
	}
	return "is not a decimal number" + exportAgain
}

func digital(s string) (int, bool) {
	n, err := strconv.ParseInt(s, 10, 16)
	return int(n), err == nil
}

// validDate accepts "dd.mm.yy" with yy from 85 (1985) to 84 (2084), or with the
// letters yy, which mean any other year (2.1.3, rule 2).
func validDate(s string) bool {
	if head, ok := strings.CutSuffix(s, ".yy"); ok {
		_, err := time.Parse("02.01.2006", head+".2000") // a leap year: 29 February is a day
		return err == nil
	}
	_, ok := clockDay(s)
	return ok
}

// clockDay reads "dd.mm.yy" as a day from 1985 to 2084.
func clockDay(s string) (time.Time, bool) {
	if len(s) != 8 {
		return time.Time{}, false
	}
	century := "20"
	if s[6:] >= "85" {
		century = "19"
	}
	t, err := time.Parse("02.01.2006", s[:6]+century+s[6:])
	return t, err == nil
}

func validTime(s string) bool {
	t, err := time.Parse("15.04.05", s)
	return err == nil && t.Format("15.04.05") == s
}
