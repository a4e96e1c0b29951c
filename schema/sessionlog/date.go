package sessionlog

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Orders of day, month and year, as settings name them.
const (
	dayFirst   = "day-first"
	monthFirst = "month-first"
	yearFirst  = "year-first"
)

var orders = []string{dayFirst, monthFirst, yearFirst}

// A written date: the days that it can mean, by order. A date with a named month or a
// year of four digits in front means one day whatever the order.
type written struct {
	days  map[string][]day // by order: the day, or two where the year has two digits
	short bool             // the year has two digits
	rest  string           // what follows: a time of day, or ""

	yearDay day // of a year in front, if the day follows it; it may not exist
}

// A day of the calendar; the zero day is none.
type day struct{ year, month, day int }

func (d day) valid() bool {
	return d.year >= 1 && d.year <= 9999 && d.time().Year() == d.year && int(d.time().Month()) == d.month &&
		d.time().Day() == d.day
}

func (d day) time() time.Time {
	return time.Date(d.year, time.Month(d.month), d.day, 0, 0, 0, 0, time.UTC)
}

func (d day) String() string { return d.time().Format(time.DateOnly) }

func (d day) add(days int) day {
	t := d.time().AddDate(0, 0, days)
	return day{t.Year(), int(t.Month()), t.Day()}
}

var (
	digitDate = regexp.MustCompile(`^([0-9]{1,4})( ?[-./] ?)([0-9]{1,2})( ?[-./] ?)([0-9]{1,4})\b\.?(.*)$`)
	blankDate = regexp.MustCompile(`^([0-9]{1,2}|[0-9]{4})( )([0-9]{1,2})( )([0-9]{4}|[0-9]{1,2})\b(.*)$`)
	solidDate = regexp.MustCompile(`^([0-9]{4})([0-9]{2})([0-9]{2})((?:[ T].*)?)$`)
	dayName   = regexp.MustCompile(`^(\pL+)\.?,? +(.*)$`)
	// 2 March 2026, 2. März 2026, 02-Mar-26, 2 de marzo de 2026, 1er mars 2026
	dayMonth = regexp.MustCompile(`^([0-9]{1,2})(?:\.|er|st|nd|rd|th|º)?[ -/]*(?:de |of )?(\pL+)\.?[ -/]*,? ?(?:de |del )?` +
		`([0-9]{4}|'?[0-9]{2})\b(.*)$`)
	// March 2, 2026
	monthDay = regexp.MustCompile(`^(\pL+)\.?[ -]*([0-9]{1,2})(?:st|nd|rd|th)?,? +([0-9]{4}|'?[0-9]{2})\b(.*)$`)
	// 2026-Mar-02
	yearMonth = regexp.MustCompile(`^([0-9]{4})[ -/]*(\pL+)\.?[ -/]*([0-9]{1,2})\b(.*)$`)
)

// readDate reads a date at the beginning of s. ok is false if there is none. A day
// of the week before it must agree: orders for which it does not are left out.
func readDate(s string) (w written, ok bool) {
	s = clean(s)
	weekday := 0
	if m := dayName.FindStringSubmatch(s); m != nil {
		if n := weekdays()[normal(m[1])]; n > 0 {
			if _, ok = datePart(m[2]); ok {
				weekday, s = n, m[2]
			}
		}
	}
	if w, ok = datePart(s); !ok {
		return w, false
	}
	if weekday > 0 {
		w.yearDay = day{}
	}
	for order, days := range w.days {
		w.days[order] = slices.DeleteFunc(days, func(d day) bool {
			return !d.valid() || weekday > 0 && int(d.time().Weekday()) != weekday%7
		})
		if len(w.days[order]) == 0 {
			delete(w.days, order)
		}
	}
	w.rest = strings.TrimLeft(strings.TrimSpace(w.rest), "T, ")
	return w, true
}

// datePart reads a date without the day of the week. The days may not exist.
func datePart(s string) (written, bool) {
	if m := solidDate.FindStringSubmatch(s); m != nil {
		return certain(m[1], m[2], m[3], m[4]), true
	}
	for _, form := range []*regexp.Regexp{digitDate, blankDate} {
		if m := form.FindStringSubmatch(s); m != nil && strings.TrimSpace(m[2]) == strings.TrimSpace(m[4]) {
			return digits(m[1], m[3], m[5], strings.TrimSpace(m[2]), m[6])
		}
	}
	named := func(year, month, day, rest string) (written, bool) {
		n := months()[normal(month)]
		return certain(strings.TrimPrefix(year, "'"), strconv.Itoa(n), day, rest), n > 0
	}
	if m := dayMonth.FindStringSubmatch(s); m != nil {
		return named(m[3], m[2], m[1], m[4])
	}
	if m := monthDay.FindStringSubmatch(s); m != nil {
		return named(m[3], m[1], m[2], m[4])
	}
	if m := yearMonth.FindStringSubmatch(s); m != nil {
		return named(m[1], m[2], m[3], m[4])
	}
	return written{}, false
}

// certain makes a date whose order is known.
func certain(year, month, dayOfMonth, rest string) written {
	w := written{days: map[string][]day{}, rest: rest, short: len(year) == 2}
	for _, order := range orders {
		w.days[order] = daysOf(year, month, dayOfMonth)
	}
	return w
}

// digits makes a date of three numbers. Points never part a year in front
// (common practice, no source).
func digits(a, b, c, sign, rest string) (written, bool) {
	w := written{days: map[string][]day{}, rest: rest}
	switch {
	case len(a) == 4 && len(c) <= 2:
		w := certain(a, b, c, rest)
		w.yearDay = daysOf(a, c, b)[0]
		return w, true
	case len(a) <= 2 && len(c) == 4:
		w.days[dayFirst], w.days[monthFirst] = daysOf(c, b, a), daysOf(c, a, b)
		return w, true
	case len(a) <= 2 && len(c) == 2:
		w.short = true
		w.days[dayFirst], w.days[monthFirst] = daysOf(c, b, a), daysOf(c, a, b)
		if sign != "." && len(a) == 2 {
			w.days[yearFirst] = daysOf(a, b, c)
		}
		return w, true
	}
	return w, false
}

// daysOf returns the days that year, month and day can mean: a year of two digits is
// one of either century.
func daysOf(year, month, dayOfMonth string) []day {
	y, _ := strconv.Atoi(year)
	m, _ := strconv.Atoi(month)
	d, _ := strconv.Atoi(dayOfMonth)
	if len(year) == 2 {
		return []day{{1900 + y, m, d}, {2000 + y, m, d}}
	}
	return []day{{y, m, d}}
}
