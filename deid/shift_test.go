package deid

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"outbreath/schema"
)

func TestShiftDate(t *testing.T) {
	for _, test := range []struct {
		text string
		days int
		want string
	}{
		{"2026-03-29", 1, "2026-03-28"},
		{"2026-01-01", 1, "2025-12-31"},
		{"2024-03-01", 1, "2024-02-29"},   // leap year
		{"2023-03-01", 1, "2023-02-28"},   // common year
		{"2000-03-01", 1, "2000-02-29"},   // divisible by 400: leap (ISO 8601, Gregorian calendar)
		{"1900-03-01", 1, "1900-02-28"},   // divisible by 100: common
		{"2024-02-29", 364, "2023-03-02"}, // counted by hand: 29 Feb 2024 less 365 days is 1 Mar 2023
		{"2026-03-29T02:30:00.250+02:00", 10, "2026-03-19T02:30:00.250"},
		{"2026-03-01t23:59:59z", 1, "2026-02-28T23:59:59"},
		{"1990-12-31T23:59:60Z", 1, "1990-12-30T23:59:60"}, // leap second of RFC 3339, 5.8
		{"1937-01-01T12:00:27.87+00:20", 1, "1936-12-31T12:00:27.87"},
		{"1985-04-12T23:20:50.52Z", 364, "1984-04-13T23:20:50.52"},
		{"0001-01-06", 5, "0001-01-01"},                         // the first day of the first year
		{"2026-01-01T00:30:00+14:00", 1, "2025-12-31T00:30:00"}, // civil date, not UTC
	} {
		got, err := shiftDate(test.text, test.days, "")
		if err != nil || got != test.want {
			t.Errorf("%s back %d: %s, %v, want %s", test.text, test.days, got, err, test.want)
		}
		hour := test.want[:min(len(test.want), len("2006-01-02T15"))]
		if got, err := shiftDate(test.text, test.days, schema.ClockHour); err != nil || got != hour {
			t.Errorf("%s back %d: the hour is %s, %v, want %s", test.text, test.days, got, err, hour)
		}
	}
	for _, text := range []string{"", "2026", "2026-02-30", "2026-13-01", "2026-1-01", "0000-05-05", "0001-01-05",
		"2026-03-29 ", "2026-03-29T",
		"2026-03-29T10:00", "2026-03-29T10:00:00", "2026-03-29T10:00:00+2:00", "2026-03-29T10:00:00Z Marta",
		"12026-03-29", "+2026-03-29", "29.03.2026"} {
		if got, err := shiftDate(text, 5, ""); err == nil {
			t.Errorf("%q is moved to %q", text, got)
		} else if len(text) > 3 && strings.Contains(err.Error(), text) {
			t.Errorf("%q: the message repeats the value", text)
		}
	}
}

// Intervals of one subject are kept, dates never move forward or stay, and of the text behind the
// date only the offset is gone.
func TestShiftProperties(t *testing.T) {
	first, last := time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC).Unix(),
		time.Date(2100, 12, 31, 0, 0, 0, 0, time.UTC).Unix()
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.IntRange(1, 364).Draw(t, "days")
		zone := time.FixedZone("", 60*rapid.IntRange(-14*60, 14*60).Draw(t, "zone"))
		a := time.Unix(rapid.Int64Range(first, last).Draw(t, "a"), 250e6).In(zone)
		b := time.Unix(rapid.Int64Range(first, last).Draw(t, "b"), 0).In(zone)
		shift := func(x time.Time) time.Time {
			text := x.Format(time.RFC3339Nano)
			moved, err := shiftDate(text, days, "")
			if err != nil || moved[10:] != x.Format("T15:04:05.999999999") {
				t.Fatalf("%q, %v", moved, err)
			}
			date, err := shiftDate(text[:10], days, "")
			if err != nil || date != moved[:10] {
				t.Fatalf("the date alone gives %q, %v, not %q", date, err, moved)
			}
			y, err := time.ParseInLocation("2006-01-02T15:04:05.999999999", moved, zone)
			if err != nil {
				t.Fatal(err)
			}
			if d := x.Sub(y); d != time.Duration(days)*24*time.Hour {
				t.Fatalf("moved by %v, not %d days", d, days)
			}
			return y
		}
		if got, want := shift(a).Sub(shift(b)), a.Sub(b); got != want {
			t.Fatalf("the interval was %v and is %v", want, got)
		}
	})
}

func day(s string) time.Time {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return t
}

func TestAgeBand(t *testing.T) {
	for _, test := range []struct {
		birth, session string
		width          int
		want           string
	}{
		{"1980-06-15", "2026-06-14", 5, "45-49"},
		{"1981-06-15", "2026-06-14", 5, "40-44"}, // a day before the birthday
		{"1981-06-15", "2026-06-15", 5, "45-49"},
		{"2026-01-01", "2026-01-01", 5, "0-4"},
		{"2021-06-15", "2026-06-14", 5, "0-4"},
		{"1937-06-15", "2026-06-15", 5, "85-89"}, // 89 years: standards sheet 1.2, 45 CFR 164.514(b)(2)(i)(C)
		{"1936-06-15", "2026-06-14", 5, "85-89"}, // still 89
		{"1936-06-15", "2026-06-15", 5, "90+"},
		{"1916-01-01", "2026-06-15", 5, "90+"},   // 110
		{"1940-01-01", "2026-06-15", 7, "84-89"}, // the band below 90+ ends at 89
		{"1937-01-01", "2026-06-15", 50, "50-89"},
		{"1980-01-01", "2026-06-15", 1, "46-46"},
		{"2004-02-29", "2026-02-28", 1, "21-21"}, // born on a leap day
		{"2004-02-29", "2026-03-01", 1, "22-22"},
		{"2004-02-29", "2024-02-29", 1, "20-20"},
	} {
		if got := ageBand(ageAt(day(test.birth), day(test.session)), test.width); got != test.want {
			t.Errorf("born %s, seen %s, width %d: %s, want %s", test.birth, test.session, test.width, got, test.want)
		}
	}
}

func TestYear(t *testing.T) {
	for _, test := range []struct{ date, session, want string }{
		{"1980-06-15", "2026-06-15", "1980"},
		{"2026-06-15", "2026-06-15", "2026"},
		{"2027-06-15", "2026-06-15", "2027"},
		{"1937-06-16", "2026-06-15", "1937"}, // 88 years
		{"1937-06-15", "2026-06-15", "1936"}, // 89: the year could mean 90
		{"1936-12-31", "2026-06-15", "1936"},
		{"1902-01-01", "2026-06-15", "1936"},
	} {
		if got := yearOf(day(test.date), day(test.session)); got != test.want {
			t.Errorf("%s in %s: %s, want %s", test.date, test.session, got, test.want)
		}
	}
	// Together with the session's year, no released year implies an age of 90 or over.
	rapid.Check(t, func(t *rapid.T) {
		session := day("1990-01-01").AddDate(0, 0, rapid.IntRange(0, 40000).Draw(t, "session"))
		birth := session.AddDate(0, 0, -rapid.IntRange(0, 45000).Draw(t, "age"))
		y := yearOf(birth, session)
		if oldest := session.Year() - 90; y < time.Date(oldest, 1, 1, 0, 0, 0, 0, time.UTC).Format("2006") {
			t.Fatalf("born %v, seen %v: %s", birth, session, y)
		}
	})
}

func TestElapsed(t *testing.T) {
	start, err := parseTime("2026-03-29T01:59:59.5+01:00")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"2026-03-29T01:59:59.5+01:00":  "0",
		"2026-03-29T03:00:00+02:00":    "1", // half a second, away from zero; the offset changed
		"2026-03-29T00:59:59.9z":       "0",
		"2026-03-29T00:59:59Z":         "-1",
		"2026-03-29T02:09:59.49+01:00": "600",
		// 182,622 days: 500 years, 125 fourth ones less 1700, 1800 and 1900
		"1526-03-29T00:59:59.5Z": "-15778540800",
	} {
		at, err := parseTime(text)
		if err != nil {
			t.Fatal(err)
		}
		if got := elapsedSeconds(start, at); got != want {
			t.Errorf("%s: %s, want %s", text, got, want)
		}
	}
}

// What is no date, or of the year 0, is none for any treatment.
func TestNoDate(t *testing.T) {
	for _, text := range []string{"2026-13-01", "2026-02-30", "abcdefghij", "0000-05-05", "0000-05-05T10:00:00Z",
		"2026-03-0", ""} {
		if _, _, err := splitDate(text); err == nil {
			t.Errorf("%q is a date", text)
		}
	}
}
