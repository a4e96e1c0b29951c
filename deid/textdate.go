package deid

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

var (
	isoDate    = regexp.MustCompile(`^([0-9]{4})-([0-9]{2})-([0-9]{2})$`)
	figureDate = regexp.MustCompile(`^([0-9]{1,2})([./-])([0-9]{1,2})([./-])([0-9]{4})$`)
	wordDate   = regexp.MustCompile(`^([0-9]{1,2}) ([A-Za-z]{3,9}) ([0-9]{4})$`)
)

// movedDate moves a date of free text back by days, and keeps the form in which it is
// written. ok is false unless text is a full date that can be read in one way only:
// 2026-11-24; 24.11.2026, 24/11/2026 and 11/24/2026, because there is no month 24;
// 24 November 2026 and 24 Nov 2026; but not 4/5/2026. ok is also false for a date more
// than two years from the day of the session: it may be a birthday, and a moved
// birthday still reveals the age.
func movedDate(text string, days int, session time.Time) (moved string, ok bool) {
	near := func(t time.Time) bool { return t.Sub(session).Abs() <= 2*366*24*time.Hour }
	day := func(y, m, d string) (time.Time, bool) {
		t, err := time.Parse("2006-1-2", y+"-"+m+"-"+d)
		return t.AddDate(0, 0, -days), err == nil && near(t)
	}
	if p := isoDate.FindStringSubmatch(text); p != nil {
		t, ok := day(p[1], p[2], p[3])
		return t.Format(time.DateOnly), ok
	}
	if p := figureDate.FindStringSubmatch(text); p != nil && p[2] == p[4] {
		first, _ := strconv.Atoi(p[1])
		second, _ := strconv.Atoi(p[3])
		// keep the padding: 04.05. stays two digits wide
		write := func(was string, n int) string {
			if len(was) == 2 && (was[0] == '0' || len(p[1]) == 2 && len(p[3]) == 2) {
				return fmt.Sprintf("%02d", n)
			}
			return strconv.Itoa(n)
		}
		switch {
		case first > 12:
			t, ok := day(p[5], p[3], p[1])
			return write(p[1], t.Day()) + p[2] + write(p[3], int(t.Month())) + p[2] + fmt.Sprintf("%04d", t.Year()), ok
		case second > 12:
			t, ok := day(p[5], p[1], p[3])
			return write(p[1], int(t.Month())) + p[2] + write(p[3], t.Day()) + p[2] + fmt.Sprintf("%04d", t.Year()), ok
		}
		return "", false
	}
	if p := wordDate.FindStringSubmatch(text); p != nil {
		for _, layout := range []string{"2 January 2006", "2 Jan 2006"} {
			if t, err := time.Parse(layout, text); err == nil && near(t) {
				out := t.AddDate(0, 0, -days).Format(layout)
				if p[2] == strings.ToUpper(p[2]) {
					out = strings.ToUpper(out)
				}
				return out, true
			}
		}
	}
	return "", false
}
