package attack

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"
)

// A Day is a civil day, counted from 1970-01-01.
type Day int

// DayOf returns the civil day of t in its own zone.
func DayOf(t time.Time) Day {
	return Day(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// Time returns the start of the day in UTC.
func (d Day) Time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// A Moment is what a value that leaves says of a time. Each part is unknown unless its
// Has field is true.
type Moment struct {
	Day     Day // as it leaves, perhaps moved
	Count   int // days since the subject's first session
	Year    int
	Clock   int // seconds of the day
	Grain   int // of Clock in seconds: 1, 60 or 3600
	Offset  int // minutes east of UTC
	Elapsed int // seconds since the session's start

	HasDay, HasCount, HasYear, HasClock, HasOffset, HasElapsed bool
}

// momentOf reads a value in any form in which a time can leave: RFC 3339, a local time
// without offset ("2026-03-02T09:14:11"), hours ("2026-03-02T09"), a date, or an object
// of "date", "day" or "year" with "elapsed_s".
func momentOf(v any) (m Moment, ok bool) {
	switch v := v.(type) {
	case string:
		return parseMoment(v)
	case json.Number:
		return m, false
	case map[string]any:
		if _, is := v["elapsed_s"]; !is || len(v) > 2 {
			return m, false
		}
		if s, is := v["date"].(string); is {
			if m, ok = parseMoment(s); !ok {
				return m, false
			}
		}
		m.Count, m.HasCount = whole(v["day"])
		m.Year, m.HasYear = whole(v["year"])
		m.Elapsed, m.HasElapsed = whole(v["elapsed_s"])
		return m, m.HasDay || m.HasCount || m.HasYear
	}
	return m, false
}

// whole returns v as a whole number, rounded.
func whole(v any) (int, bool) {
	n, ok := v.(json.Number)
	if !ok {
		return 0, false
	}
	x, err := n.Float64()
	if err != nil || math.Abs(x) > 1e12 {
		return 0, false
	}
	return int(math.Round(x)), true
}

func parseMoment(s string) (m Moment, ok bool) {
	if len(s) < 10 || len(s) > 40 {
		return m, false
	}
	day, err := time.Parse(time.DateOnly, s[:10])
	if err != nil {
		return m, false
	}
	m.Day, m.HasDay = DayOf(day), true
	rest := s[10:]
	if rest == "" {
		return m, true
	}
	if rest[0] != 'T' && rest[0] != 't' && rest[0] != ' ' {
		return m, false
	}
	rest = rest[1:]
	clock := rest
	if at := strings.IndexAny(rest, "Zz+-"); at >= 0 {
		if m.Offset, ok = parseOffset(rest[at:]); !ok {
			return m, false
		}
		m.HasOffset, clock = true, rest[:at]
	}
	m.Clock, m.Grain, ok = parseClock(clock)
	m.HasClock = ok
	return m, ok
}

// parseClock reads "09", "09:14" or "09:14:11.250".
func parseClock(s string) (seconds, grain int, ok bool) {
	s, _, _ = strings.Cut(s, ".")
	grain = 3600
	parts := strings.Split(s, ":")
	if len(parts) > 3 {
		return 0, 0, false
	}
	unit := 3600
	for i, p := range parts {
		n, err := strconv.Atoi(p)
		if err != nil || len(p) != 2 || n < 0 || i == 0 && n > 24 || i > 0 && n > 60 {
			return 0, 0, false
		}
		seconds, grain = seconds+n*unit, unit
		unit /= 60
	}
	return seconds, grain, true
}

func parseOffset(s string) (minutes int, ok bool) {
	if s == "Z" || s == "z" {
		return 0, true
	}
	if len(s) != 6 || s[3] != ':' {
		return 0, false
	}
	h, err1 := strconv.Atoi(s[1:3])
	m, err2 := strconv.Atoi(s[4:])
	if err1 != nil || err2 != nil || h > 24 || m > 59 {
		return 0, false
	}
	if s[0] == '-' {
		return -h*60 - m, true
	}
	return h*60 + m, true
}
