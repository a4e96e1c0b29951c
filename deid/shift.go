package deid

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"time"

	"outbreath/schema"
)

var errDate = errors.New("is not a date that can be moved: expected YYYY-MM-DD, or a date and time of RFC 3339 " +
	"with offset, in the years 0001 to 9999")

// shiftDate moves the civil date at the start of a date or RFC 3339 date-time back by
// days. Of a date-time it returns the local time without the offset, which would show the
// season: "2026-03-02T09:14:11", with the fraction as written, or only "2026-03-02T09" if
// clock is [schema.ClockHour].
//
// The civil date moves, not the instant. Two times of one subject keep their distance
// if they are written with the same offset, and local habits (a session at eight in the
// morning) stay visible.
func shiftDate(text string, days int, clock string) (string, error) {
	date, rest, err := splitDate(text)
	if err != nil {
		return "", err
	}
	moved, err := moveDay(date, days)
	switch {
	case err != nil || rest == "":
		return moved, err
	case clock == schema.ClockHour:
		return moved + "T" + rest[1:3], nil
	}
	return moved + "T" + localClock(rest), nil
}

// localClock returns the time of day in the end of an RFC 3339 date-time, which begins with
// "T", without the offset.
func localClock(rest string) string { return rest[1 : 1+strings.IndexAny(rest[1:], "Zz+-")] }

// moveDay returns the date that is days before date.
func moveDay(date time.Time, days int) (string, error) {
	moved := date.AddDate(0, 0, -days)
	if moved.Year() < 1 {
		return "", errDate
	}
	return moved.Format(time.DateOnly), nil
}

// daysBetween returns the whole days from one civil date to another, both midnight UTC.
func daysBetween(from, to time.Time) string {
	return strconv.FormatInt((to.Unix()-from.Unix())/86_400, 10)
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
