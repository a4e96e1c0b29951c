package rederive

import (
	"fmt"
	"strconv"
	"strings"
)

// A day is a day of the proleptic Gregorian calendar, as days since 0001-01-01.
type day int

// A clock is a moment as a record writes it: the local day, the time of day and the
// offset of the clock from UTC.
type clock struct {
	day    day
	time   string // "09:14:11.250", without the offset
	second int64  // of the local day; 86,400 in a leap second at its end
	nano   int64
	offset int64 // seconds east of UTC
}

var monthDays = [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

func leapYear(y int) bool { return y%4 == 0 && (y%100 != 0 || y%400 == 0) }

func lengthOf(y, m int) int {
	if m == 2 && leapYear(y) {
		return 29
	}
	return monthDays[m-1]
}

// dayOf returns the day of a date; ok is false when there is none in the years 1 to 9999.
func dayOf(y, m, d int) (n day, ok bool) {
	if y < 1 || y > 9999 || m < 1 || m > 12 || d < 1 || d > lengthOf(y, m) {
		return 0, false
	}
	before := y - 1
	n = day(365*before + before/4 - before/100 + before/400 + d - 1)
	for i := 1; i < m; i++ {
		n += day(lengthOf(y, i))
	}
	return n, true
}

// date is the inverse of dayOf.
func (n day) date() (y, m, d int) {
	left := int(n)
	y = 1 + left/146097*400 // whole periods of 400 years
	left %= 146097
	for {
		length := 365
		if leapYear(y) {
			length++
		}
		if left < length {
			break
		}
		left -= length
		y++
	}
	for m = 1; left >= lengthOf(y, m); m++ {
		left -= lengthOf(y, m)
	}
	return y, m, left + 1
}

func (n day) year() int {
	y, _, _ := n.date()
	return y
}

// String returns n as "2026-03-02"; "" for a day before the year 1.
func (n day) String() string {
	if n < 0 {
		return ""
	}
	y, m, d := n.date()
	return fmt.Sprintf("%04d-%02d-%02d", y, m, d)
}

// figures returns the number that s writes with exactly width digits; -1 for none.
func figures(s string, width int) int {
	if len(s) != width || strings.Trim(s, "0123456789") != "" {
		return -1
	}
	n, _ := strconv.Atoi(s)
	return n
}

// parseDay reads "2026-03-02".
func parseDay(s string) (day, bool) {
	if len(s) != 10 || s[4] != '-' || s[7] != '-' {
		return 0, false
	}
	return dayOf(figures(s[:4], 4), figures(s[5:7], 2), figures(s[8:], 2))
}

// parseClock reads a date and time of RFC 3339 with its offset. The second may be 60.
func parseClock(s string) (c clock, ok bool) {
	if len(s) < 20 || s[10] != 'T' && s[10] != 't' || s[13] != ':' || s[16] != ':' {
		return c, false
	}
	if c.day, ok = parseDay(s[:10]); !ok {
		return c, false
	}
	h, m, sec := figures(s[11:13], 2), figures(s[14:16], 2), figures(s[17:19], 2)
	if h < 0 || h > 23 || m < 0 || m > 59 || sec < 0 || sec > 60 {
		return c, false
	}
	c.second = int64(h)*3600 + int64(m)*60 + int64(sec)
	end := 19
	if s[end] == '.' {
		for end++; end < len(s) && '0' <= s[end] && s[end] <= '9'; end++ {
			if end < 29 {
				c.nano = c.nano*10 + int64(s[end]-'0')
			}
		}
		if end == 20 {
			return c, false
		}
		for i := end; i < 29; i++ {
			c.nano *= 10
		}
	}
	c.time = s[11:end]
	c.offset, ok = zone(s[end:])
	return c, ok
}

// zone reads the offset of a clock, "Z" or "+01:00", in seconds east of UTC.
func zone(s string) (east int64, ok bool) {
	switch {
	case s == "Z" || s == "z":
		return 0, true
	case len(s) != 6 || s[0] != '+' && s[0] != '-' || s[3] != ':':
		return 0, false
	}
	h, m := figures(s[1:3], 2), figures(s[4:], 2)
	if h < 0 || h > 23 || m < 0 || m > 59 {
		return 0, false
	}
	if east = int64(h)*3600 + int64(m)*60; s[0] == '-' {
		east = -east
	}
	return east, true
}

// seconds returns the moment in seconds of UTC since 0001-01-01, without its fraction.
func (c clock) seconds() int64 { return int64(c.day)*86400 + c.second - c.offset }

// elapsed returns the whole seconds from start to c, half a second away from zero.
func (c clock) elapsed(start clock) int64 {
	s, n := c.seconds()-start.seconds(), c.nano-start.nano
	if s < 0 && n > 0 {
		s, n = s+1, n-1e9
	} else if s > 0 && n < 0 {
		s, n = s-1, n+1e9
	}
	switch {
	case 2*n >= 1e9:
		return s + 1
	case -2*n >= 1e9:
		return s - 1
	}
	return s
}

// age returns the whole years from birth to on. Who is born on 29 February is a year
// older on 1 March of a common year.
func age(birth, on day) int {
	by, bm, bd := birth.date()
	y, m, d := on.date()
	years := y - by
	if m < bm || m == bm && d < bd {
		years--
	}
	return years
}
