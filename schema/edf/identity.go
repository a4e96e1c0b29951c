package edf

import (
	"fmt"
	"strings"
	"time"
)

var months = [...]string{"JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"}

// Anonymise replaces everything in the file's own fields that may point to a
// person: the patient field becomes code and three unknowns, the recording field
// the day start and three unknowns, the start date the same day, the reserved
// field only its EDF+ mark, and the reserved fields of the signals nothing. The time of day
// remains, and so do the free texts of the signals: see Texts. Only the year, month and day of
// start count. The error is a *FieldError if code is not a subfield (1 to 74 printable characters
// without a space) or start is before year 1 or after 9999; then nothing is changed.
//
// Source: 2.1.3, rules 2 to 4. An unknown subfield is a single X. Start dates
// outside 1985 to 2084 have the letters yy for a year, and only the recording
// field then gives it.
func (h *Header) Anonymise(code string, start time.Time) error {
	y, m, d := start.Date()
	if y < 1 || y > 9999 {
		return h.bad(startDate, 0, "would lie outside the years 1 to 9999; correct the date of the session")
	}
	year := "yy"
	if y >= 1985 && y <= 2084 {
		year = fmt.Sprintf("%02d", y%100)
	}
	return h.replace(code, fmt.Sprintf("%02d-%s-%04d", d, months[m-1], y),
		fmt.Sprintf("%02d.%02d.%s", d, int(m), year), h.StartTime)
}

// DropDate is Anonymise for a plan under which no date may leave: the recording field
// calls the day unknown, the start date is the neutral 01.01.85 (common practice,
// no source), and the time of day is 00.00.00.
func (h *Header) DropDate(code string) error {
	return h.replace(code, "X", "01.01.85", "00.00.00")
}

func (h *Header) replace(code, day, date, clock string) error {
	const unknown = " X X X"
	if len(code) < 1 || len(code)+len(unknown) > fields[patient].width ||
		strings.ContainsFunc(code, func(r rune) bool { return r < 33 || r > 126 }) {
		return h.bad(patient, 0, "cannot take this code: 1 to 74 plain characters without a space are needed")
	}
	h.Patient = code + unknown
	h.Recording = "Startdate " + day + unknown
	h.StartDate, h.StartTime = date, clock
	h.Reserved = h.flag()
	for i := range h.Signals {
		h.Signals[i].Reserved = ""
	}
	return nil
}

// StartDay returns the day on which the recording began, at midnight UTC, with
// the full year from the recording field if that gives one. It returns false if
// the header does not tell: the recording field says X, it contradicts the start
// date, the year is missing, or the start date is 01.01.85 and nothing confirms it.
func (h *Header) StartDay() (time.Time, bool) {
	sub := strings.Split(h.Recording, " ")
	var long time.Time // zero: the recording field gives no day
	if len(sub) >= 2 && sub[0] == "Startdate" {
		if sub[1] == "X" {
			return time.Time{}, false
		}
		if t, err := time.Parse("02-Jan-2006", sub[1]); err == nil && len(sub[1]) == len("02-Jan-2006") {
			long = t
		}
	}
	clock, ok := clockDay(h.StartDate)
	if long.IsZero() {
		return clock, ok && h.StartDate != "01.01.85"
	}
	if h.StartDate == long.Format("02.01.06") || h.StartDate == long.Format("02.01.")+"yy" {
		return long, true
	}
	return time.Time{}, false
}

// A TextField is a free text of the header that Anonymise does not change.
type TextField struct {
	Name   string // e.g. "label of signal 3"
	Offset int64  // of its first byte in the file
	Value  string
}

// Texts returns the free texts of all signals that are not empty, in the order
// of the file. Anybody may have typed anything into them.
func (h *Header) Texts() []TextField {
	var out []TextField
	ns := len(h.Signals)
	for _, f := range []int{label, transducer, dimension, prefilter} {
		for i := range h.Signals {
			if v := h.text(f, i); v != "" {
				out = append(out, TextField{fieldName(f, i), int64(offset(f, i, ns)), v})
			}
		}
	}
	return out
}
