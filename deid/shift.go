package deid

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"time"
)

var errDate = errors.New("is not a date that can be moved: expected YYYY-MM-DD, or a date and time of RFC 3339 " +
	"with offset, in the years 0001 to 9999")

// shiftDate moves the civil date at the start of a date or RFC 3339 date-time back by
// days. Everything after the date stays byte for byte: time of day, fraction, offset,
// and the case of T and Z.
//
// The civil date moves, not the instant. Two times of one subject keep their distance
// if they are written with the same offset, and local habits (a session at eight in the
// morning) stay visible.
func shiftDate(text string, days int) (string, error) {
	date, rest, err := splitDate(text)
	if err != nil {
		return "", err
	}
	moved := date.AddDate(0, 0, -days)
	if moved.Year() < 1 {
		return "", errDate
	}
	return moved.Format(time.DateOnly) + rest, nil
}

// splitDate returns the civil date at the start of text, as midnight UTC, and the text
// after it. It returns errDate unless text is a date or an RFC 3339 date-time.
func splitDate(text string) (date time.Time, rest string, err error) {
	if len(text) < 10 {
		return date, "", errDate
	}
	date, err = time.Parse(time.DateOnly, text[:10])
	if err != nil || date.Year() < 1 {
		return date, "", errDate // the library's error quotes the text
	}
	rest = text[10:]
	if rest != "" {
		if _, err := parseTime(text); err != nil {
			return date, "", err
		}
	}
	return date, rest, nil
}

// parseTime parses an RFC 3339 date-time. RFC 3339 allows lower-case t and z, and the
// second 60 of a leap second; the time package accepts neither.
func parseTime(text string) (time.Time, error) {
	s := strings.ToUpper(text)
	leap := time.Duration(0)
	if len(s) > 19 && s[17:19] == "60" {
		s = s[:17] + "59" + s[19:]
		leap = time.Second
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, errDate
	}
	return t.Add(leap), nil
}

// elapsedSeconds returns the whole seconds from start to t, rounded half away
// from zero.
func elapsedSeconds(start, t time.Time) string {
	// Not t.Sub(start): a Duration is limited to 292 years.
	s := float64(t.Unix()-start.Unix()) + float64(t.Nanosecond()-start.Nanosecond())/1e9
	return strconv.FormatInt(int64(math.Round(s)), 10)
}

// ageAt returns the age in whole years on the civil date on; both dates are midnight
// UTC. In a common year, the age of someone born on 29 February rises on 1 March. The
// age is negative before birth.
func ageAt(birth, on time.Time) int {
	age := on.Year() - birth.Year()
	if on.Month() < birth.Month() || on.Month() == birth.Month() && on.Day() < birth.Day() {
		age--
	}
	return age
}

// ageBand returns the band of width years that contains age, such as "45-49". Ages of
// 90 and over form one band, "90+"; the band below it ends at 89.
//
// Source: 45 CFR 164.514(b)(2)(i)(C).
func ageBand(age, width int) string {
	if age >= 90 {
		return "90+"
	}
	low := age / width * width
	high := min(low+width-1, 89)
	return strconv.Itoa(low) + "-" + strconv.Itoa(high)
}

// yearOf returns the year to release for a date in the record of a session held on
// the given civil date.
//
// The date may be a birth date; this function cannot know. Together with the year of
// the session a birth year reveals the age to within a year, and ages over 89 must not
// be revealed. A date 89 or more years before the session therefore gets the year 90
// before the session's, whatever its own year.
//
// Source: 45 CFR 164.514(b)(2)(i)(C).
func yearOf(date, session time.Time) string {
	if ageAt(date, session) >= 89 {
		return strconv.Itoa(session.Year() - 90)
	}
	return strconv.Itoa(date.Year())
}
