package sheet

import (
	"math"
	"strconv"
	"time"
)

// serial reads a serial number as the date, time of day or both that it is
// shown as, in one of the forms of Cell.Text, to the nearest second. ok is false
// where it is none: before the first day, in a day that never was (29 February
// 1900, serial 60), after the year 9999, or a length of more than a day.
//
// Serial numbers count days, with 1 for 1 January 1900, or with 0 for 1 January
// 1904; the first count has a 29 February 1900, so that day 61 is 1 March.
// Source: ECMA-376 Part 1, 18.17.4.1 (date bases).
func (f *formats) serial(digits string, as format) (text string, ok bool) {
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil || v < 0 || v > 2_958_466 {
		return "", false
	}
	seconds := int64(math.Round(v * 86_400))
	day, clock := seconds/86_400, seconds%86_400
	of := time.Unix(clock, 0).UTC()
	if v < 1 && day == 0 && as.clock && (!f.from1904 || !as.date) {
		return of.Format("15:04:05"), true
	}
	if as.elapsed {
		return "", false
	}
	base := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	switch {
	case f.from1904:
		base = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	case day < 1 || day == 60:
		return "", false
	case day < 60:
		day++
	}
	date := base.AddDate(0, 0, int(day)).Add(time.Duration(clock) * time.Second)
	switch {
	case date.Year() > 9999:
		return "", false
	case as.clock || clock != 0:
		return date.Format("2006-01-02T15:04:05"), true
	}
	return date.Format("2006-01-02"), true
}
