package sampler

import (
	"strings"
	"time"
)

// A stamp is a time of day, perhaps with its date and zone, as a cell gives it.
type stamp struct {
	seconds float64 // since midnight
	date    string  // as written, "" if there is none
	days    []days  // its readings, one or two; none without a date
	zone    *int    // seconds east; nil if it is not stated
}

// days is a day as year, month, day.
type days [3]int

// parseStamp reads "09:10:05,25", "2026-11-30T09:10:05Z", "30.11.2026 09:10:05",
// "11/30/26 9:10:05 PM". It reports false for anything else.
func parseStamp(cell string) (stamp, bool) {
	var s stamp
	cell = strings.TrimSpace(cell)
	if len(cell) > 48 {
		return s, false
	}
	half := -1
	for i, word := range []string{"AM", "PM"} {
		if n := len(cell) - len(word); n > 0 && strings.EqualFold(cell[n:], word) {
			half, cell = i, strings.TrimSpace(cell[:n])
		}
	}
	clock := cell
	if i := strings.IndexAny(cell, "T "); i > 0 {
		s.date, clock = cell[:i], strings.TrimSpace(cell[i+1:])
		if s.days = parseDay(s.date); s.days == nil {
			return s, false
		}
		if zone := strings.IndexAny(clock, "Z+-"); zone > 0 {
			east, ok := parseZone(clock[zone:])
			if !ok {
				return s, false
			}
			s.zone, clock = &east, strings.TrimSpace(clock[:zone])
		}
	}
	var ok bool
	if s.seconds, ok = parseClock(clock); !ok {
		return s, false
	}
	if half >= 0 {
		if s.seconds < 3600 || s.seconds >= 13*3600 {
			return s, false
		}
		if s.seconds >= 12*3600 {
			s.seconds -= 12 * 3600
		}
		s.seconds += float64(half) * 12 * 3600
	}
	return s, true
}

// parseClock reads hours, minutes and perhaps seconds with a fraction, colons between;
// or, where there is a fraction, minutes and seconds alone.
func parseClock(s string) (float64, bool) {
	parts := strings.Split(s, ":")
	if len(parts) < 2 || len(parts) > 3 {
		return 0, false
	}
	if len(parts) == 2 && strings.ContainsAny(parts[1], ".,") {
		parts = append([]string{"0"}, parts...)
	}
	h, okH := small(parts[0], 1, 2, 23)
	m, okM := small(parts[1], 2, 2, 59)
	if !okH || !okM {
		return 0, false
	}
	at := float64(h*3600 + m*60)
	if len(parts) == 2 {
		return at, true
	}
	whole, fraction, has := parts[2], "", false
	if i := strings.IndexAny(whole, ".,"); i >= 0 {
		whole, fraction, has = whole[:i], whole[i+1:], true
	}
	sec, ok := small(whole, 2, 2, 59)
	if !ok || has && (len(fraction) == 0 || len(fraction) > 9) {
		return 0, false
	}
	if has {
		f, ok := small(fraction, 1, 9, 999_999_999)
		if !ok {
			return 0, false
		}
		scaled := float64(f)
		for range len(fraction) {
			scaled /= 10
		}
		at += scaled
	}
	return at + float64(sec), true
}

// small reads a whole number of from to to digits, at most max.
func small(s string, from, to, max int) (int, bool) {
	if len(s) < from || len(s) > to {
		return 0, false
	}
	n := 0
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, n <= max
}

func parseZone(s string) (int, bool) {
	if s == "Z" {
		return 0, true
	}
	digits := strings.ReplaceAll(s[1:], ":", "")
	n, ok := small(digits, 2, 4, 1400)
	if len(digits) == 2 {
		n *= 100
	}
	if !ok || len(digits) == 3 || n%100 > 59 {
		return 0, false
	}
	east := n/100*3600 + n%100*60
	if s[0] == '-' {
		east = -east
	}
	return east, true
}

var monthNames = map[string]int{
	"jan": 1, "feb": 2, "mar": 3, "mär": 3, "apr": 4, "may": 5, "mai": 5, "jun": 6, "jul": 7, "aug": 8, "sep": 9,
	"oct": 10, "okt": 10, "nov": 11, "dec": 12, "dez": 12,
}

// parseDay returns the readings of a date: two for 03.04.2026, none for a text that
// is no date. Years of two digits are 2000 to 2069 and 1970 to 1999 (POSIX: 69 is
// the last of them).
func parseDay(s string) []days {
	parts := strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(".-/", r) })
	if len(parts) != 3 || strings.ContainsAny(s, ", ") {
		return nil
	}
	if name := monthNames[firstLetters(parts[1])]; name > 0 {
		return valid(parts[2], parts[0], name)
	}
	var n [3]int
	for i, p := range parts {
		var ok bool
		if n[i], ok = small(p, 1, 4, 9999); !ok {
			return nil
		}
	}
	if len(parts[0]) == 4 {
		return day(n[0], n[1], n[2])
	}
	y := year(n[2], len(parts[2]))
	if len(parts[0]) > 2 || y < 0 {
		return nil
	}
	out := day(y, n[1], n[0])
	if n[0] != n[1] {
		out = append(out, day(y, n[0], n[1])...)
	}
	return out
}

func firstLetters(s string) string {
	r := []rune(strings.ToLower(s))
	return string(r[:min(3, len(r))])
}

func valid(y, d string, month int) []days {
	ny, okY := small(y, 2, 4, 9999)
	nd, okD := small(d, 1, 2, 31)
	if ny = year(ny, len(y)); !okY || !okD || ny < 0 {
		return nil
	}
	return day(ny, month, nd)
}

func year(n, digits int) int {
	switch {
	case digits == 4:
		return n
	case digits == 2 && n < 70:
		return 2000 + n
	case digits == 2:
		return 1900 + n
	}
	return -1
}

// day returns the day if the calendar has it.
func day(y, m, d int) []days {
	t := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	if y < 1900 || m < 1 || m > 12 || t.Day() != d || d < 1 {
		return nil
	}
	return []days{{y, m, d}}
}

// start puts the stamp into the About. Without a date it is a clock only.
func (a *About) start(s stamp, where string) {
	zone := time.UTC
	a.Local = s.zone == nil
	if s.zone != nil {
		zone = time.FixedZone("", *s.zone)
	}
	since := time.Duration(s.seconds * float64(time.Second)).Round(time.Millisecond)
	on := func(d days) time.Time { return time.Date(d[0], time.Month(d[1]), d[2], 0, 0, 0, 0, zone).Add(since) }
	a.Other = time.Time{}
	switch len(s.days) {
	case 0:
		a.Start, a.ClockOnly = on(days{1, 1, 1}), true
	case 2:
		a.Start, a.Other, a.ClockOnly = on(s.days[0]), on(s.days[1]), false
	default:
		a.Start, a.ClockOnly = on(s.days[0]), false
	}
	a.note("start", where)
}
