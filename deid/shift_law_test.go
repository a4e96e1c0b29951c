package deid

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"outbreath/schema"

	"pgregory.net/rapid"
)

// Two times of one subject keep their distance to the nanosecond, whatever the
// offset each is written with: before and after a change of the clocks (a night
// in which 02:30 comes twice), on leap days, at the turn of a year. The shift
// itself depends on the subject alone, and is never 0.
//
// Source: contract, "Pseudonyms and shifts"; offsets of RFC 3339, 5.6.
func TestShiftLaws(t *testing.T) {
	offset := rapid.Custom(func(t *rapid.T) *time.Location {
		return time.FixedZone("", 60*rapid.IntRange(-23*60-59, 23*60+59).Draw(t, "offset in minutes"))
	})
	moment := rapid.Custom(func(t *rapid.T) time.Time {
		day := time.Date(1900, 1, 2, 0, 0, 0, 0, time.UTC).AddDate(0, 0, rapid.IntRange(0, 73_000).Draw(t, "day"))
		if rapid.Bool().Draw(t, "special") {
			year := rapid.IntRange(1901, 2099).Draw(t, "year")
			special := []time.Time{
				time.Date(year/4*4, 2, 29, 0, 0, 0, 0, time.UTC), time.Date(year, 3, 1, 0, 0, 0, 0, time.UTC),
				time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC), time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC),
				time.Date(year, 3, 29, 0, 0, 0, 0, time.UTC), time.Date(year, 10, 25, 0, 0, 0, 0, time.UTC),
			}
			day = rapid.SampledFrom(special).Draw(t, "day of note")
		}
		clock := time.Duration(rapid.Int64Range(0, int64(24*time.Hour)-1).Draw(t, "clock"))
		y, m, d := day.Date()
		zone := offset.Draw(t, "offset")
		return time.Date(y, m, d, 0, 0, 0, 0, zone).Add(clock)
	})
	p := NewPseudonymiser(testKey(), "LARK-2")
	rapid.Check(t, func(t *rapid.T) {
		subject := rapid.StringMatching(`[A-Z]{2}[0-9]{1,6}`).Draw(t, "subject")
		days, err := p.ShiftDays(subject)
		if err != nil || days < 1 || days > 364 {
			t.Fatalf("%d days, %v", days, err)
		}
		if again, err := p.ShiftDays(subject); err != nil || again != days {
			t.Fatalf("%d days, then %d", days, again)
		}
		moved := func(at time.Time) time.Time {
			text, err := shiftDate(at.Format(time.RFC3339Nano), days, "")
			if err != nil {
				t.Fatal(err)
			}
			out, err := time.ParseInLocation("2006-01-02T15:04:05.999999999", text, at.Location())
			if err != nil || out.Format(time.TimeOnly+".999999999") != at.Format(time.TimeOnly+
				".999999999") || !out.Before(at) {
				t.Fatalf("%v became %v", at, out)
			}
			return out
		}
		a, b := moment.Draw(t, "a"), moment.Draw(t, "b")
		if got, want := moved(a).Sub(moved(b)), a.Sub(b); got != want {
			t.Fatalf("an interval of %v became %v", want, got)
		}
	})
}

// Over many subjects, all 364 shifts are equally frequent: one subject's shift reveals
// nothing about another's.
//
// Chi-square with 363 degrees of freedom has mean 363 and standard deviation
// sqrt(2 363) = 26.9 (any table; from memory); five of them are left.
func TestShiftsDiffer(t *testing.T) {
	const subjects, kinds = 364 * 60, 364
	p := NewPseudonymiser(testKey(), "LARK-2")
	seen := map[int]int{}
	equalNeighbours, last := 0, 0
	for i := range subjects {
		days, err := p.ShiftDays(fmt.Sprintf("LARK2-%05d", i))
		if err != nil {
			t.Fatal(err)
		}
		seen[days]++
		if days == last {
			equalNeighbours++
		}
		last = days
	}
	chi := 0.0
	for days := 1; days <= kinds; days++ {
		const expected = subjects / kinds
		chi += math.Pow(float64(seen[days])-expected, 2) / expected
	}
	sigma := math.Sqrt(2 * (kinds - 1))
	// 60 expected
	if len(seen) != kinds || math.Abs(chi-(kinds-1)) > 5*sigma || equalNeighbours == 0 || equalNeighbours > 120 {
		t.Errorf("%d kinds of shift, chi-square %.1f, %d equal neighbours", len(seen), chi, equalNeighbours)
	}
}

// Under "year-only", a time reveals the session's year and the seconds since the session
// began, and nothing else: a shift of the whole session does not change the seconds.
func TestYearLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		offset := time.FixedZone("", 60*rapid.IntRange(-14*60, 14*60).Draw(t, "offset"))
		start := time.Unix(rapid.Int64Range(-2_208_000_000, 4_102_000_000).Draw(t, "start"), 0).In(offset)
		after := rapid.Int64Range(-3600, 400_000).Draw(t, "after")
		later := time.FixedZone("", 60*rapid.IntRange(-14*60, 14*60).Draw(t, "offset after the clocks changed"))
		treated := func(start time.Time) (year int, seconds int64) {
			n, err := yearNode(&visit{Session: &schema.Session{Started: start}, day: start},
				start.Add(time.Duration(after)*time.Second).In(later).Format(time.RFC3339))
			if err != nil {
				t.Fatal(err)
			}
			var out map[string]int64
			if err := json.Unmarshal(n.Encode(), &out); err != nil || len(out) != 2 {
				t.Fatalf("%s, %v", n.Encode(), err)
			}
			return int(out["year"]), out["elapsed_s"]
		}
		year, seconds := treated(start)
		if year != start.Year() || seconds != after {
			t.Fatalf("year %d, %d s; it is %d, %d s", year, seconds, start.Year(), after)
		}
		if _, again := treated(start.AddDate(0, 0, -rapid.IntRange(1, 400).Draw(t, "days"))); again != seconds {
			t.Fatalf("%d s became %d s", seconds, again)
		}
	})
}
